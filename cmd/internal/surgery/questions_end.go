package surgery

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/report/daily"
)

// ofEveryDay are the questions whose answers speak of every day of the period: gaps, tests
// and signatures, what did not conform, windows, water lines, closed days.
var ofEveryDay = []int{1, 3, 6, 7, 9, 12}

// sayUnknown adds to the answers that speak of every day which days the logbook does not
// reach: of them nothing can be said, so that nothing is proved.
func (a *asking) sayUnknown(replies []daily.Reply) {
	text := a.unknown()
	if text == "" {
		return
	}
	for i := range replies {
		r := &replies[i]
		if !slices.Contains(ofEveryDay, r.Number) {
			continue
		}
		r.Short = strings.TrimSpace(r.Short + " " + text)
		if r.Outcome == Conforms || r.Outcome == Borderline || r.Outcome == NotAssessed {
			r.Outcome = NotProven
		}
	}
}

// unknown says of which days of the period nothing is known, since the logbook ends before
// them; "" where it reaches to the end. A day after its end may have entries all the same:
// that the surgery will be closed is often entered before.
func (a *asking) unknown() string {
	var runs []string
	for _, run := range a.dark() {
		text := dayWords(run[0])
		if run[1] != run[0] {
			text += " to " + dayWords(run[1])
		}
		runs = append(runs, text)
	}
	switch {
	case len(runs) == 0:
		return ""
	case a.tip.Size == 0:
		return "There is nothing in the logbook yet."
	}
	return fmt.Sprintf("The logbook ends on %s; nothing is known of %s.", dayWords(a.last), strings.Join(runs, ", "))
}

// dark are the runs of days of the period after the end of the logbook that have no entry,
// each from its first to its last day.
func (a *asking) dark() [][2]string {
	var out [][2]string
	from := max(a.from, back(a.last, -1))
	for _, day := range a.ahead { // in their order
		if from < day {
			out = append(out, [2]string{from, back(day, 1)})
		}
		from = max(from, back(day, -1))
	}
	if from <= a.to {
		out = append(out, [2]string{from, a.to})
	}
	return out
}

// isDark tells whether the logbook does not reach a day.
func (a *asking) isDark(day string) bool { return day > a.last && !slices.Contains(a.ahead, day) }
