package surgery

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

func TestSignedDay(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t, "1046")
	if err := s.settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	rec, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := rec.PDF()
	if err != nil {
		t.Fatal(err)
	}
	s.clock.Time = s.clock.Add(time.Hour)
	rec, err = s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := rec.PDF(); err != nil || !bytes.Equal(plain, again) {
		t.Errorf("the same logbook gave another record an hour later (%v)", err)
	}
	first := s.prepared(t, monday)
	if want := filepath.Join(s.dir, "records", "2026-11-02.pdf"); first.File != want || first.Revision != 1 {
		t.Fatalf("signed %+v", first)
	}
	old := read(t, first.File)
	sound(t, s.Records)

	s.clock.Time = s.clock.Add(time.Minute)
	second := s.countersigned(t, monday)
	now := read(t, second.File)
	if !bytes.HasPrefix(now, old) || entry.Sum(now) != second.SHA256 {
		t.Error("the countersigned file does not begin with the prepared one")
	}
	s.holds(t, second.File, "Lea Brook", "Mara Quill")
	sound(t, s.Records)

	s.demoExport(t, "S1-1046.csv")
	s.refused(t, "was changed after it was signed", func() error { _, err := s.Countersign(t.Context(), monday, by("mara")); return err })
	third := s.prepared(t, monday)
	if third.Revision != 2 || filepath.Base(third.File) != "2026-11-02.r2.pdf" {
		t.Fatalf("signed %+v", third)
	}
	if !bytes.Equal(read(t, first.File), now) {
		t.Error("the first revision was touched")
	}
	report := seal.Verify(read(t, third.File), seal.Trust{})
	day := insideOf(t, report)
	if day.Record.Replaces.ID != "2026-11-02-r1" || day.Record.Replaces.SHA256 != second.SHA256 {
		t.Errorf("the second revision replaces %+v, the first had %s", day.Record.Replaces, second.SHA256)
	}
	if len(day.Changes) != 1 || day.Changes[0].What != "verdict on S1 · 1046" || day.Changes[0].After != "conforms" || day.Changes[0].Before != "" ||
		day.Changes[0].Reason != "judged from S1-1046.csv" {
		t.Errorf("changes %+v", day.Changes)
	}
	s.countersigned(t, monday)
	sound(t, s.Records)
	s.refused(t, "signed, and nothing changed since", func() error {
		_, err := s.Prepare(t.Context(), Signing{Date: monday, By: by("lea"), Reason: "again"})
		return err
	})
}

func TestRecordsAreChained(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	one := s.prepared(t, monday)
	s.clock.Time = s.clock.AddDate(0, 0, 3)
	two := s.prepared(t, "2026-11-05")
	day := insideOf(t, seal.Verify(read(t, two.File), seal.Trust{}))
	if day.Record.Previous.SHA256 != one.SHA256 || day.Record.Previous.ID != "2026-11-02-r1" {
		t.Errorf("the record before is %+v, expected %s", day.Record.Previous, one.SHA256)
	}
	if len(day.Missing) != 1 || !strings.Contains(day.Missing[0].What, "nothing was recorded") {
		t.Errorf("missing on an empty day: %+v", day.Missing)
	}
}

