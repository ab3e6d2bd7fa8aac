package surgery

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate/routine"
)

// The duties that a water line has.
const (
	dutyFlushed    = "water lines flushed"
	dutyRinsed     = "water lines rinsed"
	dutyFlushedEnd = "water lines flushed at the end"
)

// askWater answers the ninth: the water lines of each chair.
type askWater struct {
	*asking
	rows   [][]daily.Cell
	chairs []string
	of     map[string]*waterSum
	used   int // days with loads
	bare   int // chairs and days of use without a flush or a disinfection
	short  int // of these the ones with a disinfection that was too short or too weak
}

// waterSum is what was done with the lines of a chair.
type waterSum struct {
	flushes, rinses, disinfections int
	thin                           int // flushes that fell short
	short                          int // disinfections too short or too weak for the figure they were held against
	flushed, treated               int // days
	shortest, longest              float64
	timed                          bool
	last                           daily.Cell
}

// disinfected tells whether one disinfection was not too short or too weak.
func (m *waterSum) disinfected() bool { return m.disinfections > m.short }

// treatments are the disinfections, marked by whether one of them holds.
func (m *waterSum) treatments() daily.Cell {
	cell := marked(Conforms, count(m.disinfections, "time", "times"))
	switch {
	case m.disinfections == 0:
		cell.Outcome = NotProven
	case !m.disinfected():
		cell.Outcome = Failed
	}
	if m.short > 0 {
		cell.Text += fmt.Sprintf(", %d too short or too weak", m.short)
	}
	return cell
}

func (m *waterSum) contact(minutes float64) {
	if !m.timed {
		m.shortest, m.longest, m.timed = minutes, minutes, true
	}
	m.shortest, m.longest = min(m.shortest, minutes), max(m.longest, minutes)
}

// spans writes the contact times, whole minutes rounded down.
func (m *waterSum) spans() string {
	if !m.timed {
		return ""
	}
	if a, b := math.Floor(m.shortest), math.Floor(m.longest); a != b {
		return fmt.Sprintf("%g to %g min", a, b)
	}
	return fmt.Sprintf("%g min", math.Floor(m.shortest))
}

func (q *askWater) add(s *stretch) error {
	if q.of == nil {
		q.of = map[string]*waterSum{}
		for _, chair := range q.r.settings.Value.Chairs {
			q.of[chair], q.chairs = &waterSum{}, append(q.chairs, chair)
		}
	}
	days := map[string]map[string]*waterSum{}
	for _, n := range s.notes {
		if d, _ := dutyNamed(n.Said.Duty); d.On != onPlace || n.Said.Place == "" || n.Said.Outcome == "not done" {
			continue
		}
		if q.of[n.Said.Place] == nil {
			q.of[n.Said.Place] = &waterSum{}
			q.chairs = append(q.chairs, n.Said.Place)
		}
		if days[n.Said.Day] == nil {
			days[n.Said.Day] = map[string]*waterSum{}
		}
		if days[n.Said.Day][n.Said.Place] == nil {
			days[n.Said.Day][n.Said.Place] = &waterSum{}
		}
		for _, m := range []*waterSum{q.of[n.Said.Place], days[n.Said.Day][n.Said.Place]} {
			q.treat(m, n)
		}
	}
	slices.Sort(q.chairs)
	used := map[string]bool{}
	for _, d := range s.tested {
		if slices.ContainsFunc(d.answers, func(x daily.Answer) bool { return x.Loads > 0 }) {
			q.used++
			used[d.day] = true
			q.day(d.day, days[d.day])
		}
	}
	q.idle(days, used)
	return nil
}

// idle adds the rows of days without loads on which the lines were seen to; they count for
// no day of use.
func (q *askWater) idle(days map[string]map[string]*waterSum, used map[string]bool) {
	for day, chairs := range days {
		for chair, m := range chairs {
			if used[day] || q.grain == byMonth || m.flushes+m.thin+m.rinses+m.disinfections == 0 {
				continue
			}
			q.rows = append(q.rows, []daily.Cell{dayCell(day), plain(chair), m.flushings(), plain(fmt.Sprint(m.rinses)), m.treatments(), plain(m.spans()), m.last})
		}
	}
	slices.SortStableFunc(q.rows, func(x, y []daily.Cell) int {
		return cmp.Or(strings.Compare(x[0].To.ID, y[0].To.ID), strings.Compare(x[1].Text, y[1].Text))
	})
}

// treat adds a note to a sum. A note that says how often counts so often.
func (q *askWater) treat(m *waterSum, n logbook.Row[entry.Note]) {
	d := dataOf(n.Said)
	times := max(d.Times, 1)
	switch n.Said.Duty {
	case dutyFlushed, dutyFlushedEnd:
		if q.falls(n) {
			m.thin += times
			return
		}
		m.flushes += times
	case dutyRinsed:
		if !q.falls(n) {
			m.rinses += times
		}
	case dutyDisinfected:
		m.disinfections++
		if n.Said.Outcome == "failed" {
			m.short++
		}
		if d.ContactMin != nil {
			m.contact(*d.ContactMin)
		}
	case dutyCount:
		m.last = waterCount(n)
	}
}

