package surgery

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Each act adds its checkpoint to the other place; through it an older copy of the
// whole folder shows, which nothing inside the folder can show.
func TestCheckpointsOutside(t *testing.T) {
	site, away, dir := emptySite(t), t.TempDir(), t.TempDir()
	c := machines(func(c *Configuration) { c.CheckpointCopy = away })
	r := opened(t, site, c, "")
	imported(t, r, exported(t, dir, "a.csv", cycleAt("1", "08:00:00")))
	older, err := os.ReadFile(filepath.Join(site, logbook.FileName))
	if err != nil {
		t.Fatal(err)
	}
	imported(t, r, exported(t, dir, "b.csv", cycleAt("2", "09:00:00")))
	if got, err := ReadCheckpoints(away); err != nil || len(got) != 2 || got[0].Size >= got[1].Size {
		t.Fatalf("checkpoints %v (%v)", got, err)
	}
	sound(t, r)
	r.Close()
	// The wal file was emptied into the database when it was closed, in which the
	// older bytes have a part of the history only.
	if err := os.WriteFile(filepath.Join(site, logbook.FileName), older, 0o666); err != nil {
		t.Fatal(err)
	}
	r = opened(t, site, c, "")
	a, err := r.Audit(t.Context(), Auditing{})
	if err != nil || a.OK() || !strings.Contains(strings.Join(a.Problems, " "), "checkpoint") {
		t.Errorf("an older copy passes: %+v (%v)", a, err)
	}
	r.Close()
	r = opened(t, site, machines(), "")
	a, err = r.Audit(t.Context(), Auditing{Since: []string{filepath.Join(away, checkpointsFile)}})
	if err != nil || a.OK() {
		t.Errorf("an older copy passes beside a checkpoint by hand: %+v (%v)", a, err)
	}
}

// A place that cannot be reached costs a sentence and not the act.
func TestCheckpointPlaceAway(t *testing.T) {
	r := opened(t, emptySite(t), machines(func(c *Configuration) { c.CheckpointCopy = filepath.Join(t.TempDir(), "away", "c.txt") }), "")
	imported(t, r, exported(t, t.TempDir(), "a.csv", cycleAt("1", "08:00:00")))
	if n := r.Notices(); len(n) != 1 || !strings.Contains(n[0], "was not copied") {
		t.Errorf("notices %q", n)
	}
	if got := cyclesOf(t, r); len(got) != 1 {
		t.Errorf("cycles %q", got)
	}
}

// A checkpoint that was cut while it was written is passed over, and one copied from the
// screen is taken; other text is refused.
func TestReadCheckpoints(t *testing.T) {
	one := string(entry.Checkpoint{}.Text())
	dir := t.TempDir()
	onScreen := "\r\n    " + strings.ReplaceAll(strings.TrimSuffix(one, "\n"), "\n", "\r\n    ")
	for text, want := range map[string]int{one + "\n": 1, onScreen: 1, onScreen + "\n\n" + one: 2, strings.TrimSuffix(one, "\n"): 1, one: 1, one + one: 2, one + one[:40] + one: 2, one + one[:60]: 1, "": -1, "x": -1, one + "x\n": -1, one[:40]: -1} {
		got, err := ReadCheckpoints(wrote(t, dir, "c.txt", text))
		if (err != nil) != (want < 0) || err == nil && len(got) != want {
			t.Errorf("%q: %d checkpoints (%v), expected %d", text, len(got), err, want)
		}
	}
}

// The file of a signed record must be there as it was signed.
func TestAuditOfRecordFiles(t *testing.T) {
	site := emptySite(t)
	r := opened(t, site, machines(), "")
	signed := []byte("%PDF, for this test")
	hash := entry.Sum(signed)
	err := r.write(t.Context(), func(b *logbook.Batch) error {
		_, err := b.Add(entry.Draft{At: evening, By: "perera", Proved: "passphrase", Body: entry.Signature{Day: "2026-11-02", Revision: 1,
			Meaning: "prepared", Role: "lead", File: "2026-11-02.pdf", SHA256: hash, Size: int64(len(signed)), Certificate: hash, TimeFrom: "entry", Root: hash}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(site, recordsFolder, "2026-11-02.pdf")
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		why   string
		bytes []byte
		say   string
	}{
		{"missing", nil, "not there"}, {"as signed, and no record", signed, "does not begin with %PDF-1.3"}, {"replaced", []byte("%PDF, for that test"), "not the one that was signed"}, {"longer", append(signed, ' '), "not the one that was signed"},
	} {
		if c.bytes != nil {
			if err := os.WriteFile(path, c.bytes, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		a, err := r.Audit(t.Context(), Auditing{})
		if err != nil || a.OK() != (c.say == "") || !strings.Contains(strings.Join(a.Problems, " "), c.say) {
			t.Errorf("%s: %q (%v)", c.why, a.Problems, err)
		}
	}

	// A cycle that comes in late changes a signed day.
	out, _ := imported(t, r, exported(t, t.TempDir(), "late.csv", cycleAt("1", "08:00:00")))
	if got := out.files[0].Due; len(got) != 1 || got[0] != "2026-11-02" {
		t.Errorf("revisions due of %q", got)
	}
}

// A backup made while the logbook is open is whole, and is never written over one.
func TestBackupAndRestore(t *testing.T) {
	r := opened(t, emptySite(t), machines(), "")
	imported(t, r, exported(t, t.TempDir(), "a.csv", cycleAt("1", "08:00:00")))
	file := filepath.Join(t.TempDir(), "back up.db")
	n, err := r.Backup(t.Context(), file)
	if err != nil || n != 3 {
		t.Fatalf("%d entries (%v)", n, err)
	}
	dir := t.TempDir()
	if n, err := Restore(t.Context(), file, dir); err != nil || n != 3 {
		t.Fatalf("restored %d entries (%v)", n, err)
	}
	if _, err := Restore(t.Context(), file, dir); err == nil {
		t.Error("a logbook was overwritten")
	}
	if _, err := Restore(t.Context(), file+"x", t.TempDir()); err == nil || !strings.Contains(err.Error(), "backup") {
		t.Errorf("no backup: %v", err)
	}
	back := opened(t, dir, machines(), "")
	if got, want := cyclesOf(t, back), cyclesOf(t, r); len(got) != 1 || got[0] != want[0] {
		t.Errorf("restored %q, expected %q", got, want)
	}
}
