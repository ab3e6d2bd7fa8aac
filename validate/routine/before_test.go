package routine

import (
	"testing"
)

func TestBeforeFirstLoad(t *testing.T) {
	test := func(hhmm, outcome string) Done {
		d := did(monday, outcome)
		d.At = clock(monday, hhmm)
		return d
	}
	load := Facts{Loads: []Load{{"S1", monday, clock(monday, "10:00")}, {"S1", monday, clock(monday, "08:00")}, {"S2", monday, clock(monday, "05:00")}}}
	for _, c := range []struct {
		name  string
		f     Facts
		done  []Done
		state State
		want  Before
	}{
		{"nothing yet", Facts{}, nil, Open, Waiting},
		{"passed, no load", Facts{}, []Done{test("07:00", "passed")}, Complete, InTime},
		{"failed, no load", Facts{}, []Done{test("07:00", "failed")}, Failed, Waiting},
		{"no test", load, nil, Open, Missing},
		{"passed before", load, []Done{test("07:59", "passed")}, Complete, InTime},
		{"passed at the same minute", load, []Done{test("08:00", "passed")}, Complete, Late},
		{"failed before", load, []Done{test("07:00", "failed")}, Failed, Missing},
		{"failed, then passed", load, []Done{test("07:00", "failed"), test("07:30", "passed")}, Complete, InTime},
		{"passed, then failed", load, []Done{test("07:00", "passed"), test("07:30", "failed")}, Failed, Late},
		{"failed, load, passed", load, []Done{test("07:00", "failed"), test("09:00", "passed")}, Complete, Late},
		{"passed, load, failed", load, []Done{test("07:00", "passed"), test("09:00", "failed")}, Failed, InTime},
		{"said not to be done", load, []Done{test("07:00", "not done")}, Open, Missing},
		{"tomorrow's", load, []Done{did("2026-11-03", "passed")}, Open, Missing},
	} {
		if o := stateOf(t, one(Every{Days: 1}, true), c.f, monday, c.done...); o.State != c.state || o.Before != c.want {
			t.Errorf("%s: %s, %q; expected %s, %q", c.name, o.State, o.Before, c.state, c.want)
		}
	}
	if o := stateOf(t, one(Every{Days: 7}, true), load, monday, did("2026-10-30", "passed")); o.Before != NoGate {
		t.Errorf("not due, and yet %q", o.Before)
	}
}

func TestFigures(t *testing.T) {
	flush := Line{Duty: "d", Per: perSteriliser, Every: Every{Days: 1}, Unit: "min", Low: num(2)}
	count := Line{Duty: "d", Per: perSteriliser, Every: Every{Days: 1}, Unit: "CFU/mL", High: num(200), NeedsFigure: true}
	soak := Line{Duty: disinfection, Per: perSteriliser, Every: Every{Days: 1}, Unit: "min", NeedsFigure: true}
	for _, c := range []struct {
		l       Line
		outcome string
		v       *float64
		unit    string
		state   State
		detail  string
	}{
		{flush, "done", num(120), "s", Complete, "120 s, needs 2 min"},
		{flush, "done", num(119), "s", Failed, "119 s, needs 2 min"},
		{flush, "done", num(1.9999), "min", Failed, "1.999 min, needs 2 min"},
		{flush, "done", num(12.516666), "min", Complete, "12.516 min, needs 2 min"},
		{count, "passed", num(199.0001), "CFU/mL", Complete, "199.001 CFU/mL, at most 200 CFU/mL"},
		{count, "passed", num(0.052000000000000046), "CFU/mL", Complete, "0.052 CFU/mL, at most 200 CFU/mL"},
		{count, "failed", num(1500000), "CFU/mL", Failed, "1500000 CFU/mL, at most 200 CFU/mL"},
		{flush, "done", num(0.05), "h", Complete, "0.05 h, needs 2 min"},
		{flush, "done", nil, "", Complete, "no figure was entered"},
		{flush, "done", num(2), "L", Unproven, "found 2 L, expected min"},
		{count, "passed", num(200), "CFU/mL", Complete, "200 CFU/mL, at most 200 CFU/mL"},
		{count, "passed", num(201), "CFU/mL", Failed, "201 CFU/mL, at most 200 CFU/mL"},
		{count, "failed", num(20), "CFU/mL", Failed, "20 CFU/mL, at most 200 CFU/mL"},
		{count, "passed", nil, "", Unproven, "no figure was entered"},
		{count, "splendid", num(20), "CFU/mL", Unproven, `said "splendid"`},
		{soak, "done", num(20), "min", Unproven, "20 min; the contact time of the maker or the surgery is not set"},
	} {
		e := Done{Duty: c.l.Duty, Steriliser: "S1", Day: monday, Outcome: c.outcome, Value: c.v, Unit: c.unit}
		if o := stateOf(t, Routine{"own", []Line{c.l}}, Facts{}, monday, e); o.State != c.state || o.Detail != c.detail {
			t.Errorf("%s %v %s: %s, %q; expected %s, %q", c.outcome, c.v, c.unit, o.State, o.Detail, c.state, c.detail)
		}
	}
}

// What the surgery owes once is done on whichever machine it was noted.
func TestSurgeryWide(t *testing.T) {
	r := Routine{"own", []Line{{Duty: "d", Per: perSurgery, Every: Every{Days: 1}}}}
	f := Facts{WaterLines: []string{"chair 1"}}
	for _, e := range []Done{{Duty: "d", Day: monday}, {Duty: "d", Day: monday, Steriliser: "S9"}, {Duty: "d", Day: monday, Place: "chair 1"}} {
		if o := stateOf(t, r, f, monday, e); o.State != Complete {
			t.Errorf("%+v: %s", e, o.State)
		}
	}
	r.Lines[0].Per = perSteriliser
	if o := stateOf(t, r, f, monday, Done{Duty: "d", Day: monday, Steriliser: "S9"}); o.State != Open {
		t.Errorf("another machine's entry: %s", o.State)
	}
}

func TestDaysRefused(t *testing.T) {
	r := one(Every{Days: 1}, false)
	for _, day := range []string{"", "2026-11-31", "02.11.2026"} {
		for i, bad := range []func() error{
			func() error { _, err := Due(r, Facts{}, day, nil); return err },
			func() error { _, err := Due(r, Facts{}, monday, []Done{{Day: day}}); return err },
			func() error { _, err := Due(r, Facts{Loads: []Load{{Day: day}}}, monday, nil); return err },
			func() error { _, err := Due(r, Facts{Closed: []Closure{{From: day}}}, monday, nil); return err },
		} {
			if bad() == nil {
				t.Errorf("the day %q passed in place %d", day, i)
			}
		}
	}
}

// The zero values never say that something was done.
func TestZeroValues(t *testing.T) {
	var o Owed
	if o.State.String() != "open" || State(99).String() != "open" || State(-1).String() != "open" || Before(99) == NoGate || Before(99).String() == "" {
		t.Error("a zero or unknown state says too much")
	}
	if o := stateOf(t, one(Every{Days: 7}, true), Facts{}, monday); o.State != Open || o.Next != "" {
		t.Errorf("never done, first day unknown: %s %s", o.State, o.Next)
	}
}
