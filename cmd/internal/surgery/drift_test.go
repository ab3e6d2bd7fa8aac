package surgery

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/logbook/entry"
	"holdproof/validate/drift"
)

// Machines, days and figures of these tests are invented.

// drifting are n loads, one a day, whose chamber sensor reads more from the 30th on.
func drifting(n int, each float64) []fixtures.Cycle {
	var out []fixtures.Cycle
	for i := range n {
		c := fixtures.Cycle{Start: time.Date(2026, 8, 1+i, 8, 0, 0, 0, time.UTC), Steriliser: "TQ-0417", Number: fmt.Sprint(1 + i),
			Label: "134 wrapped", Interval: 5, Hold: 300, Draw: uint64(i), Above: 1.3}
		c.Faults.Superheat = max(0, float64(i-29)) * each
		out = append(out, c)
	}
	return out
}

// monthsLater opens the site with a clock that stands behind all cycles.
func monthsLater(t testing.TB, dir string, at time.Time) *Records {
	t.Helper()
	r, err := OpenRecords(t.Context(), dir, Settings{Value: machines(), File: "holdproof.yaml", Text: []byte("a")}, World{Now: func() time.Time { return at }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

func chartOf(t testing.TB, d Drift, of drift.Quantity, programme string) DriftChart {
	t.Helper()
	for _, c := range d.Charts {
		if c.Of == of && c.Programme == programme {
			return c
		}
	}
	t.Fatalf("no chart of %s, programme %q in %+v", of, programme, d.Charts)
	return DriftChart{}
}

func drifted(t testing.TB, r *Records) Drift {
	t.Helper()
	d, err := r.Drift(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestDriftSaysWhatMoves(t *testing.T) {
	dir := emptySite(t)
	r := monthsLater(t, dir, time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC))
	if d := drifted(t, r); len(d.Charts) != 1 || d.Charts[0].Standing != DriftNone || d.Says(d.Charts[0]) != "no cycle that conforms yet" {
		t.Fatalf("an empty logbook: %+v", d)
	}
	imported(t, r, exported(t, t.TempDir(), "summer.csv", drifting(70, 0.02)...))
	d := drifted(t, r)
	c := chartOf(t, d, drift.SteamMean, "134")
	if c.Standing != DriftMoves || !c.Signal.Up || len(c.Points) != 70 || c.Points[0].High == nil {
		t.Fatalf("%+v", c)
	}
	says := d.Says(c)
	for _, want := range []string{"the reference temperature moved up 0.", " K against the steam temperature since ", " Sep 2026; ", " K from the limit; at this pace it would be there about "} {
		if !strings.Contains(says, want) {
			t.Errorf("%q lacks %q", says, want)
		}
	}
	if m := d.Moving(); len(m) == 0 || m[0].Of != drift.SteamMean || !strings.Contains(d.Pace(m[0]), "0.1") || m[0].ToDo() == "" {
		t.Errorf("%+v", m)
	}
	// The sensor reads 0.02 K a day too much: 0.14 K a week, within its own uncertainty.
	if s := c.Signal; s.Pace-s.PaceU > 0.14 || s.Pace+s.PaceU < 0.14 || s.PaceU > 0.03 {
		t.Errorf("pace %v ± %v, expected 0.14", s.Pace, s.PaceU)
	}
	if c := chartOf(t, d, drift.Equilibration, "134"); c.Standing != DriftSteady {
		t.Errorf("equilibration: %+v", c.Signals)
	}
	for _, of := range []drift.Quantity{drift.PlateauMean, drift.HeatingTime, drift.VacuumTime} {
		if c := chartOf(t, d, of, "134"); c.Standing != DriftDrawn || len(c.Points) != 70 {
			t.Errorf("%s: %s, %d points", of, c.Standing, len(c.Points))
		}
	}
	if _, err := r.Drift(t.Context(), "S9"); err == nil || !strings.Contains(err.Error(), `no steriliser "S9"`) {
		t.Errorf("%v", err)
	}
}

// Healthy cycles are one quiet line, and before 20 of them nothing is said.
func TestDriftIsQuiet(t *testing.T) {
	r := monthsLater(t, emptySite(t), time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC))
	cycles := drifting(45, 0)
	dir := t.TempDir()
	imported(t, r, exported(t, dir, "some.csv", cycles[:19]...))
	d := drifted(t, r)
	if q := d.Quiet(); len(q) != 1 || q[0] != "S1 134: not yet 20 cycles, 19 so far" {
		t.Errorf("%q", q)
	}
	test := cycles[44]
	test.Start, test.Number, test.Label = test.Start.Add(3*time.Hour), "900", "Control test" // tests are no loads
	imported(t, r, exported(t, dir, "more.csv", append(cycles[19:], test)...))
	d = drifted(t, r)
	q := d.Quiet()
	if len(d.Moving()) != 0 || len(q) != 1 || !strings.HasPrefix(q[0], "S1 134: temperature against steam and equilibration time steady over 45 cycles; of the last 20 mean of the plateau 135.") {
		t.Errorf("%q", q)
	}
}

// Leak tests have a chart of their own, with the limit less half a step of the recorder.
func TestDriftOfLeakTests(t *testing.T) {
	r := monthsLater(t, emptySite(t), time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC))
	var cycles []fixtures.Cycle
	for i := range 40 {
		cycles = append(cycles, fixtures.Cycle{Start: time.Date(2026, 8, 1+i, 7, 0, 0, 0, time.UTC), Steriliser: "TQ-0417", Number: fmt.Sprint(500 + i), Interval: 10,
			Label: "Vac test", Leak: &fixtures.Leak{Rate: 0.03 + 0.003*max(0, float64(i-22))}, Draw: uint64(i)})
	}
	imported(t, r, exported(t, t.TempDir(), "leaks.csv", cycles...))
	d := drifted(t, r)
	c := chartOf(t, d, drift.LeakRate, "")
	if c.Standing != DriftMoves || c.Name() != "S1 leak tests" || !strings.HasPrefix(d.Says(c), "the leak rate rose by 0.0") || !strings.Contains(d.Says(c), " kPa/min from the limit") {
		t.Errorf("%s: %s", c.Name(), d.Says(c))
	}
	if l := c.Signal.Limit; l == nil || *l <= 0.12 || *l > 0.13 {
		t.Errorf("limit %v", l)
	}
}

// A validation that passed and an engineer's visit begin a chart anew; a visit that owes
// no test and a validation that failed do not.
func TestDriftResets(t *testing.T) {
	r, clock := staffed(t)
	cycles := drifting(30, 0)
	for i := range cycles {
		cycles[i].Start = time.Date(2026, 11, 3+i, 8, 0, 0, 0, time.UTC)
	}
	clock.set(time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC))
	imported(t, r, exported(t, t.TempDir(), "autumn.csv", cycles...))
	count := func() int { return len(chartOf(t, drifted(t, r), drift.SteamMean, "134").Points) }
	note := func(day int, n Noting) {
		t.Helper()
		n.Steriliser, n.At, n.By = "S1", time.Date(2026, 11, 2+day, 18, 0, 0, 0, time.UTC), as("mara")
		n.Day = n.At.Format(time.DateOnly)
		if _, err := r.Note(t.Context(), n); err != nil {
			t.Fatal(err)
		}
	}
	note(5, Noting{Duty: dutyValidation, Outcome: "failed"})
	if n := count(); n != 30 {
		t.Errorf("a failed validation leaves %d points, expected 30", n)
	}
	note(10, Noting{Duty: dutyValidation, Outcome: "passed"})
	if n := count(); n != 20 {
		t.Errorf("a validation leaves %d points, expected 20", n)
	}
	note(12, Noting{Duty: dutyVisit, Text: "Door seal replaced."})
	if q := drifted(t, r).Quiet(); len(q) != 1 || q[0] != "S1 134: not yet 20 cycles, 18 so far since the engineer's visit of 14 Nov 2026" {
		t.Errorf("%q", q)
	}
	note(40, Noting{Duty: dutyVisit, Text: "Sensor replaced."})
	if q := drifted(t, r).Quiet(); len(q) != 1 || q[0] != "S1: no cycle that conforms yet since the engineer's visit of 12 Dec 2026" {
		t.Errorf("%q", q)
	}
	note(45, Noting{Duty: dutyVisit, Text: "Looked at, nothing done.", Tests: []string{noTest}})
	if q := drifted(t, r).Quiet(); len(q) != 1 || !strings.HasSuffix(q[0], "visit of 12 Dec 2026") {
		t.Errorf("a visit that owes no test: %q", q)
	}
}

// A validation begins a chart anew from its own day, not from when it was entered: it is
// often older than the logbook.
func TestDriftResetIsOfItsDay(t *testing.T) {
	r, clock := staffed(t)
	cycles := drifting(30, 0)
	for i := range cycles {
		cycles[i].Start = time.Date(2026, 11, 3+i, 8, 0, 0, 0, time.UTC)
	}
	clock.set(time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC))
	imported(t, r, exported(t, t.TempDir(), "autumn.csv", cycles...))
	for _, one := range []struct {
		day    string
		points int
		since  string
	}{{"2026-01-09", 30, " since the validation of 9 Jan 2026"}, {"2026-11-12", 20, " since the validation of 12 Nov 2026"}} {
		if _, err := r.Note(t.Context(), Noting{Duty: dutyValidation, Steriliser: "S1", Day: one.day, Outcome: "passed", By: as("mara")}); err != nil {
			t.Fatal(err)
		}
		d := drifted(t, r)
		c := chartOf(t, d, drift.SteamMean, "134")
		if says := d.Says(c); len(c.Points) != one.points || !strings.HasSuffix(says, one.since) {
			t.Errorf("a validation of %s leaves %d points: %q", one.day, len(c.Points), says)
		}
	}
}

