package surgery

import (
	"fmt"
	"strings"

	"holdproof/report/daily"
	"holdproof/validate/routine"
)

// askOwed answers the fourth question: what is owed less often than each day, when it was
// last done, and what is overdue at the end of the period.
type askOwed struct{ *asking }

func (q *askOwed) add(*stretch) error { return nil }

func (q *askOwed) reply() (daily.Reply, error) {
	out := daily.Reply{Outcome: NotAssessed, Columns: []string{"What", "For", "How often", "Last done", "Due by", "On " + dayWords(q.to)}}
	o, err := q.r.owing(q.ctx, q.v, q.to)
	if err != nil {
		return out, err
	}
	if len(o.rule.Lines) == 0 {
		out.Short = "The settings name no routine, so nothing is known to be owed."
		return out, nil
	}
	lines, err := o.lines()
	if err != nil {
		return out, err
	}
	if q.to < q.last {
		lines = o.withoutUnused(lines)
	}
	var late, never []string
	for _, l := range lines {
		if l.Daily() || l.Every == (routine.Every{}) || q.machine != "" && l.Steriliser != "" && l.Steriliser != q.machine {
			continue
		}
		name := l.Duty
		if l.Where() != "" {
			name += ", " + l.Where()
		}
		switch {
		case l.Wanted():
			late = append(late, name)
		case l.Last == "":
			never = append(never, name)
		}
		out.Rows = append(out.Rows, owedRow(l))
	}
	out.Outcome = Conforms
	out.Short = fmt.Sprintf("Nothing is overdue on %s.", dayWords(q.to))
	if len(late) > 0 {
		out.Outcome = NotProven
		out.Short = fmt.Sprintf("On %s %s open or overdue: %s.", dayWords(q.to), count(len(late), "thing is", "things are"), strings.Join(late, "; "))
	}
	if len(never) > 0 {
		out.Outcome = NotProven // when it was last done before, nothing here shows
		out.Short += fmt.Sprintf(" Of %s no entry was made yet.", count(len(never), "thing", "things"))
	}
	return out, nil
}

// owedRow is a line of the routine: what, for whom, how often, when last, by when, how it
// stands.
func owedRow(l Owed) []daily.Cell {
	where, last, due := l.Where(), plain("never entered"), "not known"
	if where == "" {
		where = "the surgery"
	}
	if l.Last != "" {
		last = dayCell(l.Last)
		if l.LastByName != "" {
			last.Text += ", " + l.LastByName
		}
	}
	if l.Next != "" {
		due = dayWords(l.Next)
	}
	stands := l.State.String()
	if l.State != OwedDone {
		stands = join(stands, l.Detail)
	}
	return []daily.Cell{plain(capital(l.Duty)), plain(where), plain("every " + l.Every.String()), last, plain(due), marked(owedMark(l), stands)}
}

// owedMark is the proof mark of a line of the routine.
func owedMark(l Owed) Outcome {
	switch l.State {
	case OwedFailed:
		return Failed
	case OwedDone, OwedNotDue:
		if l.Last != "" {
			return Conforms
		}
	case OwedOpen, OwedOverdue, OwedUnproven:
		return NotProven
	}
	return NotAssessed
}
