package surgery

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// askOrder answers the first question: every cycle in number order, gaps explained.
type askOrder struct {
	*asking
	rows        [][]daily.Cell
	machines    []string
	cycles      int
	open, known int // between the cycles: not explained, explained
	counted     int // times that a machine's own counter was entered
	agreed      int // of them, those that say the number of the last cycle recorded before
}

// unitOf is a row of the first answer: a day or a month of a machine.
type unitOf struct{ unit, machine string }

func (q *askOrder) add(s *stretch) error {
	var order []unitOf
	of := map[unitOf][]logbook.Cycle{}
	for _, c := range s.cycles {
		k := unitOf{q.unit(c.Day), c.Steriliser}
		if of[k] == nil {
			order = append(order, k)
		}
		of[k] = append(of[k], c)
		q.cycles++
		if !slices.Contains(q.machines, c.Steriliser) {
			q.machines = append(q.machines, c.Steriliser)
		}
	}
	said := map[unitOf][]gapCell{}
	for _, f := range s.between {
		cell, err := q.between(s, f)
		if err != nil {
			return err
		}
		k := unitOf{q.unit(cell.day), f.Steriliser}
		if of[k] == nil && !slices.Contains(order, k) {
			order = append(order, k)
		}
		said[k] = append(said[k], cell)
	}
	counts := q.counts(s)
	for _, c := range counts.order {
		if !slices.Contains(order, c) && q.grain != byMonth {
			order = append(order, c)
		}
	}
	slices.SortStableFunc(order, func(x, y unitOf) int { return strings.Compare(x.unit, y.unit) })
	for _, k := range order {
		counter := counts.of[k]
		if q.grain == byCycle {
			q.inOrder(k.machine, of[k], said[k])
			if counter.Text != "" {
				q.rows = append(q.rows, []daily.Cell{plain(stranger(k.machine)), plain(""), plain("the machine’s own counter"), counter})
			}
			continue
		}
		row := []daily.Cell{unitCell(k.unit), plain(stranger(k.machine)), plain(numberSpan(of[k])), plain(count(len(of[k]), "cycle", "cycles")), counter, plain("")}
		for i, cell := range said[k] {
			if i > 0 {
				q.rows = append(q.rows, row)
				row = []daily.Cell{unitCell(k.unit), plain(stranger(k.machine)), plain(""), plain(""), plain(""), plain("")}
			}
			row[5] = cell.Cell
		}
		q.rows = append(q.rows, row)
	}
	return nil
}

// inOrder adds the cycles of a day one by one, and what shows between them before the
// last cycle that it names.
func (q *askOrder) inOrder(machine string, cycles []logbook.Cycle, said []gapCell) {
	gap := func(g gapCell) {
		q.rows = append(q.rows, []daily.Cell{plain(stranger(machine)), plain(""), plain("between the cycles"), g.Cell})
	}
	for _, c := range cycles {
		for _, g := range said {
			if g.cycle == c.Key {
				gap(g)
			}
		}
		q.rows = append(q.rows, []daily.Cell{q.cycleCell(c), plain(q.clock(c.Start.Time)), plain(c.Kind), marked(outcomeOf(c), c.Outcome)})
	}
	for _, g := range said {
		if g.cycle == "" {
			gap(g)
		}
	}
}

// gapCell is what shows between cycles: where it stands, and the last cycle that it names,
// "" if none of the stretch.
type gapCell struct {
	daily.Cell
	day, cycle string
}

// between is what shows between cycles, and how it was explained.
func (q *askOrder) between(s *stretch, f Between) (gapCell, error) {
	out := gapCell{day: s.from}
	for _, c := range s.cycles {
		if slices.Contains(f.Cycles, c.Key) {
			out.day, out.cycle = max(out.day, c.Day), c.Key
		}
	}
	note, err := q.r.explanation(q.ctx, q.v, f)
	if err != nil {
		return out, err
	}
	if note == nil {
		q.open++
		out.Cell = marked(NotProven, capital(f.Message)+". Not explained.")
		return out, nil
	}
	q.known++
	out.Cell = marked(Conforms, fmt.Sprintf("%s. Explained by %s, %s: %s", capital(f.Message), q.who(note.By), q.moment(note.At), note.Said.Text))
	return out, nil
}

// stranger is the name of a machine, or the word for none.
func stranger(machine string) string {
	if machine == "" {
		return "unassigned"
	}
	return machine
}

