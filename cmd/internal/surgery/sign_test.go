package surgery

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/pdf"
	"holdproof/report/seal"
)

// The surgery, its people and machines are invented.

const monday = "2026-11-02"

// demoSettings is the configuration of the invented surgery, by hand: the file itself
// is read by the command line.
func demoSettings() Configuration {
	altitude, litres := 12.0, 18.0
	hold, plateau, heating := Tolerance{228, 10}, Tolerance{135.3, 0.5}, Tolerance{410, 60}
	temperature := 0.3
	return Configuration{
		Site: Site{Name: "Tern Quay Surgery", Timezone: "Europe/London", AltitudeM: &altitude}, Limits: "en", Routine: "england",
		Sterilisers: []Steriliser{
			{ID: "S1", Serial: "TQ-0417", ChamberLitres: &litres, Type: "B", Programme: "134",
				Uncertainty: &Uncertainty{TemperatureK: &temperature, Certificate: &Certificate{Number: "C-11",
					Date: time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC), Due: time.Date(2027, 1, 10, 0, 0, 0, 0, time.UTC)}},
				AirRemoval: &AirRemoval{3, 20}, Reference: &Reference{&hold, &plateau, &heating},
				Programmes: []Mapping{{"134 wrapped", "134", ""}, {"Helix", "134", "steam penetration test"}, {"Control test", "134", "control test"}, {"Vac test", "", "air leakage test"}}},
			{ID: "S2", Serial: "TQ-0522", Type: "B", Programme: "134", Export: Export{SteriliserColumn: "Steriliser", Decimal: ","},
				Programmes: []Mapping{{"134 quick", "134", ""}, {"Helix", "134", "steam penetration test"}}},
		}}
}

// said is a way to a passphrase.
func passphrase(words string) func() (string, error) {
	return func() (string, error) { return words, nil }
}

// by is a person with the passphrase that all people of these tests have.
func by(id string) Proof { return Proof{Person: id, Passphrase: passphrase(id + " at the quay")} }

// clock is a clock that tests move.
type clock struct{ time.Time }

func (c *clock) now() time.Time { return c.Time }

// site is the invented surgery with two leads, a nurse, and a day imported.
type site struct {
	*Records
	dir   string
	clock *clock
}

// signedSite makes it: mara and noel lead, lea operates and releases.
func signedSite(t testing.TB, change ...func(*Configuration)) *site {
	t.Helper()
	return signedSiteAt(t, time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC), change...)
}

