package routine

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// The surgery of these tests is invented: a vacuum machine, a gravity machine, two
// chairs, a Monday.
const monday = "2026-11-02"

func clock(day string, hhmm string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", day+" "+hhmm)
	if err != nil {
		panic(err)
	}
	return t
}

func num(v float64) *float64 { return &v }

func surgery() Facts {
	return Facts{
		Since:       "2026-10-05",
		Sterilisers: []Steriliser{{ID: "S1", Type: "B"}, {ID: "S2", Type: "N"}},
		WaterLines:  []string{"chair 1", "chair 2"},
		Loads: []Load{{"S1", monday, clock(monday, "08:30")}, {"S1", monday, clock(monday, "11:00")},
			{"S2", monday, clock(monday, "08:20")}},
	}
}

// entries of the Monday, and of before: what a surgery typed by noon.
func entries() []Done {
	on := func(day, hhmm, duty, machine, place, outcome string) Done {
		return Done{Duty: duty, Steriliser: machine, Place: place, Day: day, At: clock(day, hhmm), By: "nurse", Outcome: outcome}
	}
	flush := on(monday, "07:40", "water lines flushed", "", "chair 1", "done")
	flush.Value, flush.Unit = num(120), "s"
	short := on(monday, "07:45", "water lines flushed", "", "chair 2", "done")
	short.Value, short.Unit = num(1.5), "min"
	rinses := on(monday, "12:00", "water lines rinsed", "", "chair 1", "done")
	rinses.Value, rinses.Unit, rinses.Times = num(20), "s", 7
	soak := on(monday, "12:30", "water lines disinfected", "", "chair 1", "done")
	soak.Value, soak.Unit = num(12), "min"
	count := on("2026-10-12", "15:00", "water count read", "", "chair 1", "passed")
	count.Value, count.Unit = num(300), "CFU/mL"
	count2 := on("2026-10-12", "15:00", "water count read", "", "chair 2", "passed")
	count2.Value, count2.Unit = num(80), "CFU/mL"
	return []Done{
		on(monday, "07:30", "reservoir filled", "S1", "", "done"),
		on(monday, "07:35", "control test read", "S1", "", "passed"),
		on(monday, "09:10", "penetration test read", "S1", "", "passed"), // after the first load
		on("2026-10-26", "07:50", "leak test read", "S1", "", "passed"),
		on("2026-10-29", "07:50", "control test read", "S2", "", "passed"),
		flush, short, rinses, soak, count, count2,
		on("2026-10-27", "08:00", "spore test read", "S1", "", "passed"),
		on("2026-10-20", "08:00", "spore test read", "S2", "", "failed"),
		on("2026-10-20", "08:00", "seal and interlock tested", "S1", "", "done"),
		on("2026-10-05", "08:00", "engineer's visit", "S1", "", ""),
		on("2026-10-05", "08:00", "validation", "S1", "", "passed"),
		on("2026-10-05", "08:00", "pressure vessel examined", "S1", "", "passed"),
		on(monday, "08:55", "load released", "S1", "", "done"),
		on(monday, "08:50", "load released", "S2", "", "done"),
	}
}

func dueOn(t *testing.T, name string, f Facts, day string, done []Done) []Owed {
	t.Helper()
	r, ok := Named(name)
	if !ok {
		t.Fatalf("no routine %q", name)
	}
	owed, err := Due(r, f, day, done)
	if err != nil {
		t.Fatal(err)
	}
	return owed
}

func (o Owed) short() string {
	text := fmt.Sprintf("%s [%s%s] %s", o.Duty, o.Steriliser, o.Place, o.State)
	if o.Before != NoGate {
		text += "; " + o.Before.String()
	}
	return text
}

// missing are the lines of a day that a person must look at.
func missing(owed []Owed) []string {
	var out []string
	for _, o := range owed {
		if o.State == Open || o.State == Overdue || o.State == Failed || o.State == Unproven || o.Before == Late {
			out = append(out, o.short())
		}
	}
	return out
}

// What the Monday lacks at noon under every routine, worked out by hand from the table
// of the day: ①, ② and ③ stand for the lines that differ.
const worked = `
reservoir filled [S2] open
seal and chamber looked at [S1] open
seal and chamber looked at [S2] open
①
water lines flushed [chair 2] failed
suction looked at [chair 1] open
suction looked at [chair 2] open
load released [S1] open
water lines flushed at the end [chair 1] open
water lines flushed at the end [chair 2] open
water lines disinfected [chair 1] not proven
water lines disinfected [chair 2] open
suction disinfected [chair 1] open
suction disinfected [chair 2] open
steriliser drained [S1] open
steriliser drained [S2] open
cycle counter [S1] open
cycle counter [S2] open
day signed [] open
seal and interlock tested [S1] overdue
seal and interlock tested [S2] overdue
clock checked [S1] overdue
clock checked [S2] overdue
②
③`

