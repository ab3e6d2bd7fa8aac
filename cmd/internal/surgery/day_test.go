package surgery

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/daily"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// insideOf is the day that a verified record holds.
func insideOf(t testing.TB, report *seal.Report) daily.Day {
	t.Helper()
	if !report.OK {
		t.Fatal(report.Problems)
	}
	files, err := report.Attachments()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if f.Name == dayFile {
			d, err := daily.Parse(f.Bytes)
			if err != nil {
				t.Fatal(err)
			}
			return d
		}
	}
	t.Fatal("no day inside")
	return daily.Day{}
}

// at is a time of the invented day.
func at(clock string) time.Time {
	out, err := time.Parse(time.RFC3339, monday+"T"+clock+"Z")
	if err != nil {
		panic(err)
	}
	return out
}

// day lays out the invented day and fails on what hinders it.
func (s *site) day(t testing.TB, date string) daily.Day {
	t.Helper()
	rec, err := s.Day(t.Context(), date)
	if err != nil {
		t.Fatal(err)
	}
	if err := rec.Day.Check(); err != nil {
		t.Fatal(err)
	}
	if _, err := rec.PDF(); err != nil {
		t.Fatal(err)
	}
	return rec.Day
}

func (s *site) note(t testing.TB, n Noting) {
	t.Helper()
	n.By = by("lea")
	if _, err := s.Note(t.Context(), n); err != nil {
		t.Fatal(err)
	}
}

func whatMissing(d daily.Day) []string {
	var out []string
	for _, m := range d.Missing {
		out = append(out, strings.TrimPrefix(m.Machine+": ", ": ")+m.What)
	}
	return out
}

func dutyIn(t testing.TB, d daily.Day, what, where string) daily.Duty {
	t.Helper()
	all := slices.DeleteFunc(slices.Clone(d.Duties), func(u daily.Duty) bool { return u.What != what || u.Where != where })
	if len(all) != 1 {
		t.Fatalf("%d rows of %s at %q", len(all), what, where)
	}
	return all[0]
}

func testsIn(d daily.Day, machine, kind string) []daily.Test {
	return slices.DeleteFunc(slices.Clone(d.Tests), func(t daily.Test) bool { return t.Machine != machine || t.Kind != kind })
}

// The day owes tests before the first load, and says of each how it stands: a curve
// alone never passes a steam penetration test.
func TestDayTests(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	d := s.day(t, monday)
	for _, want := range []struct{ machine, kind, state, at string }{
		{"S1", "control test", "passed", "2026-11-02T08:49:"},
		{"S1", "steam penetration test", "open", ""},
		{"S1", "air leakage test", "passed", "2026-11-02T07:56:"},
		{"S2", "control test", "missing", ""},
		{"S2", "steam penetration test", "open", ""},
	} {
		rows := testsIn(d, want.machine, want.kind)
		if len(rows) != 1 || rows[0].State != want.state || !strings.HasPrefix(rows[0].At, want.at) || (want.at == "") != (rows[0].At == "") {
			t.Errorf("%s of %s: %+v", want.kind, want.machine, rows)
		}
		if due := want.kind != "air leakage test"; len(rows) == 1 && rows[0].Due != due {
			t.Errorf("%s of %s: due %v", want.kind, want.machine, rows[0].Due)
		}
	}
	for _, a := range d.BeforeLoads() {
		if a.Yes {
			t.Errorf("tests of %s passed: %v", a.Machine, a.Why)
		}
	}
	s.note(t, Noting{Duty: dutyPenetration, Cycle: "1041", Outcome: "passed", At: at("08:40:00"), Text: "even colour"})
	d = s.day(t, monday)
	if rows := testsIn(d, "S1", "steam penetration test"); rows[0].State != "passed" || rows[0].By != "Lea Brook" || rows[0].At != monday+"T08:40:00Z" || rows[0].Detail != "even colour" {
		t.Errorf("%+v", rows)
	}
	if a := d.BeforeLoads()[0]; !a.Yes || a.Machine != "S1" {
		t.Errorf("%+v", a)
	}
	// Read too late: after the first load.
	s.note(t, Noting{Duty: dutyPenetration, Cycle: "416", Outcome: "passed", At: at("09:00:00")})
	if a := s.day(t, monday).BeforeLoads()[1]; a.Yes || !strings.Contains(strings.Join(a.Why, ", "), "steam penetration test only after the first load") {
		t.Errorf("%+v", a)
	}
	s.note(t, Noting{Duty: dutyPenetration, Cycle: "416", Outcome: "failed", At: at("09:10:00")})
	if a := s.day(t, monday).BeforeLoads()[1]; !a.Failed {
		t.Errorf("%+v", a)
	}
}