// falls tells whether what a note tells of failed, or falls short of the routine's figure.
func (q *askWater) falls(n logbook.Row[entry.Note]) bool {
	e, _ := q.r.doneBy(n)
	for _, l := range q.r.settings.Value.routineInForce().Lines {
		if l.Duty == n.Said.Duty {
			return l.Judge(e) != routine.Complete
		}
	}
	return n.Said.Outcome == "failed"
}

// flushings are the flushes of a day that were long enough, and those that were not.
func (m *waterSum) flushings() daily.Cell {
	out := marked(Conforms, fmt.Sprint(m.flushes))
	switch {
	case m.thin > 0 && m.flushes == 0:
		out.Outcome = Failed
	case m.flushes == 0:
		out.Outcome = NotProven
	}
	if m.thin > 0 {
		out.Text += fmt.Sprintf(", %d too short", m.thin)
	}
	return out
}

// waterCount is the result of a sample, marked where it was over its limit.
func waterCount(n logbook.Row[entry.Note]) daily.Cell {
	text := dayWords(n.Said.Day)
	if n.Said.Value != nil {
		text = number(*n.Said.Value) + " " + n.Said.Unit + ", " + text
	}
	cell := plain(join(text, n.Said.Outcome))
	if n.Said.Outcome == "failed" {
		cell.Marked, cell.Outcome = true, Failed
	}
	return cell
}

// day adds a day of use for each chair.
func (q *askWater) day(day string, chairs map[string]*waterSum) {
	for _, chair := range q.chairs {
		m := chairs[chair]
		if m == nil {
			m = &waterSum{}
		}
		if m.flushes > 0 {
			q.of[chair].flushed++
		}
		if m.disinfected() {
			q.of[chair].treated++
		}
		good := m.flushes > 0 && m.disinfected()
		if !good {
			q.bare++
		}
		if m.short > 0 && !m.disinfected() {
			q.short++
		}
		if q.grain == byMonth && good {
			continue
		}
		flushed := m.flushings()
		q.rows = append(q.rows, []daily.Cell{dayCell(day), plain(chair), flushed, plain(fmt.Sprint(m.rinses)), m.treatments(), plain(m.spans()), m.last})
	}
}

func (q *askWater) reply() (daily.Reply, error) {
	out := daily.Reply{Outcome: NotAssessed, Columns: []string{"When", "Chair", "Flushed", "Rinsed between patients", "Disinfected", "Contact time", "Last count"},
		Notes: []string{"A flush is not a water test."}}
	if len(q.chairs) == 0 {
		out.Short = "Nothing is recorded of the water lines."
		if q.used > 0 {
			out.Outcome = NotProven
		}
		return out, nil
	}
	counted, over := 0, 0
	for _, chair := range q.chairs {
		m := q.of[chair]
		last, err := q.lastCount(chair)
		if err != nil {
			return out, err
		}
		if last.Text == "" {
			last = plain("no count is recorded")
		} else {
			counted++
		}
		if last.Marked {
			over++
		}
		out.Rows = append(out.Rows, []daily.Cell{plain("the period"), plain(chair), plain(fmt.Sprintf("%s, on %d of %s", count(m.flushes, "time", "times"), m.flushed, count(q.used, "day of use", "days of use"))),
			plain(count(m.rinses, "time", "times")), plain(fmt.Sprintf("on %d of %s", m.treated, count(q.used, "day", "days"))), plain(m.spans()), last})
	}
	out.Rows = append(out.Rows, q.rows...)
	out.Outcome = Conforms
	out.Short = fmt.Sprintf("%s: flushed and disinfected on every day of use.", capital(count(len(q.chairs), "chair", "chairs")))
	if q.used == 0 {
		out.Outcome = NotAssessed
		out.Short = fmt.Sprintf("%s; no load was run, so that no day was a day of use.", capital(count(len(q.chairs), "chair", "chairs")))
	}
	if q.bare > 0 {
		out.Outcome = NotProven
		out.Short = fmt.Sprintf("%s; %s of a chair without a flush or without a disinfection.", capital(count(len(q.chairs), "chair", "chairs")), count(q.bare, "day", "days"))
		if q.short > 0 {
			out.Short += fmt.Sprintf(" On %d of them the lines were disinfected, but too short or too weak.", q.short)
		}
	}
	if over > 0 {
		out.Outcome = Failed
		out.Short += fmt.Sprintf(" Of %s the last water count failed.", count(over, "chair", "chairs"))
	}
	if counted < len(q.chairs) {
		out.Short += fmt.Sprintf(" Of %s no water count is recorded.", count(len(q.chairs)-counted, "chair", "chairs"))
	}
	return out, nil
}

// lastCount is the newest water count of a chair up to the end of the period.
func (q *askWater) lastCount(chair string) (daily.Cell, error) {
	rows, err := logbook.Find[entry.Note](q.ctx, q.v, logbook.Filter{Topic: dutyCount, Subject: chair, To: q.to, Newest: true, Limit: 1})
	if err != nil || len(rows) == 0 {
		return daily.Cell{}, err
	}
	return waterCount(rows[0]), nil
}