const (
	controlS2   = "control test read [S2] open; loads were run without it\n"
	penetration = "penetration test read [S1] done; passed only after the first load\n"
	leak        = "leak test read [S1] open; loads were run without it"
)

// In turn: the tests of the morning, the water count, the items after the last.
var workedDays = map[string][3]string{
	"england":   {controlS2 + penetration + leak, "water count read [chair 1] overdue", ""},
	"scotland":  {penetration + leak, "", ""}, // the control test of S2 is weekly, and four days old
	"australia": {controlS2 + penetration + leak, "", ""},
	"germany":   {controlS2 + penetration + leak, "", ""},
	"own":       {controlS2 + penetration + leak, "", ""},
	// 300 CFU/mL are at most 500. The spore test of S1 was on Tuesday; that of S2 failed.
	"united-states": {controlS2 + penetration + leak, "", "spore test read [S2] overdue"},
}

func TestWorkedDays(t *testing.T) {
	if len(workedDays) != len(Names()) {
		t.Errorf("%d days worked, %d routines", len(workedDays), len(Names()))
	}
	for _, name := range Names() {
		parts := workedDays[name]
		want := strings.NewReplacer("①", parts[0], "②", parts[1], "③", parts[2]).Replace(worked)
		var lines []string
		for l := range strings.SplitSeq(want, "\n") {
			if l != "" {
				lines = append(lines, l)
			}
		}
		if got := missing(dueOn(t, name, surgery(), monday, entries())); !slices.Equal(got, lines) {
			t.Errorf("%s lacks\n%s\nexpected\n%s", name, strings.Join(got, "\n"), strings.Join(lines, "\n"))
		}
	}
}

func TestAirDetector(t *testing.T) {
	f := surgery()
	f.Sterilisers[0].AirDetector = true
	done := append(entries(), Done{Duty: "leak test read", Steriliser: "S1", Day: "2026-10-28", At: clock("2026-10-28", "07:00"), Outcome: "passed"})
	owed := slices.DeleteFunc(dueOn(t, "australia", f, monday, done), func(o Owed) bool { return o.Duty != "leak test read" })
	if len(owed) != 1 || owed[0].State != NotDue || owed[0].Next != "2026-11-04" || owed[0].Sure != "read" {
		t.Errorf("with an air detector: %+v", owed)
	}
}

// No order of entries, loads and closures changes what is said.
func TestOrderDoesNotMatter(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	f, done := surgery(), entries()
	again := done[1]
	again.Outcome = "failed" // at the same minute as one that passed
	done = append(done, again, done[0], Done{Duty: "day signed", Day: monday, Outcome: "not done"})
	f.Closed = []Closure{{Steriliser: "S2", From: "2026-10-26", To: "2026-10-27", Reason: "repair"}, {From: "2026-10-25", To: "2026-10-26"}, {From: "2026-10-26", To: "2026-10-26", Reason: "holiday"}}
	for _, name := range Names() {
		for _, day := range []string{monday, "2026-10-26", "2026-11-30"} {
			want := dueOn(t, name, f, day, done)
			for range 8 {
				r.Shuffle(len(done), func(i, j int) { done[i], done[j] = done[j], done[i] })
				r.Shuffle(len(f.Loads), func(i, j int) { f.Loads[i], f.Loads[j] = f.Loads[j], f.Loads[i] })
				r.Shuffle(len(f.Closed), func(i, j int) { f.Closed[i], f.Closed[j] = f.Closed[j], f.Closed[i] })
				if got := dueOn(t, name, f, day, done); !reflect.DeepEqual(got, want) {
					t.Fatalf("%s, %s: another order said something else", name, day)
				}
			}
		}
	}
}

// one is a routine of one line, for one machine.
func one(e Every, gate bool) Routine {
	return Routine{"own", []Line{{Duty: "d", When: "weekly", Every: e, Per: perSteriliser, BeforeLoad: gate, Proof: "note"}}}
}

func stateOf(t *testing.T, r Routine, f Facts, day string, done ...Done) Owed {
	t.Helper()
	f.Sterilisers = []Steriliser{{ID: "S1"}}
	owed, err := Due(r, f, day, done)
	if err != nil || len(owed) != 1 {
		t.Fatal(err, owed)
	}
	return owed[0]
}

