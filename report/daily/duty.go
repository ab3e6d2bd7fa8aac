package daily

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// DutyRow is a duty with all places at which the same is to be said of it.
type DutyRow struct {
	Duty
	Places []string // machines or chairs, none for the surgery
	Words  string   // figure and limit, product and times, how often, when next
	Origin string   // where the duty and its limit come from, and how sure that is
	Wanted bool     // a person must still look at it
	Time   string   // of day, with the date where it is another
}

// whens are the times that duties are owed at, in the order of a day and then of a year;
// words that are none of them come last.
var whens = []string{"start of day", "between patients", "end of day", "by use", "weekly", "quarterly", "yearly"}

// undone are the states that a person must look at, worst first.
var undone = []string{"failed", "overdue", "open", "missed", "not proven"}

// DutyRows are the duties as people read them: what is missing first, then the routine by
// its times; places at which the same stands share a row.
func (d Day) DutyRows() []DutyRow {
	var first, rest []DutyRow
	for _, u := range d.Duties {
		row := DutyRow{Duty: u, Words: d.dutyWords(u), Origin: dutySource(u), Wanted: slices.Contains(undone, u.State), Time: d.clock(u.At)}
		if row.Wanted {
			first = append(first, row)
		} else {
			rest = append(rest, row)
		}
	}
	slices.SortStableFunc(first, func(a, b DutyRow) int { return place(undone, a.State) - place(undone, b.State) })
	slices.SortStableFunc(rest, func(a, b DutyRow) int { return place(whens, a.When) - place(whens, b.When) })
	var out []DutyRow
	at := map[string]int{}
	for _, row := range append(first, rest...) {
		key := strings.Join([]string{row.When, row.What, row.State, row.Time, row.By, row.Words, row.Origin, row.Changed}, "\x00")
		i, there := at[key]
		if !there {
			i = len(out)
			at[key], out = i, append(out, row)
		}
		if row.Where != "" && !slices.Contains(out[i].Places, row.Where) {
			out[i].Places = append(out[i].Places, row.Where)
		}
	}
	return out
}

// place is where a word stands in a list, behind all where it does not.
func place(list []string, word string) int {
	if i := slices.Index(list, word); i >= 0 {
		return i
	}
	return len(list)
}

// clock is the time of day of an RFC 3339 time, with the date where it is another day.
func (d Day) clock(at string) string {
	t, err := time.Parse(time.RFC3339, at)
	switch {
	case err != nil:
		return at
	case t.Format(time.DateOnly) != d.Date:
		return t.Format("2 Jan 2006 15:04")
	}
	return t.Format("15:04")
}

// dutyWords is what a row says beside its name: how it stands to the first load, figure
// and limit, product and times, how often, what was said, when it was last and is next done.
func (d Day) dutyWords(u Duty) string {
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
		out = append(out, "in "+d.clock(u.In))
	}
	if u.Out != "" {
		out = append(out, "out "+d.clock(u.Out))
	}
	if u.Text != "" {
		add("%s", strings.TrimSuffix(u.Text, "."))
	}
	if u.DueBy != "" {
		if u.Last != "" && u.Last != d.Date {
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
	return strings.Join(out, ", ")
}

// own is the source of a line that the surgery set itself: there is no page to have read.
const own = "the surgery's own rule"

// dutySource names where the duty and its limit come from, and how sure that is.
func dutySource(u Duty) string {
	if u.Source == "" {
		return ""
	}
	out := u.Source
	if u.Sure != "" && out != own {
		out += " (" + u.Sure + ")"
	}
	limit := u.LimitSource
	if u.LimitSure != "" && limit != own {
		limit += " (" + u.LimitSure + ")"
	}
	if limit != "" && limit != out {
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
