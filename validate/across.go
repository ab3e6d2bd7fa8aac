package validate

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdproof/parse/cycle"
)

// Summary is what is needed of a cycle to compare it with others. Two exports of one
// cycle (see [Extends]) are one summary, that of the longer record.
type Summary struct {
	ID         string
	Steriliser string // "" if the record names none; such cycles are compared with one another
	Number     string // as written, "" if not said
	Start, End time.Time
	Kind       cycle.Kind
	Outcome    Outcome
	Readings   Digest
}

// Reset is an entry that a machine's cycle numbers began anew, such as after service.
type Reset struct {
	Steriliser string
	At         time.Time
}

// Counter is what a machine's own counter showed.
type Counter struct {
	Steriliser string
	At         time.Time
	Count      int64
}

// DayTest is a test that should have been passed before the first load of a day.
type DayTest struct {
	Steriliser, Day string // local date, 2026-11-02
	Name            string // as a person reads it: "steam penetration test"
	Passed          time.Time
}

// Facts are what people entered and the records do not hold.
type Facts struct {
	Resets   []Reset
	Counters []Counter
	Tests    []DayTest // Passed is zero if the test was not passed that day
}

// Across is something that shows only when cycles are laid side by side. It belongs
// to the day and not to a cycle's verdict.
type Across struct {
	Check      string
	Steriliser string
	Cycles     []string // ids, in order of start; never nil
	Message    string
	Remedy     string // a sentence
}

// StopsRelease tells whether no cycle named may be released until a person has decided.
func (a Across) StopsRelease() bool {
	return a.Check == "number-repeat" || a.Check == "same-readings"
}

// acrossChecks are the checks over many cycles, in the order in which they are reported.
var acrossChecks = []struct {
	name string
	run  func(side) []Across
}{
	{"number-gap", numberGaps},
	{"number-repeat", numberRepeats},
	{"same-readings", sameReadings},
	{"overlap", overlaps},
	{"clock", clocks},
	{"number-reset", numberResets},
	{"counter", counters},
	{"test-before-load", testsBeforeLoad},
}

// AcrossCycles lays the cycles of each steriliser side by side. It reads nothing but
// its arguments and does not change them; the order of cycles and facts makes no
// difference. Two summaries with the same start and the same readings are one cycle.
// Readings are also compared between sterilisers; such a finding stands with the
// steriliser of the earlier cycle.
func AcrossCycles(cycles []Summary, facts Facts) []Across {
	all := inOrder(cycles)
	var out []Across
	for _, name := range sterilisers(all, facts) {
		s := side{name: name, all: all, facts: facts}
		for _, c := range all {
			if c.Steriliser == name {
				s.cycles = append(s.cycles, c)
			}
		}
		s.streaks = streaksOf(s.cycles, facts.Resets)
		for _, check := range acrossChecks {
			for _, a := range check.run(s) {
				a.Check, a.Steriliser = check.name, name
				out = append(out, a)
			}
		}
	}
	return out
}

// FailedAgain returns the ids of the cycles that failed where the one before on the
// same steriliser failed too, in order of start. A record that is not proven says
// nothing either way and is passed over (ours).
func FailedAgain(cycles []Summary) []string {
	failed := map[string]bool{}
	var out []string
	for _, c := range inOrder(cycles) {
		switch c.Outcome {
		case Failed:
			if failed[c.Steriliser] {
				out = append(out, c.ID)
			}
			failed[c.Steriliser] = true
		case Conforms, Borderline:
			failed[c.Steriliser] = false
		}
	}
	return out
}

// side is one steriliser's cycles in order of start, and what else is known.
type side struct {
	name    string
	cycles  []Summary
	streaks []streak
	all     []Summary // of every steriliser
	facts   Facts
}

// called names the steriliser in a sentence.
func (s side) called() string {
	if s.name == "" {
		return "the steriliser that the records do not name"
	}
	return s.name
}

