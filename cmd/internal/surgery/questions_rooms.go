package surgery

import (
	"fmt"
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

// howOften says how often: once, 2 times.
func howOften(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
