package logbook

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// A person with the file and any SQLite program changes it. Each way is found by
// audit; the last two only by a checkpoint that was kept outside.
func TestTampered(t *testing.T) {
	data, tip := wholeFile(t, 12, 40)
	strange := "UPDATE cycles SET digest = '" + strings.Repeat("ab", 32) + "'"
	for _, c := range []struct{ why, sql, say string }{
		{"an entry changed", `UPDATE entries SET line = replace(line, '"outcome":"failed","instruction"', '"outcome":"conforms","instruction"')`, "an entry was changed"},
		{"an entry removed", `DELETE FROM entries WHERE n = 7`, "stands in row 8, where entry 7 belongs"},
		{"the last entry removed", `DELETE FROM entries WHERE n = 25`, "there are 24"},
		{"two entries swapped", `UPDATE entries SET n = -n WHERE n IN (6, 7); UPDATE entries SET n = 13 + n WHERE n < 0`, "stands in row 6"},
		{"an entry put in", `INSERT INTO entries (n, line) SELECT 26, replace(line, '"n":25', '"n":26') FROM entries WHERE n = 25`, "there are 26"},
		{"a line kept as bytes", `UPDATE entries SET line = CAST(line AS BLOB) WHERE n = 5`, "want text"},
		{"bytes kept as text", `UPDATE original_parts SET gzip = CAST(gzip AS TEXT)`, "want bytes"},
		{"a hash kept as text", `UPDATE hashes SET hash = CAST(hash AS TEXT)`, "want bytes"},
		{"a root kept as bytes", `UPDATE trees SET root = CAST(root AS BLOB)`, "want text"},
		{"a line that is no entry", `UPDATE entries SET line = '{}' WHERE n = 5`, "not an entry"},
		{"a verdict edited in its table", `UPDATE cycles SET outcome = 'conforms' WHERE outcome = 'failed'`, `outcome is "conforms", the entries make it "failed"`},
		{"a cycle hidden", `DELETE FROM sources WHERE cycle = '` + keyOf(9) + `'; DELETE FROM cycles WHERE cycle = '` + keyOf(9) + `'`, "more or fewer rows"},
		{"what waits hidden", `UPDATE cycles SET settled = TRUE`, "settled"},
		{"a digest edited", strange, "digest"},
		{"a source edited", `UPDATE sources SET last_line = 3`, "sources: row"},
		{"a day edited", `UPDATE days SET changed = 0`, "days: row"},
		{"an act edited", `UPDATE acts SET person = 'lead'`, "acts: row"},
		{"bytes replaced", `UPDATE original_parts SET gzip = (SELECT gzip FROM original_parts ORDER BY sha256 LIMIT 1)`, "another SHA-256"},
		{"bytes packed by another program", `UPDATE original_parts SET gzip = CAST(substr(gzip, 1, 4) || x'01' || substr(gzip, 6) AS BLOB)`, "gzip header"},
		{"bytes cut", `UPDATE original_parts SET gzip = substr(gzip, 1, 100)`, "is damaged"},
		{"bytes removed", `DELETE FROM original_parts; DELETE FROM originals`, "not in the logbook"},
		{"bytes put in", `INSERT INTO originals VALUES ('` + strings.Repeat("cd", 32) + `', 3, 0)`, "named by no import"},
		{"a size changed", `UPDATE originals SET size = size + 1`, "the list says"},
		{"a hash changed", `UPDATE hashes SET hash = (SELECT hash FROM hashes WHERE i = 0) WHERE i = 3`, "stored hash 3"},
		{"a hash removed", `DELETE FROM hashes WHERE i = (SELECT MAX(i) FROM hashes)`, "hashes are stored"},
		{"a root changed", `UPDATE trees SET root = (SELECT root FROM trees WHERE size = 1) WHERE size = 25`, "is not theirs"},
		{"a time of a root changed", `UPDATE trees SET at = '2026-11-02T08:00:00.000Z'`, "is dated"},
		{"a root removed", `DELETE FROM trees WHERE size = 25`, "the newest root"},
		{"a trigger removed", `DROP TRIGGER entries_update`, "trigger entries_update of the database is missing"},
		{"a trigger emptied", `DROP TRIGGER entries_update; CREATE TRIGGER entries_update BEFORE UPDATE ON entries BEGIN SELECT 1; END`, "not as holdproof made it"},
		{"a table put in", `CREATE TABLE more (x TEXT)`, "none of holdproof's"},
		{"an index removed", `DROP INDEX cycles_day`, "is missing"},
	} {
		t.Run(c.why, func(t *testing.T) {
			dir := t.TempDir()
			tamper(t, dir, data, c.sql)
			b, err := Open(ctx, dir, clock())
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			a := mustAudit(t, b, tip)
			if all := strings.Join(a.Problems, "\n"); !strings.Contains(all, c.say) {
				t.Errorf("want %q, found:\n%s", c.say, all)
			}
		})
	}
}

// tamper puts the file into dir and runs SQL on it with the triggers out of the way.
func tamper(t *testing.T, dir string, data []byte, change string) {
	t.Helper()
	path := filepath.Join(dir, FileName)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	name, err := dsn(path, "mode=rw")
	if err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", name)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	var off, on string
	if !strings.Contains(change, "TRIGGER") {
		for _, a := range appendOnly {
			for _, k := range []string{"update", "delete", "replace"} {
				off += fmt.Sprintf("DROP TRIGGER %s_%s;", a.table, k)
			}
		}
		on = triggers()
	}
	if _, err := db.Exec(off + change + ";" + on); err != nil {
		t.Fatal(err)
	}
}

