package surgery

import (
	"fmt"

	"holdproof/report/daily"
)

// counters are what was entered of the machines' own counters, by the rows they stand in:
// of several in a row the last.
type counters struct {
	order []unitOf
	of    map[unitOf]daily.Cell
}

// counts lays each counter beside the number of the last cycle of its machine that was
// recorded before it. Whether one that differs is explained, what stands between the
// cycles says, so that it has no mark of its own.
func (q *askOrder) counts(s *stretch) counters {
	out := counters{of: map[unitOf]daily.Cell{}}
	for _, n := range s.notes {
		if n.Said.Duty != dutyCounter || n.Said.Value == nil || q.machine != "" && n.Said.Steriliser != q.machine {
			continue
		}
		k := unitOf{q.unit(n.Said.Day), n.Said.Steriliser}
		if _, is := out.of[k]; !is {
			out.order = append(out.order, k)
		}
		last := ""
		for _, c := range s.cycles { // by day, machine and number
			if c.Steriliser == k.machine && c.Number != "" && !c.Start.After(n.At) {
				last = c.Number
			}
		}
		cell := plain(fmt.Sprintf("%s, %s", number(*n.Said.Value), q.clock(n.At)))
		if q.grain == byMonth {
			cell.Text = fmt.Sprintf("%s, %s", number(*n.Said.Value), q.moment(n.At))
		}
		switch {
		case last == number(*n.Said.Value):
			q.counted, q.agreed = q.counted+1, q.agreed+1
			cell.Marked, cell.Outcome = true, Conforms
			cell.Text += ", as recorded"
		case last != "":
			q.counted++
			cell.Text += "; the last recorded was " + last
		}
		out.of[k] = cell
	}
	return out
}
