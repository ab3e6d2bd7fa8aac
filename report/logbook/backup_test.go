package logbook

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

func TestProofs(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	var tips []entry.Checkpoint
	for i := range 9 {
		tip, err := keep(b, i, export(i, 20))
		if err != nil {
			t.Fatal(err)
		}
		tips = append(tips, tip)
	}
	now := tips[len(tips)-1]
	var n int64
	if err := b.Lines(ctx, 1, func(line []byte) error {
		n++
		p, err := b.ProveEntry(ctx, n, now.Size)
		if err != nil {
			return err
		}
		return tlog.CheckRecord(p, now.Size, now.Root, n-1, tlog.RecordHash(line))
	}); err != nil || n != now.Size {
		t.Errorf("%d of %d entries proved, %v", n, now.Size, err)
	}
	for _, old := range tips {
		p, err := b.ProveGrowth(ctx, old.Size, now.Size)
		if err != nil {
			t.Fatal(err)
		}
		if err := tlog.CheckTree(p, now.Size, now.Root, old.Size, old.Root); err != nil {
			t.Error(err)
		}
	}
	if a := mustAudit(t, b, tips...); !a.OK() || a.Checkpoint != now {
		t.Errorf("audit since all of them: %+v", a)
	}
}

func TestBackupAndRestore(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 50)
	tip, _ := b.Checkpoint(ctx)
	dir := t.TempDir()
	file := filepath.Join(dir, "Sicherung ä #1.db")
	if got, err := b.Backup(ctx, file); err != nil || got != tip {
		t.Fatalf("backup: %+v, %v", got, err)
	}
	if _, err := b.Backup(ctx, file); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("a second backup under the name: %v", err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("beside the backup stands %v", left)
	}
	to := t.TempDir()
	if got, err := Restore(ctx, file, to); err != nil || got != tip {
		t.Fatalf("restore: %+v, %v", got, err)
	}
	if _, err := Restore(ctx, file, to); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("restored over a logbook: %v", err)
	}
	again, err := Open(ctx, to, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	mustKeep(t, again, 2, 50)
	if a := mustAudit(t, again, tip); !a.OK() {
		t.Errorf("audit of the restored: %v", a.Problems)
	}

	// A backup that is not whole is not restored.
	bytes, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	i := strings.Index(string(bytes), `"outcome":"conforms","instruction"`)
	if i < 0 {
		t.Fatal("no verdict in the backup")
	}
	copy(bytes[i:], `"outcome":"failed"  ,"instruction"`)
	none := filepath.Join(dir, "letter.db")
	if err := os.WriteFile(none, []byte("Dear Sir"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(ctx, none, t.TempDir()); err == nil || !strings.Contains(err.Error(), none) {
		t.Errorf("a letter as a backup: %v", err)
	}
	bad := filepath.Join(dir, "bad.db")
	if err := os.WriteFile(bad, bytes, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(ctx, bad, t.TempDir()); err == nil || !strings.Contains(err.Error(), "not whole") {
		t.Errorf("a changed backup: %v", err)
	}
	// A copy made by hand of an open logbook: its last acts are in the file beside it.
	byHand := filepath.Join(t.TempDir(), "copy.db")
	for _, s := range []string{"", "-wal"} {
		if err := copyFile(b.Path()+s, byHand+s); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := Restore(ctx, byHand, t.TempDir()); err != nil || got != tip {
		t.Errorf("a copy by hand: %+v, %v", got, err)
	}
}