// The order in which records came does not matter, nor that a record came twice.
func TestDriftInAnyOrder(t *testing.T) {
	cycles, at := drifting(45, 0.03), time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	first, last := exported(t, dir, "first.csv", cycles[:25]...), exported(t, dir, "last.csv", cycles[20:]...)
	one, other := monthsLater(t, emptySite(t), at), monthsLater(t, emptySite(t), at)
	imported(t, one, first, last)
	imported(t, other, last)
	imported(t, other, first)
	told := func(r *Records) string {
		d := drifted(t, r)
		c := chartOf(t, d, drift.SteamMean, "134")
		if len(c.Points) != 45 {
			t.Errorf("%d points", len(c.Points))
		}
		return fmt.Sprint(d.Says(c), d.Pace(c), c.Centre, c.Rise, d.Quiet())
	}
	if a, b := told(one), told(other); a != b {
		t.Errorf("%s\n%s", a, b)
	}
}

// The limit a signal speaks of is that of the newest cycle, inwards by its uncertainty.
func TestDriftLimits(t *testing.T) {
	r := monthsLater(t, emptySite(t), time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC))
	imported(t, r, exported(t, t.TempDir(), "some.csv", drifting(22, 0)...))
	c := chartOf(t, drifted(t, r), drift.SteamMean, "134")
	kept, err := r.book.Cycle(t.Context(), c.Points[21].Cycle)
	if err != nil {
		t.Fatal(err)
	}
	_, findings, err := said(kept.Verdict)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range findings {
		if f.Check == "steam-agreement" {
			if want := 2 - *f.Uncertainty; *c.Points[21].High != want || *c.Points[21].Low != -want {
				t.Errorf("limits %v, %v, expected ± %v", *c.Points[21].Low, *c.Points[21].High, want)
			}
		}
	}
	if e := chartOf(t, drifted(t, r), drift.Equilibration, "134"); e.Points[0].High == nil || *e.Points[0].High != 15 || e.Points[0].Low != nil {
		t.Errorf("equilibration: %+v", e.Points[0])
	}
}

