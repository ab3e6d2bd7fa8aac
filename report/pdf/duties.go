package pdf

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/report/daily"
)

// whens are the times that duties are owed at, in the order of a day and then of a year;
// words that are none of them come last.
var whens = []string{"start of day", "between patients", "end of day", "by use", "weekly", "quarterly", "yearly"}

// undone are the states that a person must look at, worst first.
var undone = []string{"failed", "overdue", "open", "missed", "not proven"}

// duties draws what is missing first, then the routine by its times. Places at which the
// same stands share a row.
func (r *record) duties() {
	r.heading("Duties of the day")
	if len(r.d.Duties) == 0 {
		r.para(left, column, "No duty was entered.", text)
		return
	}
	var first, rest []daily.Duty
	for _, u := range r.d.Duties {
		if slices.Contains(undone, u.State) {
			first = append(first, u)
		} else {
			rest = append(rest, u)
		}
	}
	rank := func(list []string, word string) int {
		if i := slices.Index(list, word); i >= 0 {
			return i
		}
		return len(list)
	}
	slices.SortStableFunc(first, func(a, b daily.Duty) int { return rank(undone, a.State) - rank(undone, b.State) })
	slices.SortStableFunc(rest, func(a, b daily.Duty) int { return rank(whens, a.When) - rank(whens, b.When) })
	var rows [][]cell
	for _, group := range r.together(append(first, rest...)) {
		rows = append(rows, r.dutyRow(group))
	}
	r.table([]col{{"", 29, false}, {"When", 25, false}, {"What", 60, false}, {"Where", 20, false}, {"At", 11, false}, {"By", 25, false}}, rows)
}

// together joins duties that differ in nothing but the place, where they follow one another
// or not.
func (r *record) together(all []daily.Duty) [][]daily.Duty {
	var out [][]daily.Duty
	place := map[string]int{}
	for _, u := range all {
		key := strings.Join([]string{u.When, u.What, u.State, r.when(u.At), u.By, r.dutyDetail(u), dutySource(u)}, "\x00")
		i, there := place[key]
		if !there {
			i = len(out)
			place[key], out = i, append(out, nil)
		}
		out[i] = append(out[i], u)
	}
	return out
}

func (r *record) dutyRow(group []daily.Duty) []cell {
	u := group[0]
	name := text
	if slices.Contains(undone, u.State) {
		name = strong
	}
	var where []string
	for _, g := range group {
		where = with(where, g.Where)
	}
	what := say(capital(u.What), name).and(r.dutyDetail(u), noteOn)
	if u.Changed != "" {
		what = what.and("Otherwise than the routine says: "+sentence(u.Changed), noteOn)
	}
	what = what.and(dutySource(u), note)
	return []cell{r.state(u, u.State), say(u.When, text), what, say(strings.Join(where, ", "), text), say(r.when(u.At), text), say(u.By, text)}
}

// dutyDetail is what a row says beside its name: how it stands to the first load, figure
// and limit, product and times, how often, what was said, when it was last and is next done.
func (r *record) dutyDetail(u daily.Duty) string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch u.State {
	case "open", "overdue", "failed":
		if u.Before != "" {
			add("%s", u.Before)
		}
	}
	if u.State == "not due" && u.Every == "" && u.Detail == "" {
		add("none was entered")
	}
	if u.Detail != "" {
		add("%s", u.Detail)
	}
	if u.Count > 1 {
		add("%d times", u.Count)
	}
	for _, words := range []string{u.Product, u.Concentration} {
		if words != "" {
			add("%s", words)
		}
	}
	if u.In != "" {
		out = append(out, "in "+r.when(u.In))
	}
	if u.Out != "" {
		out = append(out, "out "+r.when(u.Out))
	}
	if u.Text != "" {
		add("%s", stripStop(u.Text))
	}
	if u.DueBy != "" {
		if u.Last != "" && u.Last != r.d.Date {
			last := "last " + dayOf(u.Last)
			if u.LastBy != "" {
				last += " by " + u.LastBy
			}
			add("%s", last)
		}
		word := "next by "
		if u.State == "overdue" {
			word = "due on "
		}
		add("%s", word+dayOf(u.DueBy))
	}
	return capital(strings.Join(out, ", "))
}

// dutySource names where the duty and its limit come from, and how sure that is.
func dutySource(u daily.Duty) string {
	if u.Source == "" {
		return ""
	}
	out := u.Source + " (" + u.Sure + ")"
	if limit := u.LimitSource + " (" + u.LimitSure + ")"; u.LimitSource != "" && limit != out {
		out += "; limit: " + limit
	}
	return out
}

// dayOf writes a date as people read it.
func dayOf(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.Format("2 Jan 2006")
}

// routineChanges prints what the surgery does otherwise than its routine, with the reasons.
func (r *record) routineChanges() {
	for _, c := range r.d.Settings.Changes {
		r.para(left, column, fmt.Sprintf("Otherwise than the routine: %s, %s, because: %s", c.Duty, c.Change, sentence(c.Because)), text)
	}
}
