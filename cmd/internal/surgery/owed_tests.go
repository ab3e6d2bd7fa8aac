package surgery

import (
	"context"
	"slices"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
	"holdproof/validate/routine"
)

// dayTests says of each machine and day with cycles which tests the routine owes before
// the first load, and when they passed: the facts that loads are held against across
// cycles. A test that is owed each day is owed on each of them; one with a longer interval
// where the routine finds it due, by what was done before the first of the days too.
func (r *Records) dayTests(ctx context.Context, v *logbook.View, cycles []logbook.Cycle) ([]validate.DayTest, error) {
	var days []string
	for _, c := range cycles {
		if !slices.Contains(days, c.Day) {
			days = append(days, c.Day)
		}
	}
	if len(days) == 0 {
		return nil, nil
	}
	slices.Sort(days)
	o := r.bareOwing(ctx, v, "")
	daily, longer := o.rule, o.rule
	daily.Lines, longer.Lines = nil, nil
	for _, l := range o.rule.Lines {
		switch duty, _ := dutyNamed(l.Duty); {
		case !l.BeforeLoad || duty.Kind == "":
		case l.Every.Days == 1:
			daily.Lines = append(daily.Lines, l)
		default:
			longer.Lines = append(longer.Lines, l)
		}
	}
	var notes []logbook.Row[entry.Note]
	for _, l := range slices.Concat(daily.Lines, longer.Lines) {
		found, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: l.Duty, From: days[0], To: days[len(days)-1]})
		if err != nil {
			return nil, err
		}
		notes = append(notes, found...)
	}
	if err := o.add(notes, cycles); err != nil {
		return nil, err
	}
	out, err := o.dailyTests(daily, days)
	if err != nil || len(longer.Lines) == 0 {
		return out, err
	}
	more, err := o.longerTests(longer, days, cycles)
	return append(out, more...), err
}

// dailyTests are those that are owed each day, on each of the days.
func (o *owing) dailyTests(rule routine.Routine, days []string) ([]validate.DayTest, error) {
	places, err := routine.Due(rule, o.facts, days[0], nil)
	if err != nil {
		return nil, err
	}
	var out []validate.DayTest
	for _, day := range days {
		for _, p := range places {
			out = append(out, o.dayTest(p, day))
		}
	}
	return out, nil
}

// longerTests are those of a longer interval, on the days on which they were due.
func (o *owing) longerTests(rule routine.Routine, days []string, cycles []logbook.Cycle) ([]validate.DayTest, error) {
	if err := o.since(); err != nil {
		return nil, err
	}
	for _, l := range rule.Lines {
		if err := o.before(l.Duty, days[0]); err != nil {
			return nil, err
		}
	}
	done := slices.DeleteFunc(slices.Clone(o.done), func(d routine.Done) bool {
		return !slices.ContainsFunc(rule.Lines, func(l routine.Line) bool { return l.Duty == d.Duty })
	})
	for _, c := range cycles {
		if !isTest(c) {
			o.facts.Loads = append(o.facts.Loads, routine.Load{Steriliser: c.Steriliser, Day: c.Day, At: c.Start.Time})
		}
	}
	var out []validate.DayTest
	for _, day := range days {
		due, err := routine.Due(rule, o.facts, day, done)
		if err != nil {
			return nil, err
		}
		for _, d := range due {
			if d.Before != routine.NoGate {
				out = append(out, o.dayTest(d, day))
			}
		}
	}
	return out, nil
}

// dayTest is a test that is owed on a day, with when it first passed, in the site's zone.
func (o *owing) dayTest(d routine.Owed, day string) validate.DayTest {
	duty, _ := dutyNamed(d.Duty)
	out := validate.DayTest{Steriliser: d.Steriliser, Day: day, Name: duty.Kind}
	var first time.Time
	for _, e := range o.done {
		if e.Duty == d.Duty && e.Steriliser == d.Steriliser && e.Day == day && e.Outcome == "passed" && (first.IsZero() || e.At.Before(first)) {
			first = e.At
		}
	}
	out.Passed = o.r.local(first)
	return out
}
