package surgery

import (
	"fmt"
	"slices"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// machines lays out the configured sterilisers.
func (b *dayBuilder) machines() {
	for _, s := range b.r.settings.Value.Sterilisers {
		m := daily.Machine{ID: s.ID, Serial: s.Serial, Type: s.Type, Litres: s.ChamberLitres}
		var last logbook.Row[entry.Note]
		for _, n := range b.notes {
			if n.Said.Duty == dutyCounter && n.Said.Steriliser == s.ID && n.Said.Value != nil && (m.Counter == nil || speaksAfter(n, last)) {
				count := int64(*n.Said.Value)
				m.Counter, last = &count, n
			}
		}
		if u := s.Uncertainty; u != nil && u.Certificate != nil && b.day.Date > u.Certificate.Due.Format(time.DateOnly) {
			m.Remarks = append(m.Remarks, fmt.Sprintf("the calibration certificate %s was due on %s", u.Certificate.Number, u.Certificate.Due.Format("2 Jan 2006")))
		}
		b.day.Machines = append(b.day.Machines, m)
	}
}

// tests lays out the tests of each machine, those that are owed and missing too. A machine
// that ran no load owes none.
func (b *dayBuilder) tests() {
	for _, a := range b.day.BeforeLoads() {
		for _, kind := range kindsOfTest {
			rows := b.testsOf(a.Machine, kind)
			if a.Loads > 0 && b.owesTest(a.Machine, kind) {
				if len(rows) == 0 {
					rows = []daily.Test{{Machine: a.Machine, Kind: kind.String(), State: "missing"}}
				}
				rows[counting(rows)].Due = true
			}
			b.day.Tests = append(b.day.Tests, rows...)
		}
	}
}

// owesTest tells whether the routine owes the test before the first load of that day.
func (b *dayBuilder) owesTest(machine string, kind cycle.Kind) bool {
	return slices.ContainsFunc(b.gates, func(t validate.DayTest) bool {
		return t.Steriliser == machine && t.Day == b.day.Date && t.Name == kind.String()
	})
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
