package surgery

import (
	"fmt"
	"slices"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/validate"
)

// cells that lead somewhere.
func (a *asking) cycleCell(c logbook.Cycle) daily.Cell {
	return daily.Cell{Text: a.r.nameOf(c), To: daily.Reference{Kind: daily.ToCycle, ID: c.Key, Day: c.Day}}
}

func dayCell(day string) daily.Cell {
	return daily.Cell{Text: dayWords(day), To: daily.Reference{Kind: daily.ToDay, ID: day, Day: day}}
}

func plain(text string) daily.Cell { return daily.Cell{Text: text} }

func marked(o validate.Outcome, text string) daily.Cell {
	return daily.Cell{Text: text, Marked: true, Outcome: o}
}

// unit is the row that a day belongs to: its own, or that of its month.
func (a *asking) unit(day string) string {
	if a.grain == byMonth && len(day) >= len("2026-11") {
		return day[:len("2026-11")]
	}
	return day
}

// unitCell leads to a row's day or month.
func unitCell(unit string) daily.Cell {
	if t, err := time.Parse("2006-01", unit); err == nil {
		return daily.Cell{Text: t.Format("January 2006"), To: daily.Reference{Kind: daily.ToMonth, ID: unit}}
	}
	return dayCell(unit)
}

func count(n int, one, more string) string { return fmt.Sprintf("%d %s", n, plural(n, one, more)) }

// outcomeOf reads the word of a kept cycle; one that is none is not proven.
func outcomeOf(c logbook.Cycle) validate.Outcome {
	o, _ := validate.OutcomeNamed(c.Outcome)
	return o
}

// worst is what several marks come to.
func worst(marks ...validate.Outcome) validate.Outcome {
	out := validate.NotAssessed
	for _, o := range []validate.Outcome{Conforms, Borderline, NotProven, Failed} {
		if slices.Contains(marks, o) {
			out = o
		}
	}
	return out
}
