package pdf

import (
	"fmt"
	"strings"
)

// duties draws what is missing first, then the routine by its times. Places at which the
// same stands share a row.
func (r *record) duties() {
	r.heading("Duties of the day")
	if len(r.d.Duties) == 0 {
		r.para(left, column, "No duty was entered.", text)
		return
	}
	var rows [][]cell
	for _, u := range r.d.DutyRows() {
		name := text
		if u.Wanted {
			name = strong
		}
		what := say(capital(u.What), name).and(capital(u.Words), noteOn)
		if u.Changed != "" {
			what = what.and("Otherwise than the routine says: "+sentence(u.Changed), noteOn)
		}
		what = what.and(u.Origin, note)
		rows = append(rows, []cell{r.state(u, u.State), say(u.When, text), what, say(strings.Join(u.Places, ", "), text), say(u.Time, text), say(u.By, text)})
	}
	r.table([]col{{"", 29, false}, {"When", 25, false}, {"What", 60, false}, {"Where", 20, false}, {"At", 11, false}, {"By", 25, false}}, rows)
}

// routineChanges prints what the surgery does otherwise than its routine, with the reasons.
func (r *record) routineChanges() {
	for _, c := range r.d.Settings.Changes {
		r.para(left, column, fmt.Sprintf("Otherwise than the routine: %s, %s, because: %s", c.Duty, c.Change, sentence(c.Because)), text)
	}
}
