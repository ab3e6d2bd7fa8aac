package surgery

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// noteCycle settles the cycle a note reads: the one named, or the only test of that
// kind on that machine and day which waits.
func (r *Records) noteCycle(ctx context.Context, v *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	if !duty.Cycle {
		if n.Cycle != "" {
			return &Refusal{Why: duty.Name + " is not about a cycle", Instead: "Leave --cycle out.", Field: "cycle"}
		}
		return nil
	}
	var c logbook.Cycle
	switch {
	case n.Cycle != "":
		var err error
		if c, err = cycleNamed(ctx, v, n.Cycle); err != nil {
			return err
		}
	case duty.Kind == "" && duty.Name == dutyExplained:
		return &Refusal{Why: duty.Name + " needs a cycle", Instead: "Name one of the cycles with --cycle; holdproof review shows them.", Field: "cycle"}
	case duty.Kind == "":
		return nil
	default:
		tests, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: body.Steriliser, From: body.Day, To: body.Day, Kind: duty.Kind, Waiting: true, Verdicts: true})
		if err != nil {
			return err
		}
		if len(tests) == 0 && strings.TrimSpace(n.Text) != "" {
			return nil // a test without a record, in the person's words
		}
		if len(tests) != 1 {
			wait := "no test of this kind waits"
			if len(tests) > 1 {
				wait = fmt.Sprintf("%d tests of this kind wait", len(tests))
			}
			return &Refusal{Why: fmt.Sprintf("%s on %s on %s", wait, body.Steriliser, dayWords(body.Day)),
				Instead: "Name the test with --cycle, by its number. Import its record first; if there is none, say so with --text.", Field: "cycle"}
		}
		c = tests[0]
	}
	if duty.Kind != "" && c.Kind != duty.Kind {
		return &Refusal{Why: fmt.Sprintf("%s is a %s, and %q reads a %s", r.nameOf(c), c.Kind, duty.Name, duty.Kind), Instead: "Name the test with --cycle.", Field: "cycle"}
	}
	if body.Steriliser != "" && c.Steriliser != body.Steriliser {
		return &Refusal{Why: fmt.Sprintf("%s is not of %s", r.nameOf(c), body.Steriliser), Instead: "Leave --steriliser out, or name another cycle.", Field: "cycle"}
	}
	body.Cycle, body.Steriliser = c.Key, c.Steriliser
	if n.Day == "" && duty.Kind != "" {
		body.Day = c.Day
	}
	body.Settled = c.Settled
	if duty.Name == dutySporeIn && !n.From.IsZero() && n.From.Before(c.Start.Time) {
		return &Refusal{Why: fmt.Sprintf("the spores went in on %s, before %s began on %s", r.clockWords(n.From), r.nameOf(c), r.clockWords(c.Start.Time)),
			Instead: "Correct the time given with --in, or name the cycle that they were in with --cycle.", Field: "in"}
	}
	if duty.Kind == "" {
		return nil
	}
	if n.Outcome == "passed" && (c.Outcome == Failed.String() || c.Outcome == NotProven.String()) {
		return &Refusal{Why: fmt.Sprintf("%s cannot be read as passed: its record is %s%s", r.nameOf(c), c.Outcome, whyOf(*c.Verdict)),
			Instead: "Run the test again. Enter --outcome failed for this one.", Field: "outcome"}
	}
	body.Settled = n.Outcome == "passed"
	return nil
}

// noteClosed refuses a closed day on which a machine ran, or work was done.
func (r *Records) noteClosed(ctx context.Context, v *logbook.View, _ Noting, duty dutyKind, body *entry.Note) error {
	if duty.Name != dutyClosed {
		if body.Day > r.Today() {
			return &Refusal{Why: dayWords(body.Day) + " lies ahead", Instead: "Enter it when it has been done.", Field: "date"}
		}
		return nil
	}
	const instead = "Check the day given with --date."
	ran, err := v.Cycles(ctx, logbook.CycleFilter{From: body.Day, To: body.Day})
	switch {
	case err != nil:
		return err
	case len(ran) > 0:
		return &Refusal{Why: fmt.Sprintf("on %s %d cycles ran, the first of them %s", dayWords(body.Day), len(ran), r.nameOf(ran[0])), Instead: instead, Field: "date"}
	}
	worked, err := work(ctx, v, body.Day)
	if err == nil && len(worked) > 0 {
		first := worked[0]
		err = &Refusal{Why: fmt.Sprintf("on %s work was done, and %s is entered: the first is %s (entry %d)", dayWords(body.Day), count(len(worked), "duty", "duties"), first.Said.Duty, first.Number),
			Instead: instead + " If the entries are wrong, withdraw them first; what was not done can be entered as not done, with the reason.", Field: "date"}
	}
	return err
}

// work is what is entered as done that day and shows that the surgery was open: what is
// done at chairs, machines and rooms. Results that come later, visits and examinations
// are none of it.
func work(ctx context.Context, v *logbook.View, day string) ([]logbook.Row[entry.Note], error) {
	notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{From: day, To: day})
	return slices.DeleteFunc(notes, func(n logbook.Row[entry.Note]) bool {
		duty, _ := dutyNamed(n.Said.Duty)
		return n.Said.Day != day || n.Said.Outcome == "not done" || duty.Says != sayDone && duty.Name != dutyCounter && (duty.Kind == "" || n.Said.Cycle != "")
	}), err
}
