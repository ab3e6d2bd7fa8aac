package surgery

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// askPeople answers the eighth question: who may operate and release, since when.
type askPeople struct{ *asking }

func (q *askPeople) add(*stretch) error { return nil }

func (q *askPeople) reply() (daily.Reply, error) {
	out := daily.Reply{Outcome: NotAssessed, Columns: []string{"Name", "May", "Since", "Until"}}
	var now []string
	all, err := everybody(q.ctx, q.v)
	if err != nil {
		return out, err
	}
	for _, p := range all {
		var may []string
		for _, m := range p.May {
			until := "open"
			if m.Until != "" {
				until = dayWords(m.Until)
			}
			out.Rows = append(out.Rows, []daily.Cell{{Text: p.Name, To: daily.Reference{Kind: daily.ToPerson, ID: p.Person}}, plain(m.Act), plain(dayWords(m.Since)), plain(until)})
			if m.Since <= q.to && (m.Until == "" || q.to <= m.Until) && !slices.Contains(may, m.Act) {
				may = append(may, m.Act)
			}
		}
		if len(may) > 0 {
			now = append(now, p.Name+": "+strings.Join(may, ", "))
		}
	}
	let, err := logbook.Find[entry.Session](q.ctx, q.v, logbook.Filter{Subject: sessionInspector})
	if err != nil {
		return out, err
	}
	for _, row := range let {
		if day := q.r.localDay(row.At); q.from <= day && day <= q.to {
			out.Notes = append(out.Notes, fmt.Sprintf("An inspector was let in to read by %s, %s, until %s.", q.who(row.By), q.moment(row.At), q.moment(row.Said.Until.Time)))
		}
	}
	out.Short = "Nobody, on " + dayWords(q.to) + "."
	if len(now) > 0 {
		out.Short = "On " + dayWords(q.to) + ": " + strings.Join(now, "; ") + "."
	}
	return out, nil
}

// askClosed answers the twelfth: closed days, machines out of service, days with nothing.
type askClosed struct {
	*asking
	rows          [][]daily.Cell
	closed, empty int
	out           []outage
	read          bool
	run           [2]string // first and last of a run of days with nothing
}

func (q *askClosed) add(s *stretch) error {
	if !q.read {
		q.read = true
		var err error
		if q.out, err = q.reaching(); err != nil {
			return err
		}
	}
	full := map[string]bool{}
	for _, d := range s.days {
		full[d.Day] = d.Cycles > 0 || d.Changed > 0
	}
	for _, n := range s.notes {
		if n.Said.Duty == dutyClosed {
			q.endRun()
			q.closed++
			q.rows = append(q.rows, []daily.Cell{dayCell(n.Said.Day), plain("the surgery"), plain("closed"), plain(orUnsaid(n.Said.Text)), plain(q.who(n.By))})
		}
	}
	day, err := time.Parse(time.DateOnly, s.from)
	if err != nil {
		return err
	}
	for ; ; day = day.AddDate(0, 0, 1) {
		d := day.Format(time.DateOnly)
		if d > s.to || d > q.last {
			break
		}
		if full[d] || d < q.first {
			q.endRun()
			continue
		}
		q.empty++
		if q.run[0] == "" {
			q.run[0] = d
		}
		q.run[1] = d
	}
	return nil
}

// endRun makes a row of days with nothing that follow one another.
func (q *askClosed) endRun() {
	if q.run[0] == "" {
		return
	}
	cell := dayCell(q.run[0])
	if q.run[1] != q.run[0] {
		cell.Text += " to " + dayWords(q.run[1])
	}
	q.rows = append(q.rows, []daily.Cell{cell, plain("the surgery"), marked(NotProven, "nothing recorded"), plain("not explained"), plain("")})
	q.run = [2]string{}
}

// reaching are the times out of service that reach into the period.
func (q *askClosed) reaching() ([]outage, error) {
	all, err := q.r.outages(q.ctx, q.v, q.to)
	return slices.DeleteFunc(all, func(o outage) bool {
		return q.machine != "" && o.machine != q.machine || !o.to.IsZero() && q.r.localDay(o.to) < q.from
	}), err
}

func (q *askClosed) reply() (daily.Reply, error) {
	q.endRun()
	for _, o := range q.out {
		cell := dayCell(q.r.localDay(o.from))
		switch {
		case o.to.IsZero():
			cell.Text = "since " + q.moment(o.from)
		default:
			cell.Text = q.moment(o.from) + " to " + q.moment(o.to)
		}
		q.rows = append(q.rows, []daily.Cell{cell, {Text: o.machine, To: daily.Reference{Kind: daily.ToMachine, ID: o.machine}}, plain("out of service"), plain(orUnsaid(o.reason)), plain(q.who(o.by))})
	}
	slices.SortStableFunc(q.rows, func(x, y []daily.Cell) int { return strings.Compare(x[0].To.ID, y[0].To.ID) })
	out := daily.Reply{Rows: q.rows, Outcome: Conforms, Columns: []string{"When", "Who or what", "State", "Why", "Entered by"}}
	closed, away := "no closed day", "no machine was out of service"
	if q.closed > 0 {
		closed = count(q.closed, "closed day", "closed days")
	}
	if n := len(q.out); n > 0 {
		away = "a machine was out of service " + howOften(n)
	}
	out.Short = capital(closed) + "; " + away + "."
	if q.empty > 0 {
		out.Outcome = NotProven
		out.Short += fmt.Sprintf(" On %s nothing is recorded, and nobody said why.", count(q.empty, "day", "days"))
	}
	return out, nil
}

// howOften says how howOften: once, 2 times.
func howOften(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

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
	for _, d := range s.tested {
		if slices.ContainsFunc(d.answers, func(x daily.Answer) bool { return x.Loads > 0 }) {
			q.used++
			q.day(d.day, days[d.day])
		}
	}
	return nil
}

// treat adds a note to a sum. A note that says how howOften counts so howOften.
func (q *askWater) treat(m *waterSum, n logbook.Row[entry.Note]) {
	d := dataOf(n.Said)
	times := max(d.Times, 1)
	switch n.Said.Duty {
	case dutyFlushed, dutyFlushedEnd:
		m.flushes += times
	case dutyRinsed:
		m.rinses += times
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
		flushed := marked(Conforms, fmt.Sprint(m.flushes))
		if m.flushes == 0 {
			flushed.Outcome = NotProven
		}
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
