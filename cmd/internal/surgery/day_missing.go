package surgery

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate/routine"
)

type routineLine = routine.Line

// missing lists what the day owes and does not have, each with the reason why it is
// signed without it.
func (b *dayBuilder) missing() error {
	say := func(machine, format string, args ...any) {
		b.day.Missing = append(b.day.Missing, daily.Missing{What: fmt.Sprintf(format, args...), Machine: machine, Reason: b.reason})
	}
	if err := b.failedReadings(say); err != nil {
		return err
	}
	if len(b.day.Cycles)+len(b.notes) == 0 && len(b.day.Closed) == 0 {
		say("", "nothing was recorded that day, and nobody noted that the surgery was closed")
	} else {
		b.missingTests(say)
		b.missingDuties(say)
	}
	for _, a := range b.day.Across {
		if a.Explained == "" {
			say("", "%s", strings.TrimSuffix(a.Message, "."))
		}
	}
	if err := b.unrecorded(say); err != nil {
		return err
	}
	for _, a := range b.day.BeforeLoads() {
		if open := b.undecided(a.Machine); len(open) > 0 {
			say(a.Machine, "what became of %s", strings.Join(open, ", "))
		}
	}
	if open := b.undecided(""); len(open) > 0 {
		say("", "what became of loads of no known steriliser: %s", strings.Join(open, ", "))
	}
	return nil
}

// missingTests are tests owed before the first load that were not made, do not stand, or
// passed only after it.
func (b *dayBuilder) missingTests(say func(machine, format string, args ...any)) {
	for _, t := range b.day.Tests {
		switch {
		case t.Due && t.State == "missing":
			say(t.Machine, "%s", t.Kind)
		case t.Due && t.State == "open":
			say(t.Machine, "%s: %s", t.Kind, t.Detail)
		case t.Due && t.State == "passed" && b.late(t):
			say(t.Machine, "%s: passed only after the first load", t.Kind)
		}
	}
}

// late tells whether the test passed only after the first load.
func (b *dayBuilder) late(t daily.Test) bool {
	return slices.ContainsFunc(b.owed, func(o Owed) bool {
		return o.Steriliser == t.Machine && o.Duty == dutyReading(t.Kind) && o.Before == OwedLate
	})
}

// missingDuties are the other lines of the routine that a person must still look at; one
// duty that lacks the same at several places is said once. What falls due only that day,
// and is not owed each day, may still be done on a later one.
func (b *dayBuilder) missingDuties(say func(machine, format string, args ...any)) {
	type same struct{ duty, why string }
	var order []same
	at := map[same][]string{}
	for _, o := range b.owed {
		duty, _ := dutyNamed(o.Duty)
		if o.Proof != "note" || !o.Wanted() || o.State == OwedOpen && !o.Daily() || duty.Kind != "" && (o.Daily() || o.Before == OwedLoadsWithin) {
			continue
		}
		s := same{o.Duty, o.why()}
		if at[s] == nil {
			order = append(order, s)
		}
		at[s] = append(at[s], o.Where())
	}
	for _, s := range order {
		places, what := at[s], s.duty
		machine := ""
		switch {
		case len(places) == 1 && slices.ContainsFunc(b.day.Machines, func(m daily.Machine) bool { return m.ID == places[0] }):
			machine = places[0]
		case places[0] != "":
			what += " (" + strings.Join(places, ", ") + ")"
		}
		if s.why != "" {
			what += ": " + s.why
		}
		say(machine, "%s", what)
	}
}

// why says in a few words what is wrong with a line, "" if it was simply not done.
func (o Owed) why() string {
	switch {
	case o.State == OwedOverdue && o.FailedOn != "":
		return join("failed on "+DayWords(o.FailedOn), o.Detail)
	case o.State == OwedOverdue && o.Last != "":
		return join("overdue since "+DayWords(o.Next)+", last done "+DayWords(o.Last), o.Detail)
	case o.State == OwedOverdue:
		return join("overdue since "+DayWords(o.Next), o.Detail)
	case o.State == OwedFailed:
		return join("failed", o.Detail)
	}
	return o.Detail
}

// unrecorded are releases at the machine whose record has not come.
func (b *dayBuilder) unrecorded(say func(machine, format string, args ...any)) error {
	rows, err := logbook.Find[entry.Release](b.ctx, b.v, logbook.Filter{From: b.day.Date, To: b.day.Date})
	if err != nil {
		return err
	}
	for _, row := range rows {
		if row.Withdrawn || row.Cycle != "" || slices.ContainsFunc(b.cycles, func(c logbook.Cycle) bool { return c.ReleaseEntry == row.Number }) {
			continue
		}
		say(row.Said.Steriliser, "the record of cycle %s, whose load was %s at the machine by %s at %s", row.Said.Number, row.Said.Act,
			b.who(row.By), row.At.In(b.r.zone).Format("15:04"))
	}
	return nil
}
