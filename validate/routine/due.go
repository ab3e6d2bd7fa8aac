package routine

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Due tells of each line of the routine, for each machine and water line it is for,
// how it stands at the end of day as far as entries go: entries of later days do not
// count, nor does the order of entries, loads and closures.
//
// A line with an interval of more than a day is due one interval after it was last
// done without failing, by the calendar. If it was never entered, it is due one interval
// after the first day of the records: what was done before them nobody can see here, and
// by that day it must have been done again; at once where that day is unknown. A due day
// on which the surgery was closed, or the machine out of service, moves to the next day
// that was not. A closure on whose days loads were run explains nothing, nor does one that
// came later explain what was overdue, or had failed, by then.
//
// Of several attempts on one day that at the latest time speaks, and of those at one time
// the worst; the others that did not stand are told beside it.
//
// Error: a day that is none.
func Due(r Routine, f Facts, day string, done []Done) ([]Owed, error) {
	d := diary{facts: f, today: day}
	if err := d.check(done); err != nil {
		return nil, err
	}
	d.done = slices.Clone(done)
	slices.SortFunc(d.done, inOrder)
	var out []Owed
	for _, l := range r.Lines {
		for _, o := range d.places(l) {
			d.fill(&o)
			out = append(out, o)
		}
	}
	return out, nil
}

// inOrder sorts entries by day, time and then all they say, so that the order they
// came in is gone.
func inOrder(a, b Done) int {
	return cmp.Or(strings.Compare(a.Day, b.Day), a.At.Compare(b.At), strings.Compare(a.Outcome, b.Outcome), strings.Compare(a.By, b.By),
		slices.Compare(list(a.Value), list(b.Value)), slices.Compare(list(a.Low), list(b.Low)), strings.Compare(a.Unit, b.Unit), cmp.Compare(a.Times, b.Times), strings.Compare(a.Text, b.Text), cmp.Compare(a.Entry, b.Entry))
}

// list is a list of the figure, or of none.
func list(v *float64) []float64 {
	if v == nil {
		return nil
	}
	return []float64{*v}
}

// diary is what is known when a day is looked at.
type diary struct {
	facts Facts
	today string
	done  []Done
}

func (d *diary) check(done []Done) error {
	days := []string{d.today}
	if d.facts.Since != "" {
		days = append(days, d.facts.Since)
	}
	for _, e := range done {
		days = append(days, e.Day)
	}
	for _, c := range d.facts.Closed {
		if days = append(days, c.From); c.To != "" {
			days = append(days, c.To)
		}
	}
	for _, l := range d.facts.Loads {
		days = append(days, l.Day)
	}
	for _, day := range days {
		if _, err := time.Parse(time.DateOnly, day); err != nil {
			return fmt.Errorf("found the day %q, expected one such as 2026-11-02", day)
		}
	}
	return nil
}

// places are the machines and water lines that a line is for.
func (d *diary) places(l Line) []Owed {
	var out []Owed
	switch l.Per {
	case perWaterLine:
		for _, p := range d.facts.WaterLines {
			out = append(out, Owed{Line: l, Place: p})
		}
	case perSurgery:
		out = append(out, Owed{Line: l})
	default:
		for _, s := range d.facts.Sterilisers {
			vacuum := s.Type != "N"
			if l.Per == perSteriliser || l.Per == perLoad || vacuum && (l.Per == perVacuum ||
				l.Per == perWithDetector && s.AirDetector || l.Per == perWithoutDetector && !s.AirDetector) {
				out = append(out, Owed{Line: l, Steriliser: s.ID})
			}
		}
	}
	return out
}

// fill tells how one line stands.
func (d *diary) fill(o *Owed) {
	var today []Done
	before := ""
	for _, e := range d.attempts(o) {
		if verdict, _ := o.judge(e); verdict == Complete && e.Outcome != "not done" {
			o.Last, o.LastAt, o.LastBy = e.Day, e.At, e.By
		}
		if e.Day == d.today {
			today = append(today, e)
		} else {
			before = o.Last
		}
	}
	d.next(o)
	failed := d.failedBefore(o)
	if !o.decide(today) {
		d.undone(o, failed)
	}
	if o.State == Failed {
		o.FailedOn = cmp.Or(failed, d.today)
		o.Next = o.FailedOn
	}
	if o.Per == perLoad {
		d.loads(o)
	}
	d.gate(o, today, before)
}

// is tells whether an entry is about the line. What the surgery owes once is done
// wherever it was done.
func (o *Owed) is(e Done) bool {
	return e.Duty == o.Duty && (o.Per == perSurgery || e.Steriliser == o.Steriliser && e.Place == o.Place)
}

