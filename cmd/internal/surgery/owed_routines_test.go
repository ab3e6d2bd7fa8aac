package surgery

import (
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/daily"
	"holdproof/report/seal"
	"holdproof/validate/routine"
)

// One invented day under each routine, sixteen days after the logbook began: S1 ran its
// leak, penetration and control test and two loads; its leak test stood at 07:56, the
// indicator was read at 08:40, and the nurse entered the morning and forgot the evening.
// What is missing is worked out by hand from the table of each routine. Weekly lines were
// never entered and are overdue since the eighth day; those of a quarter or a year are not.
var workedRoutines = map[string]struct {
	missing []string // beside what all lack
	line    string   // a line by which the routine can be told, its interval, source and certainty
	every   string
	source  string
	sure    string
}{
	"england":       {nil, dutyControl, "1 day", "HTM 01-05", "second-hand"},
	"scotland":      {nil, dutyControl, "7 days", "SHTM 01-05, April 2024", "read"},
	"australia":     {nil, dutyLeak, "1 day", "RACGP, 2023", "read"},
	"united-states": {[]string{"S1: spore test read: overdue since 26 Oct 2026; never entered"}, "spore test read", "7 days", "CDC, MMWR 52(RR-17), 2003", "read"},
	"germany":       {nil, dutyControl, "1 day", "KRINKO/BfArM, 2012", "memory"},
	"own":           {nil, dutyControl, "1 day", "common practice, no source", "memory"},
}

func TestWorkedDayOfEachRoutine(t *testing.T) {
	if len(workedRoutines) != len(routine.Names()) {
		t.Errorf("%d days worked, %d routines", len(workedRoutines), len(routine.Names()))
	}
	for _, name := range routine.Names() {
		t.Run(name, func(t *testing.T) {
			want := workedRoutines[name]
			s := workedSite(t, name)
			missing := slices.Concat([]string{"suction looked at (chair 2)", "water lines flushed at the end (chair 1, chair 2)", "water lines disinfected (chair 1, chair 2)",
				"suction disinfected (chair 1, chair 2)", "S1: steriliser drained", "S1: cycle counter",
				"S1: seal and interlock tested: overdue since 26 Oct 2026; never entered", "S1: clock checked: overdue since 26 Oct 2026; never entered"}, want.missing)
			got := whatMissing(s.day(t, monday))
			got = slices.DeleteFunc(got, func(m string) bool { return strings.Contains(m, "what became of") || strings.HasPrefix(m, "cycle ") })
			if !slices.Equal(got, missing) {
				t.Errorf("lacks\n%s\nexpected\n%s", strings.Join(got, "\n"), strings.Join(missing, "\n"))
			}
			if o := s.owed(t, monday, want.line, "S1"); o.Every.String() != want.every || o.Source != want.source || o.Sure != want.sure {
				t.Errorf("%s: every %s, %s (%s)", want.line, o.Every, o.Source, o.Sure)
			}
			for _, kind := range kindsOfTest { // what is owed weekly was never entered before
				if rows := testsIn(s.day(t, monday), "S1", kind.String()); len(rows) != 1 || rows[0].State != "passed" || !rows[0].Due {
					t.Errorf("%s: %+v", kind, rows)
				}
			}
		})
	}
}

// workedSite is the invented surgery with one machine and two chairs on that day.
func workedSite(t *testing.T, name string) *site {
	t.Helper()
	s := signedSiteAt(t, time.Date(2026, 10, 19, 18, 0, 0, 0, time.UTC), func(c *Configuration) {
		c.Routine, c.Chairs, c.Sterilisers = name, []string{"chair 1", "chair 2"}, c.Sterilisers[:1]
	})
	s.clock.Time = time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC)
	s.demoDay(t, "S2-")
	two := 2.0
	for _, n := range []Noting{
		{Duty: "reservoir filled", Steriliser: "S1", Outcome: "done", At: at("07:05:00")},
		{Duty: "seal and chamber looked at", Steriliser: "S1", Outcome: "done", At: at("07:06:00")},
		{Duty: "water lines flushed", Place: "chair 1", Outcome: "done", Value: &two, At: at("07:10:00")},
		{Duty: "water lines flushed", Place: "chair 2", Outcome: "done", Value: &two, At: at("07:10:00")},
		{Duty: "suction looked at", Place: "chair 1", Outcome: "done", At: at("07:12:00")},
		{Duty: dutyPenetration, Cycle: "1041", Outcome: "passed", At: at("08:40:00")},
	} {
		s.note(t, n)
	}
	return s
}

// A day that lacks something is signed only with a reason, which stands in its record; what
// is due that day and not owed each day, and counts between patients, hinder nothing.
func TestSigningAsksForWhatIsOwed(t *testing.T) {
	s := workedSite(t, "england")
	_, err := s.Prepare(t.Context(), Signing{Date: monday, By: by("lea")})
	refusedFor(t, err, "suction looked at (chair 2)", "say why with --reason")
	if err != nil && (strings.Contains(err.Error(), "rinsed") || strings.Contains(err.Error(), "validation")) {
		t.Errorf("asks for what is not owed: %v", err)
	}
	signed := s.prepared(t, monday)
	d := insideOf(t, seal.Verify(read(t, signed.File), seal.Trust{}))
	if len(d.Missing) == 0 || slices.ContainsFunc(d.Missing, func(m daily.Missing) bool { return m.Reason != unfinished }) {
		t.Errorf("%+v", d.Missing)
	}
	if u := dutyIn(t, d, "validation", "S1"); u.State != "never entered" || u.DueBy != "2027-10-19" {
		t.Errorf("%+v", u)
	}
	if u := dutyIn(t, d, "water lines flushed", "chair 1"); u.State != "done" || u.When != "start of day" || u.By != "Lea Brook" || u.Value == nil || *u.Low != 2 || u.Source != "HTM 01-05" || u.Sure != "second-hand" {
		t.Errorf("%+v", u)
	}
}