func TestSigningIsRefused(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	if err := s.settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	prepare := func(who Proof, reason string) func() error {
		return func() error {
			_, err := s.Prepare(t.Context(), Signing{Date: monday, By: who, Reason: reason})
			return err
		}
	}
	review := func(who Proof) func() error {
		return func() error { _, err := s.Countersign(t.Context(), monday, who); return err }
	}
	wrong := Proof{Person: "lea", Passphrase: passphrase("not this one")}
	s.refused(t, "the passphrase does not open this key", prepare(wrong, unfinished))
	s.refused(t, "something is missing: S1: steam penetration test", prepare(by("lea"), " "))
	s.refused(t, "nobody has the id", prepare(by("nobody"), unfinished))
	s.refused(t, "not signed as prepared", review(by("mara")))
	s.refused(t, "has not come yet", func() error {
		_, err := s.Prepare(t.Context(), Signing{Date: "2026-11-03", By: by("lea")})
		return err
	})
	s.refused(t, "is no date", func() error { _, err := s.Prepare(t.Context(), Signing{Date: "2026-13-03", By: by("lea")}); return err })
	s.clock.Time = s.clock.Add(-2 * time.Hour)
	s.refused(t, "clock says", prepare(by("lea"), unfinished))
	s.clock.Time = s.clock.Add(2 * time.Hour)

	s.prepared(t, monday)
	s.refused(t, "signed as prepared, and nothing changed since", prepare(by("lea"), unfinished))
	s.refused(t, "may not sign a day as reviewed", review(by("lea")))
	s.refused(t, "the passphrase does not open this key", review(Proof{Person: "mara", Passphrase: passphrase("not this one")}))
	if err := s.ChangeRoles(t.Context(), RoleChange{ID: "noel", Until: monday, By: by("mara")}); err != nil {
		t.Fatal(err)
	}
	s.clock.Time = s.clock.AddDate(0, 0, 1)
	s.refused(t, "the role lead ended on 2 Nov 2026", review(by("noel")))

	s.demoExport(t, "S1-1049.csv") // again: the same bytes change nothing
	s.countersigned(t, monday)
	s.refused(t, "reviewed already", review(by("mara")))
	sound(t, s.Records)
}

func TestTwoPersons(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	if _, err := s.Prepare(t.Context(), Signing{Date: monday, By: by("mara"), Reason: unfinished}); err != nil {
		t.Fatal(err)
	}
	s.refused(t, "mara prepared the record", func() error { _, err := s.Countersign(t.Context(), monday, by("mara")); return err })
	if err := s.AddPerson(t.Context(), Joining{ID: "mara2", Name: "Mara Quill", Roles: []string{"lead"}, Passphrase: by("mara2").Passphrase, By: by("mara"),
		Authority: passphrase("the authority of the quay")}); err != nil {
		t.Fatal(err)
	}
	s.refused(t, "Mara Quill prepared this record and cannot review it", func() error { _, err := s.Countersign(t.Context(), monday, by("mara2")); return err })
}

func TestSurgeryOfOne(t *testing.T) {
	s := signedSite(t, func(c *Configuration) {
		c.Site.SecondSignature, c.Site.SecondSignatureBecause = "none", "one person works here"
	})
	s.demoDay(t)
	out := s.prepared(t, monday)
	report := seal.Verify(read(t, out.File), seal.Trust{})
	if out.Second || report.Waiting || insideOf(t, report).Signing.Reason != "one person works here" {
		t.Errorf("%+v, waiting %v", out, report.Waiting)
	}
	s.holds(t, out.File, "Lea Brook")
	s.refused(t, "asks for no second signature", func() error { _, err := s.Countersign(t.Context(), monday, by("mara")); return err })
}

func TestRecordsFolder(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	if err := s.settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	prepare := func() error {
		_, err := s.Prepare(t.Context(), Signing{Date: monday, By: by("lea"), Reason: unfinished})
		return err
	}
	folder := filepath.Join(s.dir, recordsFolder)
	wrote(t, s.dir, recordsFolder, "a file where the folder should be")
	before := s.entries(t)
	if err := prepare(); err == nil || s.entries(t) != before {
		t.Errorf("a folder that cannot be: %v", err)
	}
	if err := os.Remove(folder); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	other := wrote(t, folder, "2026-11-02.pdf", "somebody's file")
	s.refused(t, "the logbook does not know it", prepare)
	if string(read(t, other)) != "somebody's file" {
		t.Error("a file was overwritten")
	}
	if err := os.Remove(other); err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() != 0 { // root may write anywhere
		if err := os.Chmod(folder, 0o555); err != nil {
			t.Fatal(err)
		}
		s.refused(t, "cannot be written to", prepare)
		if err := os.Chmod(folder, 0o777); err != nil {
			t.Fatal(err)
		}
	}
	s.prepared(t, monday)
}