// numberSpan are the first and the last number of cycles that lie in their order.
func numberSpan(list []logbook.Cycle) string {
	var numbers []string
	for _, c := range list {
		if c.Number != "" {
			numbers = append(numbers, c.Number)
		}
	}
	switch len(numbers) {
	case 0:
		return "without numbers"
	case 1:
		return numbers[0]
	}
	return numbers[0] + " to " + numbers[len(numbers)-1]
}

func (q *askOrder) reply() (daily.Reply, error) {
	out := daily.Reply{Rows: q.rows, Columns: []string{"When", "Machine", "Numbers", "Cycles", "Machine’s own counter", "Between the cycles"}, Outcome: NotAssessed}
	if q.grain == byCycle {
		out.Columns = []string{"Cycle", "Began", "Kind", "Outcome"}
	}
	held := fmt.Sprintf("%s of %s", count(q.cycles, "cycle", "cycles"), count(len(q.machines), "machine", "machines"))
	switch {
	case q.cycles == 0 && q.open+q.known == 0:
		out.Short = "No cycle is recorded."
	case q.open > 0:
		out.Outcome = NotProven
		out.Short = fmt.Sprintf("No. Of %s, %s between the numbers or the times, not explained.", held, isAre(q.open, "thing"))
	case q.known > 0:
		out.Outcome = Conforms
		out.Short = fmt.Sprintf("Yes: %s. %s between the numbers or the times, and %s explained.", held, capital(isAre(q.known, "thing")), plural(q.known, "is", "are"))
	default:
		out.Outcome = Conforms
		out.Short = "Yes: " + held + ", and no gap."
	}
	if q.counted > 0 {
		out.Short += fmt.Sprintf(" The machines’ own counters were entered %s, and %d agree with what is recorded.", howOften(q.counted), q.agreed)
	}
	if q.from < q.first && q.cycles > 0 {
		out.Notes = append(out.Notes, "The first cycle in the logbook is of "+dayWords(q.first)+".")
	}
	out.Notes = append(out.Notes, "A last cycle that was never exported shows only where the machine’s own counter was entered at the end of the day.")
	return out, nil
}

func isAre(n int, what string) string {
	if n == 1 {
		return "1 " + what + " stands out"
	}
	return fmt.Sprintf("%d %ss stand out", n, what)
}

// askCycles answers the second: each cycle with limits, verdict, who loaded and released.
type askCycles struct {
	*asking
	rows                                [][]daily.Cell
	loads, released, other, open, tests int
	limits                              []string
}

func (q *askCycles) add(s *stretch) error {
	type sum struct {
		loads, tests, released, other, open int
		by                                  []string
	}
	var order [][2]string
	sums := map[[2]string]*sum{}
	for _, c := range s.cycles {
		if c.Limits != "" && !slices.Contains(q.limits, c.Limits) {
			q.limits = append(q.limits, c.Limits)
		}
		k := [2]string{q.unit(c.Day), c.Steriliser}
		m := sums[k]
		if m == nil {
			m = &sum{}
			sums[k], order = m, append(order, k)
		}
		did, by := q.became(s, c)
		switch {
		case isTest(c):
			m.tests++
		case isOut(c):
			m.loads, m.released = m.loads+1, m.released+1
		case did == "":
			m.loads, m.open = m.loads+1, m.open+1
		default:
			m.loads, m.other = m.loads+1, m.other+1
		}
		if by != "" && !isTest(c) && isOut(c) && !slices.Contains(m.by, by) {
			m.by = append(m.by, by)
		}
		if q.grain != byMonth {
			q.rows = append(q.rows, q.row(s, c, did))
		}
	}
	for _, k := range order {
		m := sums[k]
		q.loads, q.tests, q.released, q.other, q.open = q.loads+m.loads, q.tests+m.tests, q.released+m.released, q.other+m.other, q.open+m.open
		if q.grain == byMonth {
			slices.Sort(m.by)
			q.rows = append(q.rows, []daily.Cell{unitCell(k[0]), plain(stranger(k[1])), plain(fmt.Sprint(m.loads)), plain(fmt.Sprint(m.tests)), plain(fmt.Sprint(m.released)),
				plain(strings.Join(m.by, ", ")), plain(fmt.Sprint(m.other)), plain(fmt.Sprint(m.open))})
		}
	}
	return nil
}