// A control test whose curve fails has failed, at its end; one that passes after it
// counts, and the failed one stays on the day.
func TestDayTestFailed(t *testing.T) {
	s := signedSite(t)
	control := func(number, clock string, hold float64) fixtures.Cycle {
		return cycleAt(number, clock, func(c *fixtures.Cycle) { c.Label, c.Hold, c.Interval = "Control test", hold, 1 })
	}
	imported(t, s.Records, exported(t, t.TempDir(), "one.csv", control("1", "07:00:00", 120), cycleAt("3", "09:00:00")))
	d := s.day(t, monday)
	if rows := testsIn(d, "S1", "control test"); len(rows) != 1 || rows[0].State != "failed" || rows[0].At == "" || !rows[0].Due || !d.BeforeLoads()[0].Failed {
		t.Errorf("%+v", rows)
	}
	imported(t, s.Records, exported(t, t.TempDir(), "two.csv", control("2", "08:00:00", 228)))
	d = s.day(t, monday)
	if rows := testsIn(d, "S1", "control test"); len(rows) != 2 || rows[0].Due || !rows[1].Due || rows[1].State != "passed" || d.BeforeLoads()[0].Failed {
		t.Errorf("%+v", rows)
	}
}

// Which tests a routine owes before the first load of each day, by the type of the machine
// (the sources stand in the routine's table).
func TestTestsOwedByType(t *testing.T) {
	for _, c := range []struct {
		routine, kind, machine string
		owed                   bool
	}{
		{"england", "control test", "N", true}, {"england", "steam penetration test", "N", false}, {"england", "steam penetration test", "B", true},
		{"england", "steam penetration test", "", true}, {"england", "air leakage test", "B", false}, {"australia", "air leakage test", "S", true},
		{"scotland", "control test", "B", false}, {"", "control test", "B", false},
	} {
		configuration := machines(func(m *Configuration) { m.Routine, m.Sterilisers[0].Type = c.routine, c.machine })
		r := opened(t, emptySite(t), configuration, "text")
		imported(t, r, exported(t, t.TempDir(), "load.csv", cycleAt("1", "08:00:00")))
		rec, err := r.Day(t.Context(), monday)
		if err != nil {
			t.Fatal(err)
		}
		rows := testsIn(rec.Day, "S1", c.kind)
		if got := len(rows) == 1 && rows[0].Due && rows[0].State == "missing"; got != c.owed {
			t.Errorf("%+v: %+v", c, rows)
		}
	}
}

