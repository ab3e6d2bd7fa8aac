package surgery

import (
	"fmt"
	"slices"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// owedTests are the tests that a routine owes on a machine before its first load of
// each day. A routine without a row owes none each day. types are those of machines
// with a vacuum stage, which a steam penetration test is for; "" is any. A machine
// whose type nobody wrote down owes them.
var owedTests = []struct {
	routine string
	kind    cycle.Kind
	types   string
}{
	{"england", cycle.ControlTest, ""},         // HTM 01-05, second-hand
	{"england", cycle.PenetrationTest, "BS"},   // HTM 01-05, second-hand
	{"australia", cycle.LeakTest, "BS"},        // RACGP 2023, read: each day of use, weekly with an air detector
	{"australia", cycle.PenetrationTest, "BS"}, // RACGP 2023, read: daily for hollow loads
}

// owes tells whether the routine owes the test on a machine of that type each day.
func owes(routine, machineType string, kind cycle.Kind) bool {
	for _, o := range owedTests {
		if o.routine == routine && o.kind == kind {
			return machineType == "" || o.types == "" || slices.Contains([]byte(o.types), machineType[0])
		}
	}
	return false
}

// machines lays out the configured sterilisers.
func (b *dayBuilder) machines() {
	for _, s := range b.r.settings.Value.Sterilisers {
		m := daily.Machine{ID: s.ID, Serial: s.Serial, Type: s.Type, Litres: s.ChamberLitres}
		for _, n := range b.notes {
			if n.Said.Duty == dutyCounter && n.Said.Steriliser == s.ID && n.Said.Value != nil {
				count := int64(*n.Said.Value)
				m.Counter = &count
			}
		}
		if u := s.Uncertainty; u != nil && u.Certificate != nil && b.day.Date > u.Certificate.Due.Format(time.DateOnly) {
			m.Remarks = append(m.Remarks, fmt.Sprintf("the calibration certificate %s was due on %s", u.Certificate.Number, u.Certificate.Due.Format("2 Jan 2006")))
		}
		b.day.Machines = append(b.day.Machines, m)
	}
}

// tests lays out the tests of each machine, those that are owed and missing too.
func (b *dayBuilder) tests() {
	for _, a := range b.day.BeforeLoads() {
		used := a.Loads > 0 && !b.out(a.Machine)
		for _, kind := range kindsOfTest {
			rows := b.testsOf(a.Machine, kind)
			if used && owes(b.day.Settings.Routine, b.typeOf(a.Machine), kind) {
				if len(rows) == 0 {
					rows = []daily.Test{{Machine: a.Machine, Kind: kind.String(), State: "missing"}}
				}
				rows[counting(rows)].Due = true
			}
			b.day.Tests = append(b.day.Tests, rows...)
		}
	}
}

func (b *dayBuilder) typeOf(machine string) string {
	for _, m := range b.day.Machines {
		if m.ID == machine {
			return m.Type
		}
	}
	return ""
}

// counting is the row that counts of several of one kind: the first that passed, else
// the last.
func counting(rows []daily.Test) int {
	if i := slices.IndexFunc(rows, func(t daily.Test) bool { return t.State == "passed" }); i >= 0 {
		return i
	}
	return len(rows) - 1
}

// testsOf are the tests of one kind that were made on a machine: those with a record,
// then those that a person entered without one.
func (b *dayBuilder) testsOf(machine string, kind cycle.Kind) []daily.Test {
	var rows []daily.Test
	for _, c := range b.cycles {
		if c.Steriliser == machine && c.Kind == kind.String() {
			rows = append(rows, b.testOf(c))
		}
	}
	for _, n := range b.notes {
		if s := n.Said; s.Duty == dutyReading(kind.String()) && s.Steriliser == machine && s.Cycle == "" {
			t := daily.Test{Machine: machine, Kind: kind.String(), State: "open", By: b.who(n.By), Detail: "entered without a record"}
			if s.Text != "" {
				t.Detail += ": " + s.Text
			}
			if s.Outcome == "passed" || s.Outcome == "failed" {
				t.State, t.At = s.Outcome, b.at(n.At)
			}
			rows = append(rows, t)
		}
	}
	return rows
}

// testOf is a test with a record.
func (b *dayBuilder) testOf(c logbook.Cycle) daily.Test {
	s := b.r.testStands(c, readingsOf(b.notes)[c.Key])
	return daily.Test{Machine: c.Steriliser, Kind: c.Kind, Cycle: c.Key, State: s.state, At: b.at(s.at), By: b.who(s.by), Detail: s.detail}
}

// join puts two texts into one, with a semicolon between.
func join(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

// shownElsewhere are duties that a record shows in a place of their own.
var shownElsewhere = []string{dutyPenetration, dutyControl, dutyLeak, dutyCounter, dutyClosed, dutyOutOfUse, dutyBackInUse, dutyProposed, dutyExplained}

// duties lays out what else people noted that day.
func (b *dayBuilder) duties() {
	for _, n := range b.notes {
		s := n.Said
		if slices.Contains(shownElsewhere, s.Duty) {
			continue
		}
		state := "done"
		if s.Outcome == "not done" {
			state = "missed"
		}
		where := s.Steriliser
		if s.Place != "" {
			where = s.Place
		}
		b.day.Duties = append(b.day.Duties, daily.Duty{What: s.Duty, Where: where, State: state, At: b.at(n.At), By: b.who(n.By), Detail: b.detail(s)})
	}
}

// detail is what a note says beside its duty: result, figure, times, words.
func (b *dayBuilder) detail(s entry.Note) string {
	out := ""
	if s.Outcome == "passed" || s.Outcome == "failed" {
		out = s.Outcome
	}
	if s.Value != nil {
		out = join(out, number(*s.Value)+" "+s.Unit)
	}
	if !s.From.IsZero() || !s.To.IsZero() {
		clock := func(t entry.Time) string {
			if t.IsZero() {
				return "?"
			}
			return t.In(b.r.zone).Format("2 Jan 15:04")
		}
		out = join(out, "from "+clock(s.From)+" to "+clock(s.To))
	}
	if s.Text != "" {
		out = join(out, s.Text)
	}
	return out
}

// closures says whether the surgery was closed or a machine out of service.
func (b *dayBuilder) closures() error {
	for _, n := range b.notes {
		if n.Said.Duty == dutyClosed {
			b.day.Closed = append(b.day.Closed, daily.Closure{Reason: orUnsaid(n.Said.Text), By: b.who(n.By)})
		}
	}
	out := map[string]*logbook.Row[entry.Note]{}
	for _, duty := range []string{dutyOutOfUse, dutyBackInUse} {
		rows, err := logbook.Find[entry.Note](b.ctx, b.v, logbook.Filter{Topic: duty, To: b.day.Date})
		if err != nil {
			return err
		}
		for i, n := range rows {
			was := out[n.Said.Steriliser]
			switch {
			case n.Withdrawn:
			case duty == dutyOutOfUse:
				out[n.Said.Steriliser] = &rows[i]
			case was != nil && was.At.Before(n.At) && n.Said.Day < b.day.Date:
				delete(out, n.Said.Steriliser)
			}
		}
	}
	for _, m := range b.day.Machines {
		n := out[m.ID]
		if n == nil || !n.Said.To.IsZero() && b.r.localDay(n.Said.To.Time) < b.day.Date {
			continue
		}
		b.day.Closed = append(b.day.Closed, daily.Closure{Machine: m.ID, Reason: orUnsaid(n.Said.Text), By: b.who(n.By)})
	}
	return nil
}

func orUnsaid(reason string) string {
	if reason == "" {
		return "no reason was entered"
	}
	return reason
}

// out tells whether the surgery was closed or the machine out of service.
func (b *dayBuilder) out(machine string) bool {
	return slices.ContainsFunc(b.day.Closed, func(c daily.Closure) bool { return c.Machine == "" || c.Machine == machine })
}