// isOut tells whether a load was let go, by its newest decision.
func isOut(c logbook.Cycle) bool {
	switch c.Decision {
	case "":
		return c.Release == "released"
	case DoRelease:
		return true
	}
	return false
}

func (q *askCycles) row(s *stretch, c logbook.Cycle, did string) []daily.Cell {
	loaded := ""
	if n, ok := s.releases[c.ReleaseEntry]; ok {
		l := n.Said.Load
		if l.Loaded != "" {
			loaded = q.who(l.Loaded)
		}
		if words := strings.TrimPrefix(loadWords(n.Said), ", "); words != "" {
			loaded = join(loaded, words)
		}
	}
	held := c.Limits
	if c.Programme != "" && c.Kind != cycle.LeakTest.String() {
		held = join(c.Programme, held)
	}
	if isTest(c) {
		loaded = c.Kind
	} else if loaded == "" {
		loaded = "not entered"
	}
	if did == "" {
		if did = "nothing was entered"; isTest(c) {
			did = ""
		}
	}
	return []daily.Cell{q.cycleCell(c), plain(q.moment(c.Start.Time)), plain(held), marked(outcomeOf(c), c.Outcome), plain(loaded), plain(did)}
}

// became tells what people did with a cycle, in the order they entered it, and by whom
// last; "" if nobody did anything.
func (a *asking) became(s *stretch, c logbook.Cycle) (did, by string) {
	type act struct {
		n    int64
		what string
		e    entry.Entry
	}
	var all []act
	if row, ok := s.releases[c.ReleaseEntry]; ok {
		all = append(all, act{row.Number, row.Said.Act + " at the machine", row.Entry})
	}
	if row, ok := s.decisions[c.DecisionEntry]; ok {
		all = append(all, act{row.Number, actWords[row.Said.Act], row.Entry})
	}
	if row, ok := s.recalls[c.RecallEntry]; ok {
		all = append(all, act{row.Number, "recall " + row.Said.Act, row.Entry})
	}
	if read := s.readings[c.Key]; isTest(c) && read != nil {
		all = append(all, act{read.Number, "read as " + read.Said.Outcome, read.Entry})
	}
	slices.SortFunc(all, func(x, y act) int { return int(x.n - y.n) })
	for _, x := range all {
		text := x.what
		if x.e.By != "" {
			by = a.who(x.e.By)
			text += " by " + by
		}
		if d, is := s.decisions[x.n]; is {
			if d.Said.Second != "" {
				text += " with " + a.who(d.Said.Second)
			}
			if text += ", " + a.moment(x.e.At); d.Said.Rerun != "" {
				text += ", and run again as " + a.called(s, d.Said.Rerun)
			}
		} else {
			text += ", " + a.moment(x.e.At)
		}
		if recall, is := s.recalls[x.n]; is && len(recall.Said.Packs) > 0 {
			text += ": " + packWords(recall.Said.Packs)
		}
		did = join(did, text)
	}
	return did, by
}

// called is what people call a cycle of the stretch, or of another one.
func (a *asking) called(s *stretch, key string) string {
	for _, c := range s.cycles {
		if c.Key == key {
			return a.r.nameOf(c)
		}
	}
	if c, err := a.v.Cycle(a.ctx, key); err == nil {
		return a.r.nameOf(c)
	}
	return key
}

func (q *askCycles) reply() (daily.Reply, error) {
	out := daily.Reply{Rows: q.rows, Outcome: NotAssessed,
		Columns: []string{"Cycle", "Began", "Programme; limits", "Outcome", "Loaded by, load", "What became of it"}}
	if q.grain == byMonth {
		out.Columns = []string{"Month", "Machine", "Loads", "Tests", "Released", "By", "Decided otherwise", "Nothing entered"}
	}
	if q.loads+q.tests == 0 {
		out.Short = "No cycle is recorded."
		return out, nil
	}
	out.Short = fmt.Sprintf("%s and %s, judged by the limits %s. Of the loads %d were released, %d were decided otherwise, and of %d nothing is entered.",
		capital(count(q.loads, "load", "loads")), count(q.tests, "test", "tests"), strings.Join(q.limits, ", "), q.released, q.other, q.open)
	if q.open > 0 {
		out.Outcome = NotProven
	}
	out.Notes = []string{"The page of a cycle shows its readings as a curve, each limit with its figure, uncertainty and source, and who did what."}
	return out, nil
}