// What the day owes and does not have, and how each of it goes away.
func TestDayMissing(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	if got := whatMissing(s.day(t, monday)); !slices.Equal(got, []string{
		"S1: steam penetration test: what its indicator showed was not entered",
		"S2: steam penetration test: what its indicator showed was not entered",
		"S2: control test",
		"reservoir filled (S1, S2)", "seal and chamber looked at (S1, S2)", "steriliser drained (S1, S2)", "cycle counter (S1, S2)",
		"cycle 1048 is missing on S1, between 1047 (2 Nov 2026 14:11) and 1049 (2 Nov 2026 16:24)",
		"S1: what became of 1043, 1044, 1045, 1046, 1047, 1049",
		"S2: what became of 417, 418, 419, 420, 421",
	}) {
		t.Errorf("missing %q", got)
	}
	count := 1049.0
	s.note(t, Noting{Duty: dutyPenetration, Cycle: "1041", Outcome: "passed", At: at("08:40:00")})
	s.note(t, Noting{Duty: dutyCounter, Steriliser: "S1", Value: &count})
	s.note(t, Noting{Duty: dutyExplained, Cycle: "1049", Text: "1048 was stopped before it began"})
	s.note(t, Noting{Duty: "water lines flushed", Place: "chair 1", Outcome: "done", At: at("07:20:00"), Text: "with all couplings off"})
	for _, duty := range []string{"reservoir filled", "seal and chamber looked at", "steriliser drained"} {
		s.note(t, Noting{Duty: duty, Steriliser: "S1", Outcome: "done"})
	}
	for _, number := range []string{"1043", "1044", "1046", "1049"} {
		if _, err := s.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{"S1/" + number}, By: by("lea")}); err != nil {
			t.Fatal(err)
		}
	}
	for _, d := range []Deciding{
		{Do: DoReprocess, Cycles: []string{"1045"}, By: by("lea"), Rerun: "1046", Reason: "held too short"},
		{Do: DoRelease, Cycles: []string{"1047"}, By: by("lea"), Second: by("mara"), Reason: "looked at the curve together"},
	} {
		if _, err := s.Decide(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	d := s.day(t, monday)
	for _, what := range whatMissing(d) {
		if strings.Contains(what, "S1") || strings.HasPrefix(what, "cycle 1048") {
			t.Errorf("still missing: %s", what)
		}
	}
	if d.Machines[0].Counter == nil || *d.Machines[0].Counter != 1049 {
		t.Errorf("%+v", d.Machines[0])
	}
	if len(d.Across) != 1 || !strings.Contains(d.Across[0].Explained, "1048 was stopped before it began (Lea Brook, entry ") {
		t.Errorf("%+v", d.Across)
	}
	// No chair is in the settings, so the routine owes nothing there; the note stands all the same.
	if u := dutyIn(t, d, "water lines flushed", "chair 1"); u.When != "as it occurred" || u.By != "Lea Brook" || u.Detail != "with all couplings off" || u.State != "done" {
		t.Errorf("%+v", u)
	}
	if u := dutyIn(t, d, "cycle counter", "S1"); u.State != "done" || u.Detail != "1049 cycles" || u.Source != "common practice, no source" {
		t.Errorf("%+v", u)
	}
	of := func(number string) []daily.Decision {
		for _, c := range d.Cycles {
			if c.Number == number {
				return d.DecisionsOn(c.ID)
			}
		}
		return nil
	}
	if got := of("1045"); len(got) != 1 || got[0].Act != "sent for reprocessing" || got[0].Rerun != "S1-20261102-120258" || got[0].Reason != "held too short" {
		t.Errorf("%+v", got)
	}
	if got := of("1047"); !slices.ContainsFunc(got, func(x daily.Decision) bool {
		return x.Act == "released" && x.By == "Lea Brook" && x.Second == "Mara Quill" && x.Role == "may release loads"
	}) {
		t.Errorf("%+v", got)
	}
}

// A load that was released at the machine is missing until its record comes; a record
// that does not conform opens a recall, which stands on the day.
func TestDayReleasedBefore(t *testing.T) {
	s := signedSite(t)
	packs := int64(6)
	_, err := s.ReleaseAtMachine(t.Context(), AtMachine{Steriliser: "S1", Number: "1045", Day: monday,
		Load: entry.Load{Contents: "instruments", Count: &packs, Wrapping: "wrapped", Loaded: "lea"}, Indicator: "passed"}, by("lea"), Proof{}, "", at("11:45:00"))
	if err != nil {
		t.Fatal(err)
	}
	if got := whatMissing(s.day(t, monday)); !slices.Contains(got, "S1: the record of cycle 1045, whose load was released at the machine by Lea Brook at 11:45") {
		t.Errorf("missing %q", got)
	}
	s.demoDay(t)
	d := s.day(t, monday)
	if len(d.Recalls) != 1 || d.Recalls[0].Packs != "6 packs, instruments" || d.Recalls[0].Closed != "" {
		t.Fatalf("%+v", d.Recalls)
	}
	if got := d.DecisionsOn(d.Recalls[0].Cycle); len(got) != 1 || got[0].Act != "released at the machine" || got[0].At != monday+"T11:45:00Z" {
		t.Errorf("%+v", got)
	}
	if c, _ := d.Find(d.Recalls[0].Cycle); c.Number != "1045" || c.Load.By != "Lea Brook" || c.Load.Packing != "wrapped" {
		t.Errorf("%+v", c.Load)
	}
	if _, err := s.Decide(t.Context(), Deciding{Do: DoClose, Cycles: []string{"1045"}, By: by("mara"), Packs: []entry.Pack{{Pack: "packs 1 to 6", Became: "found unopened, run again"}}}); err != nil {
		t.Fatal(err)
	}
	if r := s.day(t, monday).Recalls[0]; r.By != "Mara Quill" || r.Closed == "" || r.Outcome != "packs 1 to 6: found unopened, run again" {
		t.Errorf("%+v", r)
	}
}

// A closed day, and a machine out of service from one day to another.
func TestDayClosures(t *testing.T) {
	s := signedSite(t)
	s.clock.Time = s.clock.AddDate(0, 0, 9)
	s.note(t, Noting{Duty: dutyClosed, Day: "2026-11-04", Text: "training"})
	s.note(t, Noting{Duty: dutyOutOfUse, Day: "2026-11-05", Steriliser: "S2", Text: "door seal", At: at("09:00:00").AddDate(0, 0, 3)})
	if _, err := s.Note(t.Context(), Noting{Duty: dutyBackInUse, Day: "2026-11-07", Steriliser: "S2", Text: "seal changed", By: by("mara"), At: at("09:00:00").AddDate(0, 0, 5)}); err != nil {
		t.Fatal(err)
	}
	for date, want := range map[string][]daily.Closure{
		"2026-11-04": {{Machine: "", Reason: "training", By: "Lea Brook"}},
		"2026-11-05": {{Machine: "S2", Reason: "door seal", By: "Lea Brook", From: "2026-11-05T09:00:00Z"}},
		"2026-11-06": {{Machine: "S2", Reason: "door seal", By: "Lea Brook"}},
		"2026-11-07": {{Machine: "S2", Reason: "door seal", By: "Lea Brook", To: "2026-11-07T09:00:00Z"}},
		"2026-11-08": nil,
	} {
		if got := s.day(t, date); !slices.Equal(got.Closed, want) {
			t.Errorf("%s: %+v", date, got.Closed)
		}
	}
	if got := whatMissing(s.day(t, "2026-11-04")); len(got) != 0 {
		t.Errorf("a closed day lacks %q", got)
	}
}

// A file that could not be read is attached to the record of the day it came, with why.
func TestDayUnreadable(t *testing.T) {
	s := signedSite(t)
	text := "Steriliser: TQ-0417\nthis is no table\n"
	imported(t, s.Records, wrote(t, t.TempDir(), "S1-9.csv", text))
	rec, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	if len(rec.Day.Sources) != 1 || len(rec.Day.Sources[0].Problems) == 0 || string(rec.parts.Sources[entry.Sum([]byte(text))]) != text {
		t.Errorf("%+v", rec.Day.Sources)
	}
}

// Of a cycle that comes out otherwise under today's settings the record keeps the
// verdict and says why there is no figure.
func TestDayUnderOtherSettings(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	before := s.day(t, monday)
	changed := demoSettings()
	changed.Sterilisers[0].AirRemoval.Pulses = 5
	r, err := OpenRecords(t.Context(), s.dir, Settings{Value: changed, File: "holdproof.yaml", Text: []byte("changed\n")}, World{Now: s.clock.now})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	rec, err := r.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range rec.Day.Cycles {
		if c.Outcome != before.Cycles[i].Outcome {
			t.Errorf("%s is %s, the verdict says %s", c.Name(), c.Outcome, before.Cycles[i].Outcome)
		}
		if _, drawn := rec.parts.Figures[c.ID]; drawn != (c.Steriliser == "S2" || c.Kind == "air leakage test") {
			t.Errorf("%s: drawn %v", c.Name(), drawn)
		}
	}
	remarks := strings.Join(rec.Day.Remarks, "\n")
	if !strings.Contains(remarks, "no figure of S1 · 1043: read today, it comes out otherwise") || !strings.Contains(remarks, "S1 · 1043 was judged with the settings whose SHA-256 begins with ") {
		t.Errorf("remarks %s", remarks)
	}
	if data, err := rec.PDF(); err != nil || !bytes.HasPrefix(data, []byte("%PDF")) {
		t.Error(err)
	}
}
