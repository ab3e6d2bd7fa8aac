package surgery

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/logbook"
)

// The machine and the days of these tests are invented.

var evening = time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC)

// machines is a configuration with one machine, and what more the test changes.
func machines(change ...func(*Configuration)) Configuration {
	c := Configuration{Site: Site{Name: "Tern Quay Surgery", Timezone: "Europe/London"},
		Sterilisers: []Steriliser{{ID: "S1", Serial: "TQ-0417", Programme: "134", Type: "B"}}}
	for _, f := range change {
		f(&c)
	}
	return c
}

// emptySite makes a folder with an empty logbook. Its name has a space and letters
// beyond ASCII, as the folders of surgeries do.
func emptySite(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "Praxis Möwe 2")
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	b, err := logbook.Create(t.Context(), dir, logbook.Options{Now: func() time.Time { return evening }})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

// opened opens a site under a configuration; text stands for its bytes.
func opened(t testing.TB, dir string, c Configuration, text string) *Records {
	t.Helper()
	r, err := OpenRecords(t.Context(), dir, Settings{Value: c, File: "holdproof.yaml", Text: []byte(text)},
		World{Now: func() time.Time { return evening }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

// told gathers what an import says.
type told struct {
	now      []Arrival
	arrivals []Arrival
	files    []Imported
}

func (t *told) Cycle(a Arrival) error { t.now = append(t.now, a); return nil }
func (t *told) Again() error          { t.now = nil; return nil }
func (t *told) File(f Imported) error {
	t.arrivals, t.now, t.files = append(t.arrivals, t.now...), nil, append(t.files, f)
	return nil
}

// imported imports paths and fails on anything that hindered it.
func imported(t testing.TB, r *Records, paths ...string) (*told, []Between) {
	t.Helper()
	var out told
	across, err := r.Import(t.Context(), Arriving{Paths: paths, Via: ViaCommand}, &out)
	if err != nil {
		t.Fatal(err)
	}
	return &out, across
}

// export writes cycles to a file of that name and returns its path.
func exported(t testing.TB, dir, name string, cycles ...fixtures.Cycle) string {
	t.Helper()
	text, err := fixtures.CSV(fixtures.Dialect{Preamble: true}, cycles...)
	if err != nil {
		t.Fatal(err)
	}
	return wrote(t, dir, name, text)
}

func wrote(t testing.TB, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// cycleAt is a load of the machine with readings 5 s apart.
func cycleAt(number, clock string, change ...func(*fixtures.Cycle)) fixtures.Cycle {
	at, err := time.Parse(time.RFC3339, "2026-11-02T"+clock+"Z")
	if err != nil {
		panic(err)
	}
	c := fixtures.Cycle{Start: at, Steriliser: "TQ-0417", Number: number, Label: "134 wrapped", Interval: 5, Hold: 300}
	c.Draw = uint64(len(number)) + uint64(at.Unix())
	for _, f := range change {
		f(&c)
	}
	return c
}

// sound fails unless an audit finds the logbook whole.
func sound(t testing.TB, r *Records) {
	t.Helper()
	a, err := r.Audit(context.WithoutCancel(t.Context()), Auditing{})
	if err != nil {
		t.Fatal(err)
	}
	if !a.OK() {
		t.Fatalf("the audit finds:\n%s", strings.Join(a.Problems, "\n"))
	}
}
