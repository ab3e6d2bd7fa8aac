package surgery

import (
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
// holds verifies a record offline under the site's authority.
// The record of the next day names the file of the day before.
// What is not allowed is refused with a sentence, and leaves neither file nor entry.
// Who prepared a record does not review it, with another certificate either.
// A surgery of one prints why nobody reviews, and has no second field.
// A folder that takes no file, and a name that is taken: a sentence, and nothing kept.
// A signing that was cut off between file and entry is explained by audit and taken up
// by the next call; a file that fits no more is not.
// finds fails unless an audit finds exactly one problem, with these words.
// Records that were exchanged, cut back or signed by somebody the log does not know.
// A record signed by a second certificate of the same name, which only the holder of
// the authority can make: verify cannot tell, audit names it. So it does with one of
// another authority, one that is somebody else's, one that was ended, and with an entry
// that says otherwise than the record.
// A record is replaced by nothing but its own extension.
// Whatever happens to the file while the passphrase is typed, it is not written over;
// a transaction that fails takes its file back.
// signedWith signs a record with any key.
// What is inside must fit what is signed, also where every signature is sound: the
// signature of one surgery under the record of another, a time before the record's.
// The exports attached are those of the facts, no more and no less.
// Signatures made while somebody else writes the same day: one of them counts.