func TestDaysInWords(t *testing.T) {
	d := Drift{zone: time.UTC}
	at := func(y int, m time.Month, day int) time.Time { return time.Date(y, m, day, 9, 0, 0, 0, time.UTC) }
	for _, c := range []struct {
		from, to time.Time
		want     string
	}{
		{at(2027, 1, 3), at(2027, 1, 9), "3 to 9 Jan 2027"}, {at(2027, 1, 3), at(2027, 1, 3), "3 Jan 2027"},
		{at(2027, 1, 3), at(2027, 2, 9), "3 Jan to 9 Feb 2027"}, {at(2026, 12, 30), at(2027, 1, 9), "30 Dec 2026 to 9 Jan 2027"},
		{at(2027, 1, 3), at(2028, 1, 9), "3 Jan 2027 to 9 Jan 2028"},
	} {
		if got := d.days(c.from, c.to); got != c.want {
			t.Errorf("%q, expected %q", got, c.want)
		}
	}
}

// What is said of a signal, case by case: nothing is promised that is not known.
func TestDriftSentences(t *testing.T) {
	d := Drift{zone: time.UTC}
	at := time.Date(2026, 10, 12, 9, 0, 0, 0, time.UTC)
	limit := 1.2
	chart := func(s drift.Signal) DriftChart {
		return DriftChart{Standing: DriftMoves, Signal: s, Chart: drift.Chart{Of: drift.SteamMean, Points: []drift.Point{{At: at}, {At: at.AddDate(0, 1, 0)}}}}
	}
	base := drift.Signal{Up: true, Last: 1, Moved: 0.31, Pace: 0.05, Limit: &limit, Left: 0.89,
		Reached: at.AddDate(0, 3, 0), Earliest: at.AddDate(0, 2, 20), Latest: at.AddDate(0, 3, 10)}
	for why, c := range map[string]struct {
		change func(*drift.Signal)
		ends   string
	}{
		"a day":       {func(*drift.Signal) {}, "up 0.4 K against the steam temperature since 12 Oct 2026; 0.8 K from the limit; at this pace it would be there about 1 to 22 Jan 2027"},
		"uncertain":   {func(s *drift.Signal) { s.Earliest, s.Latest = time.Time{}, time.Time{} }, "its pace is too uncertain to say when it would be there"},
		"a century":   {func(s *drift.Signal) { s.Latest = time.Time{} }, "from about 1 Jan 2027 on"},
		"any day":     {func(s *drift.Signal) { s.Earliest = at }, "any day now, at the latest about 22 Jan 2027"},
		"past it":     {func(s *drift.Signal) { s.Left = -0.11 }, "its line is already past the limit by 0.2 K"},
		"very near":   {func(s *drift.Signal) { s.Left = 0.04 }, "less than 0.1 K from the limit; at this pace it would be there about 1 to 22 Jan 2027"},
		"a step":      {func(s *drift.Signal) { s.Pace = -0.01 }, "it moved and stands still now, so no day is said"},
		"without any": {func(s *drift.Signal) { s.Limit = nil }, "there is no limit to compare it with"},
	} {
		s := base
		c.change(&s)
		if got := d.Says(chart(s)); !strings.HasSuffix(got, c.ends) {
			t.Errorf("%s: %q, expected … %q", why, got, c.ends)
		}
	}
}

// BenchmarkDrift lays the charts over 20,000 cycles of one machine.
func BenchmarkDrift(b *testing.B) {
	r, _ := tenYears(b, func(_ int, v *entry.Verdict) { v.Steriliser = "S1" })
	for b.Loop() {
		r.drifts.size = -1 // nothing is known from the time before
		d := drifted(b, r)
		if n := len(chartOf(b, d, drift.SteamMean, "134").Points); n < 2000 {
			b.Fatalf("%d points", n)
		}
	}
}