func signedSiteAt(t testing.TB, now time.Time, change ...func(*Configuration)) *site {
	t.Helper()
	c := demoSettings()
	for _, f := range change {
		f(&c)
	}
	s := &site{dir: filepath.Join(t.TempDir(), "Praxis Möwe 2"), clock: &clock{now}}
	w := World{Now: s.clock.now, Rounds: 1}
	settings := Settings{Value: c, File: "holdproof.yaml", Text: []byte(fmt.Sprintf("# %+v\n", c.Site))}
	err := Begin(t.Context(), Beginning{Dir: s.dir, Settings: settings, Lead: "mara", Name: "Mara Quill",
		Passphrase: by("mara").Passphrase, Authority: passphrase("the authority of the quay")}, w)
	if err != nil {
		t.Fatal(err)
	}
	if s.Records, err = OpenRecords(t.Context(), s.dir, settings, w); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	for _, p := range []struct {
		id, name string
		roles    []string
	}{{"lea", "Lea Brook", []string{"operate", "release"}}, {"noel", "Noël Straße", []string{"lead"}}} {
		if err := s.AddPerson(t.Context(), Joining{ID: p.id, Name: p.name, Roles: p.roles, Passphrase: by(p.id).Passphrase, By: by("mara"),
			Authority: passphrase("the authority of the quay")}); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// demoDay imports the invented day but for the files whose names hold one of these.
func (s *site) demoDay(t testing.TB, without ...string) {
	t.Helper()
	files, err := fixtures.DemoDay()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, f := range files {
		if filepath.Ext(f.Name) == ".csv" && !slices.ContainsFunc(without, func(w string) bool { return strings.Contains(f.Name, w) }) {
			wrote(t, dir, filepath.Base(f.Name), string(f.Bytes))
		}
	}
	imported(t, s.Records, dir)
}

// demoExport imports one file of the invented day.
func (s *site) demoExport(t testing.TB, name string) {
	t.Helper()
	files, err := fixtures.DemoDay()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if filepath.Base(f.Name) == name {
			imported(t, s.Records, wrote(t, t.TempDir(), name, string(f.Bytes)))
			return
		}
	}
	t.Fatalf("no %s", name)
}

const unfinished = "the rest is entered tomorrow"

func (s *site) prepared(t testing.TB, day string) Signed {
	t.Helper()
	out, err := s.Prepare(t.Context(), Signing{Date: day, By: by("lea"), Reason: unfinished})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func (s *site) countersigned(t testing.TB, day string) Signed {
	t.Helper()
	out, err := s.Countersign(t.Context(), day, by("mara"))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func (s *site) files(t testing.TB) []string {
	t.Helper()
	list, err := os.ReadDir(filepath.Join(s.dir, recordsFolder))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	var out []string
	for _, f := range list {
		out = append(out, f.Name())
	}
	return out
}

func (s *site) entries(t testing.TB) int64 {
	t.Helper()
	c, err := s.book.Checkpoint(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return c.Size
}

// roots is the PEM file of the authority.
func (s *site) roots() string { return filepath.Join(s.dir, "keys", "ca.pem") }

func read(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// refused fails unless the act was refused with these words and left no trace.
func (s *site) refused(t testing.TB, want string, act func() error) {
	t.Helper()
	before, files := s.entries(t), s.files(t)
	err := act()
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("found %v, expected %q", err, want)
	}
	if now := s.entries(t); now != before || !slices.Equal(s.files(t), files) {
		t.Errorf("%q left %d entries more, files %v", want, now-before, s.files(t))
	}
}

// A day is signed by one person, reviewed by another, holds offline, and gets a second
// revision when a record comes late.
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

// holds verifies a record offline under the site's authority.
func (s *site) holds(t testing.TB, file string, signers ...string) {
	t.Helper()
	found, err := Verify([]string{file}, Trusting{Roots: s.roots()})
	if err != nil || len(found) != 1 || !found[0].OK || !found[0].Trusted {
		t.Fatalf("%+v, %v", found, err)
	}
	var names []string
	for _, sig := range found[0].Signatures {
		names = append(names, sig.Name)
	}
	if !slices.Equal(names, signers) {
		t.Errorf("signed by %q, expected %q", names, signers)
	}
	without, err := Verify([]string{file}, Trusting{})
	if err != nil || !without[0].OK || without[0].Trusted {
		t.Errorf("without roots: %+v, %v", without, err)
	}
}

// The record of the next day names the file of the day before.
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

// What is not allowed is refused with a sentence, and leaves neither file nor entry.
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
	s.refused(t, "lacks S1: steam penetration test", prepare(by("lea"), " "))
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

// Who prepared a record does not review it, with another certificate either.
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

// A surgery of one prints why nobody reviews, and has no second field.
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

// A folder that takes no file, and a name that is taken: a sentence, and nothing kept.
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

// A signing that was cut off between file and entry is explained by audit and taken up
// by the next call; a file that fits no more is not.
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

// finds fails unless an audit finds exactly one problem, with these words.
func (s *site) finds(t testing.TB, want string) {
	t.Helper()
	a, err := s.Audit(t.Context(), Auditing{})
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Problems) != 1 || !strings.Contains(a.Problems[0], want) {
		t.Errorf("found %q, expected %q", a.Problems, want)
	}
}

// Records that were exchanged, cut back or signed by somebody the log does not know.
func TestAuditOfRecords(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	one := s.prepared(t, monday)
	first := read(t, one.File)
	s.countersigned(t, monday)
	both := read(t, one.File)
	s.clock.Time = s.clock.AddDate(0, 0, 1)
	two := s.prepared(t, "2026-11-03")
	other := read(t, two.File)
	sound(t, s.Records)
	put := func(path string, data []byte) {
		t.Helper()
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name, want string
		data       []byte
	}{
		{"cut back to the first signature", "holds the first signature only", first},
		{"another day's record", "not the one that was signed", other},
		{"a bit flipped", "not the one that was signed", flipped(both, len(first)/2)},
		{"something appended", "not the one that was signed", append(bytes.Clone(both), "\n%%EOF\n"...)},
	} {
		t.Run(c.name, func(t *testing.T) {
			put(one.File, c.data)
			s.finds(t, c.want)
		})
	}
	put(one.File, both)
	if err := os.Remove(two.File); err != nil {
		t.Fatal(err)
	}
	s.finds(t, "the file is not there")
	put(two.File, other)
	put(filepath.Join(s.dir, recordsFolder, "2026-11-04.pdf"), []byte("%PDF-1.7 of somebody"))
	s.finds(t, "no entry of the logbook names it. It was put there by somebody else")
}

func flipped(b []byte, at int) []byte {
	b = bytes.Clone(b)
	b[at] ^= 1
	return b
}

// A record signed by a second certificate of the same name, which only the holder of
// the authority can make: verify cannot tell, audit names it. So it does with one of
// another authority, one that is somebody else's, one that was ended, and with an entry
// that says otherwise than the record.
func TestCertificateOutsideTheLog(t *testing.T) {
	own := func(s *site) *seal.Key { return openedKey(t, s, "lea") }
	for _, c := range []struct {
		name, want string
		key        func(*site) *seal.Key
		before     func(*site, *DayRecord) // it is signed
		after      func(*site, *DayRecord) // it is signed, and entered next
	}{
		{name: "as it should be", key: own},
		{name: "issued beside the log", want: "is not in the log of certificates", key: func(s *site) *seal.Key {
			authority, err := seal.Open(read(t, keyFile(s.dir, authorityID)), "the authority of the quay")
			return issuedBy(t, s, authority, err)
		}},
		{name: "of another authority", want: "does not lead to an authority you trust", key: func(s *site) *seal.Key {
			authority, err := seal.NewAuthority("Tern Quay Surgery", s.Now())
			return issuedBy(t, s, authority, err)
		}},
		{name: "of somebody else in the log", want: `was issued to "noel", and the entry is of "lea"`, key: func(s *site) *seal.Key { return openedKey(t, s, "noel") }},
		{name: "ended", want: "had been ended by entry", key: func(s *site) *seal.Key {
			old := own(s)
			if err := s.Renew(t.Context(), Renewal{ID: "lea", Passphrase: by("lea").Passphrase, By: by("mara"), Authority: passphrase("the authority of the quay"), Reason: "lost"}); err != nil {
				t.Fatal(err)
			}
			return old
		}},
		{name: "entered when it was valid no more", want: "not at the time of signing", key: own,
			after: func(s *site, _ *DayRecord) { s.clock.Time = s.clock.AddDate(6, 0, 0) }},
		{name: "another root in the entry", want: "with another root than its entry says", key: own,
			after: func(_ *site, rec *DayRecord) { rec.Day.Record.LogRoot = strings.Repeat("0", 64) }},
		{name: "drawn from another log", want: "are not those it was drawn from", key: own,
			before: func(_ *site, rec *DayRecord) { rec.Day.Record.LogRoot = strings.Repeat("0", 64) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := signedSite(t)
			s.demoDay(t)
			key := c.key(s)
			rec, err := s.dayWith(t.Context(), monday, unfinished)
			if err != nil {
				t.Fatal(err)
			}
			p, err := s.prove(t.Context(), by("lea"), ActPrepare, s.Now())
			if err != nil {
				t.Fatal(err)
			}
			if c.before != nil {
				c.before(s, rec)
			}
			statement := s.statement(p)
			p.key = key
			data := signedWith(t, rec, key, statement)
			if c.after != nil {
				c.after(s, rec)
			}
			if _, err := s.enterPrepared(t.Context(), rec, p, statement, data); err != nil {
				t.Fatal(err)
			}
			if c.want == "" {
				sound(t, s.Records)
				return
			}
			s.finds(t, c.want)
		})
	}
}

func issuedBy(t testing.TB, s *site, authority *seal.Key, err error) *seal.Key {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	k, err := authority.Issue("Lea Brook", s.Now())
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// A record is replaced by nothing but its own extension.
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

// Whatever happens to the file while the passphrase is typed, it is not written over;
// a transaction that fails takes its file back.
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

// signedWith signs a record with any key.
func signedWith(t testing.TB, rec *DayRecord, key *seal.Key, s seal.Statement) []byte {
	t.Helper()
	plain, err := rec.PDF()
	if err != nil {
		t.Fatal(err)
	}
	prepared, reviewed := pdf.Blocks()
	second := seal.Place{Page: reviewed.Page, X: reviewed.X, Y: reviewed.Y, Width: reviewed.W, Height: reviewed.H}
	data, err := seal.Sign(plain, key, s, seal.Places{Reviewed: &second,
		Prepared: seal.Place{Page: prepared.Page, X: prepared.X, Y: prepared.Y, Width: prepared.W, Height: prepared.H}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// What is inside must fit what is signed, also where every signature is sound: the
// signature of one surgery under the record of another, a time before the record's.
func TestVerifyLooksInside(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	rec, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	key, err := seal.Open(read(t, keyFile(s.dir, "lea")), "lea at the quay")
	if err != nil {
		t.Fatal(err)
	}
	good := seal.Statement{Role: "may operate", Surgery: "Tern Quay Surgery", Time: s.Now()}
	elsewhere, early := good, good
	elsewhere.Surgery = "Gull Street Surgery"
	s.clock.Time = s.clock.Add(time.Hour)
	s.demoExport(t, "S1-1046.csv")
	later, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	alone, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	alone.Day.Signing = daily.Signing{Second: "none", Reason: "one person works here"}
	alone.Day.Record.Made = rec.Day.Record.Made
	for _, c := range []struct {
		why  string
		rec  *DayRecord
		s    seal.Statement
		want string
	}{
		{"sound", rec, good, ""},
		{"another surgery", rec, elsewhere, "is for Gull Street Surgery"},
		{"before the record", later, early, "signed at"},
		{"a second signature where none is asked for", alone, good, "says that a second signature is not asked for"},
	} {
		path := filepath.Join(t.TempDir(), "record.pdf")
		if err := os.WriteFile(path, signedWith(t, c.rec, key, c.s), 0o600); err != nil {
			t.Fatal(err)
		}
		found, err := Verify([]string{path}, Trusting{Roots: s.roots()})
		if err != nil {
			t.Fatal(err)
		}
		if v := found[0]; v.OK != (c.want == "") || !strings.Contains(strings.Join(v.Problems, " "), c.want) {
			t.Errorf("%s: %v, %q", c.why, v.OK, v.Problems)
		}
	}
	_, err = Verify([]string{filepath.Join(t.TempDir(), "none.pdf")}, Trusting{})
	if err == nil {
		t.Error("a file that is not there was verified")
	}
	_, err = Verify([]string{s.dir}, Trusting{Roots: keyFile(s.dir, "lea")})
	if err == nil || !strings.Contains(err.Error(), "no certificate in PEM form") {
		t.Errorf("roots that are none: %v", err)
	}
}

// The exports attached are those of the facts, no more and no less.
func TestAttachedAsSaid(t *testing.T) {
	d := daily.Day{Sources: []daily.Source{{Name: "a.csv", SHA256: "a"}, {Name: "b.csv", SHA256: "b"}}}
	for _, c := range []struct {
		sums map[string]bool
		want string
	}{
		{map[string]bool{"a": true, "b": true}, ""},
		{map[string]bool{"a": true, "c": true}, "b.csv is not attached as it was judged"},
		{map[string]bool{"a": true, "b": true, "c": true}, "that the record does not name"},
	} {
		if err := attachedAsSaid(d, c.sums); (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v", c.sums, err)
		}
	}
}

// Signatures made while somebody else writes the same day: one of them counts.
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
