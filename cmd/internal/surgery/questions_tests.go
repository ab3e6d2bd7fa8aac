package surgery

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// askTests answers the third question: the day's tests before its first load, and the
// signatures of the day.
type askTests struct {
	*asking
	rows                 [][]daily.Cell
	used, inTime, failed int // days of use of a machine, those whose tests passed first, those with a failed test
	days, signed         int // days with entries, those signed to the end
}

func (q *askTests) add(s *stretch) error {
	state := map[string]daily.Cell{}
	signed := 0
	for _, d := range s.days {
		if state[d.Day] = q.signature(s, d); state[d.Day].Outcome == Conforms {
			signed++
		}
	}
	q.days, q.signed = q.days+len(s.days), q.signed+signed
	used, inTime := map[string]int{}, map[string]int{}
	var machines []string
	var odd [][]daily.Cell
	loaded := map[string]bool{}
	for _, d := range s.tested {
		for _, x := range d.answers {
			if x.Loads == 0 {
				continue
			}
			loaded[d.day] = true
			if used[x.Machine]++; used[x.Machine] == 1 {
				machines = append(machines, x.Machine)
			}
			said := "No: "
			if x.Yes {
				inTime[x.Machine]++
				said = "Yes: "
			}
			if x.Failed {
				q.failed++
			}
			row := []daily.Cell{dayCell(d.day), plain(x.Machine), marked(x.Result(), said+strings.Join(x.Why, ", ")), state[d.day]}
			if q.grain != byMonth || !x.Yes || state[d.day].Outcome != Conforms {
				odd = append(odd, row)
			}
		}
	}
	for _, d := range s.days {
		if !loaded[d.Day] && (q.grain != byMonth || state[d.Day].Outcome != Conforms) {
			odd = append(odd, []daily.Cell{dayCell(d.Day), plain(""), plain("no load"), state[d.Day]})
		}
	}
	slices.Sort(machines)
	for _, id := range machines {
		q.used, q.inTime = q.used+used[id], q.inTime+inTime[id]
		if q.grain == byMonth {
			all := Conforms
			if inTime[id] < used[id] {
				all = NotProven
			}
			q.rows = append(q.rows, []daily.Cell{unitCell(q.unit(s.from)), plain(id), marked(all, fmt.Sprintf("on %d of %d days of use", inTime[id], used[id])),
				plain(fmt.Sprintf("%d of %d days", signed, len(s.days)))})
		}
	}
	slices.SortStableFunc(odd, func(x, y []daily.Cell) int { return strings.Compare(x[0].To.ID, y[0].To.ID) })
	q.rows = append(q.rows, odd...)
	return nil
}

// signature tells how a day is signed, and the reason for which it was signed though
// something was missing.
func (a *asking) signature(s *stretch, d logbook.Day) daily.Cell {
	var words []string
	for _, n := range []int64{d.PreparedEntry, d.ReviewedEntry} {
		if row, ok := s.signatures[n]; ok {
			words = append(words, fmt.Sprintf("%s by %s, %s", row.Said.Meaning, a.who(row.By), a.moment(row.At)))
		}
	}
	if d.Revision > 1 {
		words = append(words, fmt.Sprintf("revision %d", d.Revision))
	}
	if row, ok := s.signatures[d.PreparedEntry]; ok && row.Reason != "" {
		words = append(words, "signed with something missing: "+strings.TrimSuffix(row.Reason, "."))
	}
	out := marked(Conforms, strings.Join(words, "; "))
	switch {
	case d.Revision == 0:
		return marked(NotProven, "not signed")
	case d.Due():
		out.Outcome, out.Text = NotProven, out.Text+"; entries came after it"
	case d.ReviewedEntry == 0 && a.r.settings.Value.Site.SecondSignature != "none":
		out.Outcome, out.Text = NotProven, out.Text+"; waits for the second signature"
	}
	if row, ok := s.signatures[max(d.PreparedEntry, d.ReviewedEntry)]; ok {
		out.To = daily.Reference{Kind: daily.ToRecord, ID: row.Said.File, Day: d.Day}
	}
	return out
}

func (q *askTests) reply() (daily.Reply, error) {
	out := daily.Reply{Rows: q.rows, Outcome: NotAssessed, Columns: []string{"Day", "Machine", "Tests before the first load", "Signed"}}
	if q.used+q.days == 0 {
		out.Short = "Nothing is recorded."
		return out, nil
	}
	out.Outcome = Conforms
	yes := "Yes"
	switch {
	case q.failed > 0:
		yes, out.Outcome = "No", Failed
	case q.inTime < q.used || q.signed < q.days:
		yes, out.Outcome = "No", NotProven
	}
	signed := fmt.Sprintf("%d of %s signed to the end.", q.signed, count(q.days, "day is", "days are"))
	if q.used == 0 {
		out.Short = "No load was run, so that no test had to pass before one; " + signed
		return out, nil
	}
	out.Short = fmt.Sprintf("%s. The tests passed before the first load on %d of %s of a machine; %s", yes, q.inTime, count(q.used, "day of use", "days of use"), signed)
	return out, nil
}