func did(day, outcome string) Done {
	return Done{Duty: "d", Steriliser: "S1", Day: day, At: clock(day, "07:00"), Outcome: outcome}
}

func TestIntervals(t *testing.T) {
	week, quarter, year, vessel := Every{Days: 7}, Every{Months: 3}, Every{Months: 12}, Every{Months: 14}
	for _, c := range []struct {
		every Every
		last  string
		day   string
		state State
		next  string
	}{
		{week, "2026-10-26", "2026-11-01", NotDue, "2026-11-02"}, // over the change of the clock
		{week, "2026-10-26", "2026-11-02", Open, "2026-11-02"},
		{week, "2026-10-26", "2026-11-03", Overdue, "2026-11-02"},
		{week, "2026-10-26", "2026-10-26", Complete, "2026-11-02"},
		{quarter, "2025-11-30", "2026-02-27", NotDue, "2026-02-28"}, // no 30 February
		{quarter, "2025-11-30", "2026-02-28", Open, "2026-02-28"},
		{quarter, "2025-11-30", "2026-03-01", Overdue, "2026-02-28"},
		{year, "2024-02-29", "2025-02-28", Open, "2025-02-28"},
		{vessel, "2026-01-31", "2027-03-31", Open, "2027-03-31"},
		{vessel, "2026-01-31", "2027-04-01", Overdue, "2027-03-31"},
		{Every{Days: 1}, "2026-10-26", "2026-11-02", Open, "2026-11-02"}, // a day owes its own
	} {
		o := stateOf(t, one(c.every, false), Facts{}, c.day, did(c.last, "passed"))
		if o.State != c.state || o.Next != c.next || o.Last != c.last {
			t.Errorf("%s after %s, on %s: %s, next %s; expected %s, %s", c.every, c.last, c.day, o.State, o.Next, c.state, c.next)
		}
	}
}

// What was done later does not count for an earlier day.
func TestLaterEntries(t *testing.T) {
	o := stateOf(t, one(Every{Days: 7}, false), Facts{Since: "2026-10-20"}, "2026-10-26", did("2026-10-27", "passed"))
	if o.State != NeverEntered || o.Last != "" || o.Next != "2026-10-27" {
		t.Errorf("%s, last %q, next %q", o.State, o.Last, o.Next)
	}
}

// What was done before the records began nobody can see: a line that was never entered
// is due one interval after their first day, and not before.
func TestNeverEntered(t *testing.T) {
	year := one(Every{Months: 12}, true)
	since := Facts{Since: "2026-10-20", Loads: []Load{{"S1", "2026-10-20", clock("2026-10-20", "09:00")}}}
	for _, c := range []struct {
		day    string
		state  State
		before Before
		detail string
	}{
		{"2026-10-19", NeverEntered, NoGate, ""},
		{"2026-10-20", NeverEntered, NoGate, ""},
		{"2027-10-19", NeverEntered, NoGate, ""},
		{"2027-10-20", Open, Waiting, "never entered"},
		{"2027-10-21", Overdue, Waiting, "never entered"},
	} {
		o := stateOf(t, year, since, c.day)
		if o.State != c.state || o.Before != c.before || o.Detail != c.detail || o.Next != "2027-10-20" || o.Last != "" {
			t.Errorf("%s: %s, %q, %q, next %s; expected %s, %q", c.day, o.State, o.Before, o.Detail, o.Next, c.state, c.before)
		}
	}
	if o := stateOf(t, year, since, "2026-10-20", Done{Duty: "d", Steriliser: "S1", Day: "2026-10-20", At: clock("2026-10-20", "14:00"), By: "nurse", Outcome: "passed", Entry: 7}); o.State != Complete || o.Before != NoGate || o.Next != "2027-10-20" || o.LastBy != "nurse" || o.Entry != 7 {
		t.Errorf("done before it was due, after a load: %s, %q, next %s, by %q", o.State, o.Before, o.Next, o.LastBy)
	}
}

