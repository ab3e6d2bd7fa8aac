package routine

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// attempts are the entries about a line up to this day, in the order of their times; of
// several at one time the worst comes last and speaks.
func (d *diary) attempts(o *Owed) []Done {
	var out []Done
	for _, e := range d.done {
		if o.is(e) && e.Day <= d.today {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b Done) int {
		return cmp.Or(strings.Compare(a.Day, b.Day), a.At.Compare(b.At), cmp.Compare(o.badness(a), o.badness(b)))
	})
	return out
}

// badness orders what entries come to, the worst last.
func (o *Owed) badness(e Done) int {
	if e.Outcome == "not done" {
		return 0
	}
	verdict, _ := o.judge(e)
	return slices.Index([]State{Complete, Unproven, Failed}, verdict) + 1
}

// failedBefore is the day on which the line failed, if no attempt before today has stood
// since: the duty then stays due, whatever its interval. "" if none failed, and for what
// each day owes anew.
func (d *diary) failedBefore(o *Owed) string {
	failed := ""
	if o.Every.Days == 1 || o.Every == (Every{}) {
		return failed
	}
	for _, e := range d.attempts(o) {
		if e.Day == d.today || e.Outcome == "not done" {
			continue
		}
		switch verdict, _ := o.judge(e); {
		case verdict != Failed:
			failed = ""
		case failed == "":
			failed = e.Day
		}
	}
	return failed
}

// decide lets the last attempt of the day speak; one that says "not done" only explains.
// Only those that stand are counted.
func (o *Owed) decide(today []Done) bool {
	decided := false
	var fell []string // what the attempts before the last were, that did not stand
	for _, e := range today {
		verdict, detail := o.judge(e)
		if e.Outcome == "not done" {
			if !decided {
				o.Detail, o.By, o.At, o.Entry = join("said not to be done", e.Text), e.By, e.At, e.Entry
			}
			continue
		}
		if decided && o.State != Complete {
			fell = append(fell, o.Detail)
		}
		o.State, o.Detail, o.By, o.At, o.Entry, decided = verdict, detail, e.By, e.At, e.Entry, true
		o.Value, o.ValueUnit = e.Value, e.Unit
		if verdict == Complete {
			o.Count += max(1, e.Times)
		}
	}
	o.beside(fell)
	return decided
}

// beside tells what other attempts of the day did not stand.
func (o *Owed) beside(fell []string) {
	if len(fell) == 0 {
		return
	}
	text := "1 attempt before it did not stand"
	if len(fell) > 1 {
		text = fmt.Sprintf("%d attempts before it did not stand", len(fell))
	}
	if words := slices.DeleteFunc(fell, func(s string) bool { return s == "" }); len(words) > 0 {
		text += " (" + strings.Join(words, "; ") + ")"
	}
	if o.Detail != "" {
		text = o.Detail + "; " + text
	}
	o.Detail = text
}