// askBad answers the sixth: what did not conform or is not signed, and what became of it.
type askBad struct {
	*asking
	rows                         [][]daily.Cell
	failed, unproven, borderline int
	cycles, days                 int // in the period
	open                         int // of them, nothing was entered
	unsigned, late               int // days; loads released at the machine whose record has not come
}

func (q *askBad) add(s *stretch) error {
	said := map[string]string{}
	for _, o := range []Outcome{Failed, NotProven, Borderline} {
		if !slices.ContainsFunc(s.cycles, func(c logbook.Cycle) bool { return c.Outcome == o.String() }) {
			continue
		}
		list, err := q.v.Cycles(q.ctx, logbook.CycleFilter{Steriliser: q.machine, Outcome: o.String(), From: s.from, To: s.to, Verdicts: true})
		if err != nil {
			return err
		}
		for _, c := range list {
			said[c.Key] = capital(strings.TrimPrefix(whyOf(*c.Verdict), ": "))
		}
	}
	for _, c := range s.cycles {
		o := outcomeOf(c)
		if o == Conforms {
			continue
		}
		switch o {
		case Failed:
			q.failed++
		case Borderline:
			q.borderline++
		default:
			q.unproven++
		}
		did, _ := q.became(s, c)
		if did == "" {
			q.open++
			did = "Nothing was entered."
		}
		q.rows = append(q.rows, []daily.Cell{q.cycleCell(c), plain(q.moment(c.Start.Time)), marked(o, c.Outcome), plain(said[c.Key]), plain(did)})
	}
	q.cycles, q.days = q.cycles+len(s.cycles), q.days+len(s.days)
	q.machineOnly(s)
	for _, d := range s.days {
		if cell := q.signature(s, d); cell.Outcome != Conforms {
			q.unsigned++
			q.rows = append(q.rows, []daily.Cell{dayCell(d.Day), plain(count(int(d.Cycles), "cycle", "cycles")), marked(NotProven, "not signed"), plain(capital(cell.Text) + "."), plain("")})
		}
	}
	slices.SortStableFunc(q.rows, func(x, y []daily.Cell) int { return strings.Compare(x[0].To.Day, y[0].To.Day) })
	return nil
}

// machineOnly adds what was released at the machine and has no record.
func (q *askBad) machineOnly(s *stretch) {
	var numbers []int64
	for n, row := range s.releases {
		if row.Cycle == "" && row.CorrectedBy == 0 && !row.Withdrawn && row.Said.Day < q.last && (q.machine == "" || row.Said.Steriliser == q.machine) {
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	for _, n := range numbers {
		row := s.releases[n]
		q.late++
		name := q.r.calls(entry.Verdict{Steriliser: row.Said.Steriliser, Number: row.Said.Number, Start: entry.At(row.Entry.At)})
		q.rows = append(q.rows, []daily.Cell{{Text: name, To: daily.Reference{Kind: daily.ToDay, ID: row.Said.Day, Day: row.Said.Day}}, plain(dayWords(row.Said.Day)),
			marked(NotProven, "not proven"), plain("Its record has not come."), plain(fmt.Sprintf("%s at the machine by %s, %s", row.Said.Act, q.who(row.By), q.moment(row.At)))})
	}
}

func (q *askBad) reply() (daily.Reply, error) {
	out := daily.Reply{Rows: q.rows, Outcome: Conforms, Columns: []string{"Cycle or day", "When", "Outcome", "Why", "What became of it"}}
	if len(q.rows) == 0 {
		switch {
		case q.cycles > 0:
			out.Short = "None: every cycle conforms, and every day that has entries is signed."
		case q.days > 0:
			out.Short = "No cycle is recorded, and every day that has entries is signed."
		default:
			out.Outcome, out.Short = NotAssessed, "Nothing is recorded."
		}
		return out, nil
	}
	switch {
	case q.open > 0 || q.late > 0 || q.unsigned > 0:
		out.Outcome = NotProven
	default:
		out.Outcome = Borderline // something went wrong, and all of it was dealt with
	}
	var parts []string
	for _, p := range []struct {
		n    int
		text string
	}{{q.failed, "failed"}, {q.unproven, "not proven"}, {q.borderline, "borderline"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.text))
		}
	}
	if len(parts) == 0 {
		parts = []string{"every cycle with a record conforms"}
		if q.cycles == 0 {
			parts = []string{"no cycle is recorded"}
		}
	}
	out.Short = capital(strings.Join(parts, ", "))
	switch {
	case q.failed+q.unproven+q.borderline == 0:
		out.Short += "."
	case q.open == 0:
		out.Short += "; what became of each is entered."
	default:
		out.Short += fmt.Sprintf("; of %d of them nothing was entered.", q.open)
	}
	if q.late > 0 {
		out.Short += " " + capital(count(q.late, "load", "loads")) + " released at the machine without a record."
	}
	if q.unsigned > 0 {
		out.Short += " " + count(q.unsigned, "day is", "days are") + " not signed to the end."
	}
	return out, nil
}
