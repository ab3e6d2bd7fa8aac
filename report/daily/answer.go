package daily

import (
	"cmp"
	"math/big"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// InOrder returns the cycles by steriliser, then by number, then by start.
func (d Day) InOrder() []Cycle {
	out := slices.Clone(d.Cycles)
	slices.SortStableFunc(out, func(a, b Cycle) int {
		return cmp.Or(strings.Compare(a.Steriliser, b.Steriliser), numbers(a.Number, b.Number), compareTimes(a.Start, b.Start), strings.Compare(a.ID, b.ID))
	})
	return out
}

// numbers compares two cycle numbers as whole numbers, or as text after them.
func numbers(a, b string) int {
	x, okX := new(big.Int).SetString(a, 10)
	y, okY := new(big.Int).SetString(b, 10)
	switch {
	case okX && okY:
		return x.Cmp(y)
	case okX:
		return -1
	case okY:
		return 1
	}
	return strings.Compare(a, b)
}

func compareTimes(a, b string) int {
	x, errX := time.Parse(time.RFC3339, a)
	y, errY := time.Parse(time.RFC3339, b)
	if errX != nil || errY != nil {
		return strings.Compare(a, b)
	}
	return x.Compare(y)
}

// Count returns how many cycles came to the outcome.
func (d Day) Count(o validate.Outcome) int {
	n := 0
	for _, c := range d.Cycles {
		if c.Result() == o {
			n++
		}
	}
	return n
}

// Find returns the cycle with that id.
func (d Day) Find(id string) (Cycle, bool) {
	for _, c := range d.Cycles {
		if c.ID == id {
			return c, true
		}
	}
	return Cycle{}, false
}

// DecisionsOn returns what was decided about a cycle, in the order it was entered.
func (d Day) DecisionsOn(id string) []Decision {
	var out []Decision
	for _, x := range d.Decisions {
		if x.Cycle == id {
			out = append(out, x)
		}
	}
	return out
}

// Answer says of a steriliser whether its tests were made and passed before the
// first load of the day.
type Answer struct {
	Machine string
	Yes     bool
	Failed  bool     // a test that was due failed
	Loads   int      // loads of the day; with none there is nothing to answer
	Why     []string // the tests that passed, or what stands against a yes
}

// BeforeLoads answers for every steriliser that is configured or has cycles, in
// order. It is computed from tests and cycles and nothing else: yes, if the
// steriliser has at least one test row, every test that is due passed, and its
// result stood when the first load started.
func (d Day) BeforeLoads() []Answer {
	var out []Answer
	for _, id := range d.machineIDs() {
		a := Answer{Machine: id}
		first := ""
		for _, c := range d.Cycles {
			if c.Steriliser != id || c.Kind != cycle.Load.String() {
				continue
			}
			a.Loads++
			if first == "" || compareTimes(c.Start, first) < 0 {
				first = c.Start
			}
		}
		d.tested(&a, first)
		out = append(out, a)
	}
	return out
}

func (d Day) tested(a *Answer, first string) {
	var against, passed []string
	rows := 0
	for _, t := range d.Tests {
		if t.Machine != a.Machine {
			continue
		}
		rows++
		switch {
		case !t.Due:
		case t.State != "passed":
			a.Failed = a.Failed || t.State == "failed"
			against = append(against, t.Kind+" "+t.State)
		case t.At == "":
			against = append(against, t.Kind+" without a time")
		case first != "" && compareTimes(t.At, first) >= 0:
			against = append(against, t.Kind+" only after the first load")
		default:
			passed = append(passed, t.Kind+" passed")
		}
	}
	switch {
	case rows == 0:
		a.Why = []string{"no test is recorded"}
	case len(against) > 0:
		a.Why = against
	case len(passed) == 0:
		a.Yes, a.Why = true, []string{"none was due"}
	default:
		a.Yes, a.Why = true, passed
	}
}

func (d Day) machineIDs() []string {
	var ids []string
	for _, m := range d.Machines {
		ids = append(ids, m.ID)
	}
	for _, c := range d.InOrder() {
		if c.Steriliser != "" && !slices.Contains(ids, c.Steriliser) {
			ids = append(ids, c.Steriliser)
		}
	}
	return ids
}