func TestInterruptedSigning(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	broken := errors.New("the power went")
	cutOff := func(act func() error) {
		t.Helper()
		s.afterFile = func() error { return broken }
		if err := act(); !errors.Is(err, broken) {
			t.Fatal(err)
		}
		s.afterFile = nil
	}
	cutOff(func() error {
		_, err := s.Prepare(t.Context(), Signing{Date: monday, By: by("lea"), Reason: unfinished})
		return err
	})
	s.finds(t, "signing was interrupted. Sign the day again")
	orphan := read(t, filepath.Join(s.dir, recordsFolder, "2026-11-02.pdf"))
	s.refused(t, "the logbook does not know it", func() error {
		_, err := s.Prepare(t.Context(), Signing{Date: monday, By: by("mara"), Reason: unfinished})
		return err
	})
	s.refused(t, "the logbook does not know it", func() error { // its facts are others
		_, err := s.Prepare(t.Context(), Signing{Date: monday, By: by("lea"), Reason: "another one"})
		return err
	})
	s.clock.Time = s.clock.Add(time.Hour)
	out := s.prepared(t, monday)
	if !out.Resumed || out.SHA256 != entry.Sum(orphan) {
		t.Errorf("%+v", out)
	}
	sound(t, s.Records)

	cutOff(func() error { _, err := s.Countersign(t.Context(), monday, by("mara")); return err })
	s.finds(t, "holds a second signature, of Mara Quill, that the logbook does not know")
	s.refused(t, "is not the file that was signed as prepared", func() error { _, err := s.Countersign(t.Context(), monday, by("noel")); return err })
	s.clock.Time = s.clock.Add(time.Hour)
	if out := s.countersigned(t, monday); !out.Resumed {
		t.Errorf("%+v", out)
	}
	sound(t, s.Records)
}

func TestExtendRecord(t *testing.T) {
	dir := t.TempDir()
	path := wrote(t, dir, "a.pdf", "first")
	for _, other := range []string{"firs", "first", "First and second", ""} {
		if err := extendRecord(path, []byte(other)); err == nil || string(read(t, path)) != "first" {
			t.Errorf("%q took its place (%v)", other, err)
		}
	}
	wrote(t, dir, "a.pdf.second", "of an earlier try")
	if err := extendRecord(path, []byte("first and second")); err != nil || string(read(t, path)) != "first and second" {
		t.Error(err)
	}
	if files, err := os.ReadDir(dir); err != nil || len(files) != 1 {
		t.Errorf("%d files left", len(files))
	}
}

func TestChangedBetween(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	if err := s.settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	s.afterFile = func() error { cancel(); return nil }
	if _, err := s.Prepare(ctx, Signing{Date: monday, By: by("lea"), Reason: unfinished}); err == nil || len(s.files(t)) != 0 {
		t.Errorf("files %q, %v", s.files(t), err)
	}
	s.afterFile = nil
	file := s.prepared(t, monday).File
	other := append(read(t, file), "\n%%EOF\n"...)
	s.refused(t, "is not the file that was signed as prepared", func() error {
		_, err := s.Countersign(t.Context(), monday, Proof{Person: "mara", Passphrase: func() (string, error) {
			return "mara at the quay", os.WriteFile(file, other, 0o666)
		}})
		return err
	})
	if !bytes.Equal(read(t, file), other) {
		t.Error("a file that was changed meanwhile was written over")
	}
}

func TestTwoSignAtOnce(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	if err := s.settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.prepared(t, monday)
	done := make(chan error, 2)
	for _, who := range []string{"mara", "noel"} {
		go func() { _, err := s.Countersign(t.Context(), monday, by(who)); done <- err }()
	}
	a, b := <-done, <-done
	if (a == nil) == (b == nil) {
		t.Errorf("%v and %v, expected one of the two to be refused", a, b)
	}
	sound(t, s.Records)
	rows, err := logbook.Find[entry.Signature](t.Context(), s.book.View, logbook.Filter{})
	if err != nil || len(rows) != 2 {
		t.Errorf("%d signatures, %v", len(rows), err)
	}
}
