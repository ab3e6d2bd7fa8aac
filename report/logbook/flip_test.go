package logbook

import (
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"holdproof/report/logbook/entry"
)

// wholeFile returns the bytes of a closed logbook of n cycles, all in one file.
func wholeFile(t testing.TB, n, lines int) ([]byte, entry.Checkpoint) {
	t.Helper()
	b := newSite(t)
	configure(t, b)
	for i := range n {
		mustKeep(t, b, i, lines)
	}
	tip := mustCheckpoint(t, b)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(b.Path())
	if err != nil {
		t.Fatal(err)
	}
	return data, tip
}

// content sums up every row a person could be shown, and the bytes kept.
func content(db *sql.DB) (string, error) {
	sum := sha256.New()
	for _, q := range []string{`SELECT * FROM entries ORDER BY n`, `SELECT * FROM originals ORDER BY sha256`,
		`SELECT * FROM acts ORDER BY n`, `SELECT * FROM cycles ORDER BY cycle`, `SELECT * FROM sources ORDER BY cycle, place`, `SELECT * FROM days ORDER BY day`} {
		rows, err := openRows(ctx, db, q)
		if err != nil {
			return "", err
		}
		for {
			v, err := rows.next()
			if err != nil {
				return "", errors.Join(err, rows.rows.Close())
			}
			if v == nil {
				break
			}
			fmt.Fprintf(sum, "%q\n", v)
		}
		rows.rows.Close()
	}
	var sums []string
	if err := each(ctx, db, `SELECT sha256 FROM originals ORDER BY sha256`, nil, func(r *sql.Rows) error {
		var s string
		sums = append(sums, s)
		return r.Scan(&sums[len(sums)-1])
	}); err != nil {
		return "", err
	}
	for _, s := range sums {
		r, err := (&View{q: db}).Original(ctx, s)
		if err == nil {
			_, err = io.Copy(sum, r)
		}
		if err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// looked is what became of a damaged file.
type looked int

const (
	refusedOpen looked = iota
	foundByAudit
	harmless // no row of any table differs: the bit is in space nothing uses
	silent   // what a person sees changed, and nobody said so
)

func look(t *testing.T, dir string, data []byte, want string) (looked, string) {
	t.Helper()
	for _, s := range []string{"", "-wal", "-shm"} {
		os.Remove(filepath.Join(dir, FileName+s))
	}
	if err := os.WriteFile(filepath.Join(dir, FileName), data, 0o600); err != nil {
		t.Fatal(err)
	}
	b, err := Open(ctx, dir, clock())
	if err != nil {
		return refusedOpen, err.Error()
	}
	defer b.Close()
	a, err := b.Audit(ctx, AuditOptions{})
	if err != nil {
		return refusedOpen, err.Error()
	}
	if !a.OK() {
		return foundByAudit, a.Problems[0]
	}
	if got, err := content(b.r); err != nil || got != want {
		return silent, fmt.Sprint(err)
	}
	return harmless, ""
}

// A bit is flipped anywhere in the file.
func TestBitFlipped(t *testing.T) {
	data, _ := wholeFile(t, 12, 40)
	dir := t.TempDir()
	what, _ := look(t, dir, data, "")
	if what != silent {
		t.Fatalf("the file as it was: %d", what)
	}
	want := contentOf(t, dir)
	if what, say := look(t, dir, data, want); what != harmless {
		t.Fatalf("the file as it was: %d %s", what, say)
	}
	r := rand.New(rand.NewPCG(3, 4))
	var count [4]int
	for range times(200, 10_000) {
		bit := r.IntN(len(data) * 8)
		data[bit/8] ^= 1 << (bit % 8)
		what, say := look(t, dir, data, want)
		count[what]++
		if what == silent {
			t.Errorf("bit %d of byte %d changed what people see, and audit is content: %s", bit%8, bit/8, say)
		}
		data[bit/8] ^= 1 << (bit % 8)
	}
	t.Logf("file of %d bytes: %d refused on opening, %d found by audit, %d in space nothing uses, %d silent", len(data), count[0], count[1], count[2], count[3])
}

func contentOf(t *testing.T, dir string) string {
	t.Helper()
	b, err := Open(ctx, dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	s, err := content(b.r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The file is cut: after any page, and anywhere.
func TestCut(t *testing.T) {
	data, _ := wholeFile(t, 12, 40)
	dir := t.TempDir()
	look(t, dir, data, "")
	want := contentOf(t, dir)
	r := rand.New(rand.NewPCG(5, 6))
	var count [4]int
	cut := func(n int) {
		what, say := look(t, dir, data[:n], want)
		count[what]++
		if what == silent || what == harmless {
			t.Errorf("cut after %d of %d bytes: nobody said so (%s)", n, len(data), say)
		}
	}
	for n := 0; n < len(data); n += 4096 * times(4, 1) {
		cut(n)
	}
	for range times(30, 1000) {
		cut(r.IntN(len(data)))
	}
	t.Logf("%d refused on opening, %d found by audit", count[0], count[1])
}

// A bit is flipped in the log beside the file, which holds the newest acts until
// SQLite folds them in. SQLite drops a damaged end of it, so that what is left is an
// older state, whole in itself: a checkpoint kept outside shows it.
func TestBitFlippedInTheLog(t *testing.T) {
	b := newSite(t)
	tips := map[entry.Checkpoint]bool{mustCheckpoint(t, b): true}
	configure(t, b)
	tips[mustCheckpoint(t, b)] = true
	for i := range 12 {
		mustKeep(t, b, i, 40)
		tips[mustCheckpoint(t, b)] = true
	}
	tip := mustCheckpoint(t, b)
	file, err := os.ReadFile(b.Path())
	if err != nil {
		t.Fatal(err)
	}
	log, err := os.ReadFile(b.Path() + "-wal")
	if err != nil || len(log) == 0 {
		t.Fatal(len(log), err)
	}
	dir, r := t.TempDir(), rand.New(rand.NewPCG(7, 8))
	path := filepath.Join(dir, FileName)
	var same, older, found int
	for range times(40, 2000) {
		bit := r.IntN(len(log) * 8)
		log[bit/8] ^= 1 << (bit % 8)
		os.Remove(path + "-shm")
		if err := errors.Join(os.WriteFile(path, file, 0o600), os.WriteFile(path+"-wal", log, 0o600)); err != nil {
			t.Fatal(err)
		}
		log[bit/8] ^= 1 << (bit % 8)
		b, err := Open(ctx, dir, clock())
		if err != nil {
			found++
			continue
		}
		a := mustAudit(t, b)
		switch since := mustAudit(t, b, tip); {
		case !a.OK():
			found++
		case a.Checkpoint == tip && since.OK():
			same++
		case tips[a.Checkpoint] && !since.OK():
			older++
		default:
			t.Errorf("bit %d of byte %d: %d entries, none of the states that were acknowledged, or not seen by the checkpoint: %v", bit%8, bit/8, a.Checkpoint.Size, since.Problems)
		}
		b.Close()
	}
	t.Logf("log of %d bytes: %d found or refused, %d an older state seen by the checkpoint, %d nothing lost", len(log), found, older, same)
}
