package surgery

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/report/daily"
	"holdproof/validate"
)

// askMachines answers the fifth: the period, machine by machine.
type askMachines struct {
	*asking
	order []string
	of    map[string]*machineSum
}

type machineSum struct {
	loads, tests, released, waiting int
	numbers                         []string // the first and the last
	outcomes                        map[validate.Outcome]int
	used, inTime                    int // days with loads, and those whose tests passed first
	open                            int // between the cycles, not explained
}

func (q *askMachines) add(s *stretch) error {
	if q.of == nil {
		q.of = map[string]*machineSum{}
	}
	get := func(id string) *machineSum {
		if q.of[id] == nil {
			q.of[id] = &machineSum{outcomes: map[validate.Outcome]int{}}
			q.order = append(q.order, id)
		}
		return q.of[id]
	}
	for _, c := range s.cycles {
		m := get(c.Steriliser)
		m.outcomes[outcomeOf(c)]++
		if c.Number != "" {
			if len(m.numbers) == 2 {
				m.numbers = m.numbers[:1]
			}
			m.numbers = append(m.numbers, c.Number)
		}
		switch {
		case isTest(c):
			m.tests++
		case isOut(c):
			m.loads, m.released = m.loads+1, m.released+1
		default:
			m.loads++
		}
		if !c.Settled {
			m.waiting++
		}
	}
	for _, d := range s.tested {
		for _, x := range d.answers {
			if x.Loads == 0 {
				continue
			}
			m := get(x.Machine)
			if m.used++; x.Yes {
				m.inTime++
			}
		}
	}
	for _, f := range s.between {
		note, err := q.r.explanation(q.ctx, q.v, f)
		if err != nil {
			return err
		}
		if note == nil {
			get(f.Steriliser).open++
		}
	}
	return nil
}

func (q *askMachines) reply() (daily.Reply, error) {
	out := daily.Reply{Outcome: NotAssessed, Short: "No cycle is recorded.", Columns: []string{"Machine", "Numbers", "Loads", "Tests", "Outcomes", "Released", "Waiting",
		"Days of use", "Tests before the first load on", "Not explained"}}
	slices.Sort(q.order)
	var words []string
	for _, id := range q.order {
		m := q.of[id]
		var tallies []string
		for _, o := range []validate.Outcome{Failed, NotProven, Borderline, Conforms} {
			if n := m.outcomes[o]; n > 0 {
				tallies = append(tallies, tally(n, o))
			}
		}
		out.Rows = append(out.Rows, []daily.Cell{{Text: stranger(id), To: daily.Reference{Kind: daily.ToMachine, ID: id}}, plain(strings.Join(m.numbers, " to ")), plain(fmt.Sprint(m.loads)),
			plain(fmt.Sprint(m.tests)), plain(strings.Join(tallies, ", ")), plain(fmt.Sprint(m.released)), plain(fmt.Sprint(m.waiting)), plain(fmt.Sprint(m.used)),
			plain(fmt.Sprintf("%d of %d", m.inTime, m.used)), plain(fmt.Sprint(m.open))})
		words = append(words, fmt.Sprintf("%s: %s (%s, %s): %s", stranger(id), count(m.loads+m.tests, "cycle", "cycles"),
			count(m.loads, "load", "loads"), count(m.tests, "test", "tests"), strings.Join(tallies, ", ")))
	}
	if len(words) > 0 {
		out.Short = strings.Join(words, ". ") + "."
	}
	return out, nil
}

// tally says of so many cycles what they came to: 2 failed, 36 conform.
func tally(n int, o validate.Outcome) string {
	if o == Conforms && n != 1 {
		return fmt.Sprintf("%d conform", n)
	}
	return fmt.Sprintf("%d %s", n, o)
}