// undone is a line without an entry today; failed is the day since which it has not stood.
func (d *diary) undone(o *Owed, failed string) {
	reason, closed := d.closed(d.today, *o)
	switch {
	case o.Every == Every{}:
		o.State = NotDue
	case failed != "":
		o.State, o.Detail, o.Next, o.FailedOn = Overdue, "it failed and was not done again since", failed, failed
	case d.today < o.Next:
		o.State = NotDue
	case o.Every.Days != 1 && o.Next != "" && o.Next < d.today:
		o.State = Overdue
	case closed:
		o.State, o.Detail = Explained, reason
	}
	if o.State == NotDue && o.Every != (Every{}) && o.Last == "" {
		o.State = NeverEntered
	}
	if (o.State == Open || o.State == Overdue) && o.Detail == "" && o.Every.Days != 1 && o.Last == "" {
		o.Detail = "never entered"
	}
	if o.State == Overdue && closed {
		o.Detail = strings.TrimPrefix(o.Detail+"; "+reason, "; ")
	}
}

func join(a, b string) string {
	if b == "" {
		return a
	}
	return a + ": " + b
}

// next is the day on which a line is due: daily lines each day, others one interval
// after they were last done, moved to a day of work.
func (d *diary) next(o *Owed) {
	switch {
	case o.Every == Every{}:
		return
	case o.Every.Days == 1:
		o.Next = d.today
		if o.Last == d.today {
			o.Next = plus(d.today, o.Every)
		}
		return
	}
	o.Next = d.dueAfter(o, o.Last)
}

// dueAfter is the day on which a line of more than a day is due that was last done on a
// day, "" for never; "" where nothing fixes it.
func (d *diary) dueAfter(o *Owed, last string) string {
	if last == "" {
		last = d.facts.Since
	}
	if last == "" {
		return ""
	}
	next := plus(last, o.Every)
	for next < d.today {
		if _, closed := d.closed(next, *o); !closed {
			break
		}
		next = plus(next, Every{Days: 1})
	}
	return next
}

func plus(day string, e Every) string {
	t, _ := time.Parse(time.DateOnly, day) // every day was checked
	return e.after(t).Format(time.DateOnly)
}

// closed tells whether a closure of that day explains that a line was not done, and
// with what reason. Of several, the first in the order of their reasons.
func (d *diary) closed(day string, o Owed) (string, bool) {
	reason, found := "", false
	for _, c := range d.facts.Closed {
		whole := c.Steriliser == "" && c.Place == ""
		mine := c.Steriliser != "" && c.Steriliser == o.Steriliser || c.Place != "" && c.Place == o.Place
		if day < c.From || c.To != "" && day > c.To || !whole && !mine {
			continue
		}
		if day == c.To && c.Back {
			continue
		}
		if c.Place == "" && slices.ContainsFunc(d.facts.Loads, func(l Load) bool { return l.Day == day && (whole || l.Steriliser == c.Steriliser) }) {
			continue
		}
		text := "closed"
		if !whole {
			text = "out of service"
		}
		if c.Reason != "" {
			text += ": " + c.Reason
		}
		if !found || text < reason {
			reason, found = text, true
		}
	}
	return reason, found
}

// loads holds the releases against the loads that were run.
func (d *diary) loads(o *Owed) {
	run := 0
	for _, l := range d.facts.Loads {
		if l.Steriliser == o.Steriliser && l.Day == d.today {
			run++
		}
	}
	switch {
	case o.Count < run:
		o.State = Open
	case run == 0 && o.Count == 0:
		o.State = NotDue
	}
	o.Detail = fmt.Sprintf("%d of %d", o.Count, run)
}

// gate holds a line that must pass before the first load against that load, on a day on
// which it was due before anybody did it, or on which it failed.
func (d *diary) gate(o *Owed, today []Done, before string) {
	if !o.BeforeLoad || o.State == NotDue || o.State == NeverEntered || o.State == Explained || !d.wasDue(o, today, before) {
		return
	}
	var first time.Time
	for _, l := range d.facts.Loads {
		if l.Steriliser == o.Steriliser && l.Day == d.today && (first.IsZero() || l.At.Before(first)) {
			first = l.At
		}
	}
	atFirst, ever := false, false // passed as things stood at the first load; passed at all
	for _, e := range today {
		if e.Outcome == "not done" {
			continue
		}
		verdict, _ := o.judge(e)
		ever = ever || verdict == Complete
		if first.IsZero() || e.At.Before(first) {
			atFirst = verdict == Complete
		}
	}
	switch {
	case atFirst:
		o.Before = InTime
	case first.IsZero():
		o.Before = Waiting
	case ever:
		o.Before = Late
	default:
		o.Before = Missing
	}
}

// wasDue tells whether the line was due as things stood before this day's entries, or
// became due by one that failed.
func (d *diary) wasDue(o *Owed, today []Done, before string) bool {
	if o.Every.Days == 1 || d.failedBefore(o) != "" {
		return true
	}
	if next := d.dueAfter(o, before); next <= d.today {
		return true
	}
	return slices.ContainsFunc(today, func(e Done) bool {
		verdict, _ := o.judge(e)
		return verdict == Failed
	})
}