// inOrder returns the cycles by start; what is the same cycle twice stands once.
func inOrder(cycles []Summary) []Summary {
	all := slices.Clone(cycles)
	slices.SortFunc(all, func(a, b Summary) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.Steriliser, b.Steriliser),
			cmp.Compare(a.Readings.N, b.Readings.N), slices.Compare(a.Readings.Sum[:], b.Readings.Sum[:]),
			cmp.Compare(a.ID, b.ID), cmp.Compare(a.Number, b.Number),
			a.End.Compare(b.End), cmp.Compare(a.Outcome, b.Outcome), cmp.Compare(a.Kind, b.Kind))
	})
	return slices.CompactFunc(all, func(a, b Summary) bool {
		return a.Steriliser == b.Steriliser && a.Start.Equal(b.Start) && a.Readings == b.Readings && a.Readings.N > 0
	})
}

func sterilisers(all []Summary, facts Facts) []string {
	var names []string
	for _, c := range all {
		names = append(names, c.Steriliser)
	}
	for _, c := range facts.Counters {
		names = append(names, c.Steriliser)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// numbered is a cycle whose number ends in digits; prefix is what stands before them.
type numbered struct {
	Summary
	prefix string
	n      int64
}

func numberOf(c Summary) (numbered, bool) {
	text := strings.TrimSpace(c.Number)
	prefix := strings.TrimRight(text, "0123456789")
	n, err := strconv.ParseInt(text[len(prefix):], 10, 64)
	return numbered{c, prefix, n}, err == nil
}

func ids(cycles ...Summary) []string {
	out := make([]string, len(cycles))
	for i, c := range cycles {
		out[i] = c.ID
	}
	return out
}

func when(t time.Time) string { return t.Format("2 Jan 2006 15:04") }

// sameReadings looks over all sterilisers and reports with the earliest cycle's.
func sameReadings(s side) []Across {
	copies := map[Digest][]Summary{}
	for _, c := range s.all {
		copies[c.Readings] = append(copies[c.Readings], c)
	}
	var out []Across
	for _, c := range s.cycles {
		found := copies[c.Readings]
		if c.Readings.N < 2 || len(found) == 1 || found[0] != c { // one reading is no sequence
			continue
		}
		out = append(out, Across{Cycles: ids(found...),
			Message: fmt.Sprintf("%s have the same %d readings, and two cycles never have", list(ids(found...)), c.Readings.N),
			Remedy:  "Release none of them before the lead has found out which record belongs to which load."})
	}
	return out
}

func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// overlaps compares each cycle with the one before it that ends last.
func overlaps(s side) []Across {
	var out []Across
	var last Summary
	for i, c := range s.cycles {
		before := last
		if i == 0 || c.End.After(last.End) {
			last = c
		}
		if i == 0 || !c.Start.Before(before.End) || c.Start.Equal(before.Start) {
			continue
		}
		out = append(out, Across{Cycles: ids(before, c),
			Message: fmt.Sprintf("a cycle on %s starts at %s, before the one of %s has ended (%s)", s.called(), when(c.Start), when(before.Start), when(before.End)),
			Remedy:  "Check the clock of the steriliser, and whether both records are its own."})
	}
	return out
}

func testsBeforeLoad(s side) []Across {
	tests := slices.Clone(s.facts.Tests)
	slices.SortFunc(tests, func(a, b DayTest) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Name, b.Name), a.Passed.Compare(b.Passed))
	})
	var out []Across
	for _, d := range slices.Compact(tests) {
		var early []Summary
		for _, c := range s.cycles {
			if c.Kind == cycle.Load && c.Start.Format(time.DateOnly) == d.Day && (d.Passed.IsZero() || c.Start.Before(d.Passed)) {
				early = append(early, c)
			}
		}
		if d.Steriliser != s.name || len(early) == 0 {
			continue
		}
		passed := "was not passed"
		if !d.Passed.IsZero() {
			passed = "was passed at " + d.Passed.Format("15:04")
		}
		out = append(out, Across{Cycles: ids(early...),
			Message: fmt.Sprintf("the first load on %s started at %s, and the %s %s", s.called(), when(early[0].Start), d.Name, passed),
			Remedy:  "Run the test before the next load. Who releases these loads without it says why."})
	}
	return out
}