// The triggers refuse a change by any program that opens the file.
func TestOnlyAddedTo(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 20)
	for _, a := range []struct{ table, column string }{
		{"entries", "n"}, {"originals", "size"}, {"original_parts", "gzip"}, {"trees", "root"}, {"hashes", "hash"},
	} {
		column := a.column
		for _, change := range []string{
			fmt.Sprintf("UPDATE %s SET %s = %s", a.table, column, column),
			fmt.Sprintf("DELETE FROM %s", a.table),
			fmt.Sprintf("INSERT OR REPLACE INTO %[1]s SELECT * FROM %[1]s LIMIT 1", a.table),
		} {
			if _, err := b.w.Exec(change); err == nil || !strings.Contains(err.Error(), "only added to") {
				t.Errorf("%s: %v", change, err)
			}
		}
	}
}

// Whoever owns the file can write its whole history anew, tree and all. Audit alone
// cannot see that; a checkpoint kept outside does.
func TestTreeRebuilt(t *testing.T) {
	data, tip := wholeFile(t, 12, 40)
	dir := t.TempDir()
	tamper(t, dir, data, `UPDATE entries SET line = replace(line, '"outcome":"failed","instruction"', '"outcome":"conforms","instruction"');
		UPDATE cycles SET outcome = 'conforms'; UPDATE acts SET topic = 'conforms' WHERE topic = 'failed'`)
	forge(t, dir)
	b, err := Open(ctx, dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if a := mustAudit(t, b); !a.OK() {
		t.Fatalf("the forgery is not complete: %v", a.Problems)
	}
	wantSince(t, mustAudit(t, b, tip), "one of the first 25 entries is not what it was")
}

// forge writes hashes and roots anew over the lines as they are.
func forge(t *testing.T, dir string) {
	t.Helper()
	name, err := dsn(filepath.Join(dir, FileName), "mode=rw")
	if err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", name)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var off string
	for _, a := range appendOnly {
		for _, k := range []string{"update", "delete", "replace"} {
			off += fmt.Sprintf("DROP TRIGGER %s_%s;", a.table, k)
		}
	}
	if _, err := db.Exec(off); err != nil {
		t.Fatal(err)
	}
	lines, _, err := someLines(ctx, db, 1, 1000)
	if err != nil {
		t.Fatal(err)
	}
	var tree entry.Tree
	for _, l := range lines {
		if err := tree.Add(l); err != nil {
			t.Fatal(err)
		}
	}
	for i := range tlog.StoredHashCount(tree.Size()) {
		h, err := tree.ReadHashes([]int64{i})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(`UPDATE hashes SET hash = $1 WHERE i = $2`, h[0][:], i); err != nil {
			t.Fatal(err)
		}
	}
	for size := range tree.Size() + 1 {
		root, err := tree.Root(size)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(`UPDATE trees SET root = $1 WHERE size = $2`, hexOf(root), size); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := db.Exec(triggers()); err != nil {
		t.Fatal(err)
	}
}

// An older copy of the whole database is in itself in order.
func TestOlderCopy(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 20)
	older := filepath.Join(t.TempDir(), "older.db")
	if _, err := b.Backup(ctx, older); err != nil {
		t.Fatal(err)
	}
	mustKeep(t, b, 2, 20)
	tip := mustCheckpoint(t, b)
	dir := t.TempDir()
	if _, err := Restore(ctx, older, dir); err != nil {
		t.Fatal(err)
	}
	put, err := Open(ctx, dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer put.Close()
	if a := mustAudit(t, put); !a.OK() {
		t.Fatalf("the older copy is not whole: %v", a.Problems)
	}
	wantSince(t, mustAudit(t, put, tip), "it speaks of 5 entries, the logbook holds 3")
	mustKeep(t, put, 3, 20) // and goes on another way
	wantSince(t, mustAudit(t, put, tip), "one of the first 5 entries is not what it was")
}

func wantSince(t *testing.T, a Audit, say string) {
	t.Helper()
	if len(a.Problems) != 1 || !strings.Contains(a.Problems[0], say) || !strings.Contains(a.Problems[0], "older copy") {
		t.Errorf("want %q, found %q", say, a.Problems)
	}
}

// Tampered entries are not built upon.
func TestNothingOnTopOfAChange(t *testing.T) {
	data, _ := wholeFile(t, 3, 40)
	for _, change := range []string{`DELETE FROM entries WHERE n = 7`, `UPDATE hashes SET hash = (SELECT hash FROM hashes WHERE i = 0)`,
		`DELETE FROM hashes`, `UPDATE trees SET root = (SELECT root FROM trees WHERE size = 1) WHERE size = 7`, `UPDATE trees SET root = 'x'`} {
		dir := t.TempDir()
		tamper(t, dir, data, change)
		b, err := Open(ctx, dir, clock())
		if err != nil {
			t.Fatal(err)
		}
		_, err = keep(b, 5, export(5, 20))
		wantError(t, err, "")
		b.Close()
	}
}