func TestClosuresExplain(t *testing.T) {
	week := one(Every{Days: 7}, true)
	last := did("2026-10-26", "passed")
	shut := Facts{Closed: []Closure{{From: "2026-11-01", To: "2026-11-03", Reason: "holiday"}}}
	out := Facts{Closed: []Closure{{Steriliser: "S1", From: "2026-11-01", Reason: "pump"}}}
	other := Facts{Closed: []Closure{{Steriliser: "S2", From: "2026-11-01"}, {Place: "chair 1", From: "2026-11-01"}}}
	ran := shut
	ran.Loads = []Load{{"S2", "2026-11-02", clock("2026-11-02", "09:00")}}
	for _, c := range []struct {
		name   string
		f      Facts
		day    string
		state  State
		detail string
	}{
		{"closed", shut, "2026-11-02", Explained, "closed: holiday"},
		{"the first day after", shut, "2026-11-04", Open, ""},
		{"the second day after", shut, "2026-11-05", Overdue, ""},
		{"out of service, not over", out, "2026-12-24", Explained, "out of service: pump"},
		{"something else", other, "2026-11-02", Open, ""},
		{"closed, but loads were run", ran, "2026-11-02", Open, ""},
	} {
		if o := stateOf(t, week, c.f, c.day, last); o.State != c.state || o.Detail != c.detail {
			t.Errorf("%s: %s, %q; expected %s, %q", c.name, o.State, o.Detail, c.state, c.detail)
		}
	}
	if o := stateOf(t, week, shut, "2026-11-02", last, did("2026-11-02", "passed")); o.State != Complete {
		t.Errorf("done on a closed day: %s", o.State)
	}
	failed := did("2026-10-31", "failed")
	if o := stateOf(t, week, out, "2026-11-02", last, failed); o.State != Overdue || o.FailedOn != "2026-10-31" || o.Detail != "it failed and was not done again since; out of service: pump" {
		t.Errorf("out of service since it failed: %s, %q", o.State, o.Detail)
	}
	for _, day := range []string{"2026-11-01", "2026-11-20"} {
		if o := stateOf(t, week, Facts{}, day, last, failed, did("2026-10-31", "failed")); o.State != Overdue || o.Next != "2026-10-31" || o.FailedOn != "2026-10-31" {
			t.Errorf("failed before its next day, on %s: %s %s", day, o.State, o.Next)
		}
	}
}

// A time out of service explains what fell inside it: neither the day on which the
// machine was back, nor what was overdue before.
func TestClosureExplainsOnlyItself(t *testing.T) {
	pump := func(from, to string) Facts {
		return Facts{Closed: []Closure{{Steriliser: "S1", From: from, To: to, Back: true, Reason: "pump"}}}
	}
	daily, week := one(Every{Days: 1}, true), one(Every{Days: 7}, true)
	for _, c := range []struct {
		name   string
		r      Routine
		f      Facts
		state  State
		detail string
	}{
		{"five minutes of the day", daily, pump(monday, monday), Open, ""},
		{"the day on which it was back", daily, pump("2026-10-30", monday), Open, ""},
		{"back the day after", daily, pump("2026-10-30", "2026-11-03"), Explained, "out of service: pump"},
		{"five minutes of the day, due", week, pump(monday, monday), Overdue, ""},
		{"overdue before it went out", week, pump("2026-11-01", ""), Overdue, "out of service: pump"},
		{"due while it was out", week, pump("2026-10-25", ""), Explained, "out of service: pump"},
	} {
		if o := stateOf(t, c.r, c.f, monday, did("2026-10-20", "passed")); o.State != c.state || o.Detail != c.detail {
			t.Errorf("%s: %s, %q; expected %s, %q", c.name, o.State, o.Detail, c.state, c.detail)
		}
	}
}

// The attempt at the latest time speaks, of several at one time the worst, and those that
// did not stand are told and not counted.
func TestAttempts(t *testing.T) {
	r := Routine{"own", []Line{{Duty: "d", Per: perSteriliser, Every: Every{Days: 1}, Unit: "min", Low: num(15)}}}
	try := func(hhmm string, minutes float64) Done {
		return Done{Duty: "d", Steriliser: "S1", Day: monday, At: clock(monday, hhmm), Outcome: "done", Value: num(minutes), Unit: "min"}
	}
	for _, c := range []struct {
		done   []Done
		state  State
		count  int
		detail string
	}{
		{[]Done{try("18:30", 30), try("19:03", 3)}, Failed, 1, "3 min, needs 15 min"},
		{[]Done{try("09:02", 2), try("09:10", 3), try("20:30", 30)}, Complete, 1, "30 min, needs 15 min; 2 attempts before it did not stand (2 min, needs 15 min; 3 min, needs 15 min)"},
		{[]Done{try("18:00", 30), try("18:00", 3)}, Failed, 1, "3 min, needs 15 min"},
		{[]Done{try("18:00", 30), try("19:00", 20)}, Complete, 2, "20 min, needs 15 min"},
	} {
		for range 2 {
			if o := stateOf(t, r, Facts{}, monday, c.done...); o.State != c.state || o.Count != c.count || o.Detail != c.detail {
				t.Errorf("%s, %d, %q; expected %s, %d, %q", o.State, o.Count, o.Detail, c.state, c.count, c.detail)
			}
			slices.Reverse(c.done)
		}
	}
}
