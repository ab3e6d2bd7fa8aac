package surgery

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// explainsTest is what the lead explains who leaves a load as it is after a failed test.
const explainsTest = "failed-test"

// windowDays is how far back failed readings of tests with a record are looked for, and of
// those without; spore tests are, however old they are (ours).
const windowDays = 366

// failedTest is a periodic test that a person read as failed, whether or not the routine
// owes it, and the loads that ran since the last good one of its kind, until the next.
type failedTest struct {
	machine, duty string
	note          logbook.Row[entry.Note] // that says so
	cycle         string                  // key of the test, "" without a record
	ran           time.Time
	good, next    time.Time // of its kind, zero for none
	loads         []logbook.Cycle
	open          []logbook.Cycle // the lead has not decided about them since
}

// failedTests are those whose readings stand, oldest first; of two of one kind on one
// machine with no good one between, the first holds the loads of both. The
// notes are those to look among, nil for all.
func (r *Records) failedTests(ctx context.Context, v *logbook.View, notes []logbook.Row[entry.Note]) ([]failedTest, error) {
	if notes == nil {
		for _, duty := range []string{dutySporeRead, dutyPenetration, dutyControl, dutyLeak} {
			f := logbook.Filter{Topic: duty}
			if duty != dutySporeRead {
				f.From = back(r.Today(), windowDays)
			}
			found, err := logbook.Find[entry.Note](ctx, v, f)
			if err != nil {
				return nil, err
			}
			notes = append(notes, found...)
		}
	}
	var out []failedTest
	for _, n := range notes {
		duty, _ := dutyNamed(n.Said.Duty)
		if n.Withdrawn || n.Said.Outcome != "failed" || duty.Kind == "" && duty.Name != dutySporeRead {
			continue
		}
		t, stands, err := r.failedTest(ctx, v, n, duty)
		if err != nil {
			return nil, err
		}
		if stands {
			out = append(out, t)
		}
	}
	slices.SortStableFunc(out, func(a, b failedTest) int {
		return cmp.Or(a.ran.Compare(b.ran), cmp.Compare(a.machine, b.machine), cmp.Compare(a.duty, b.duty), a.note.At.Compare(b.note.At))
	})
	seen := map[string]bool{}
	return slices.DeleteFunc(out, func(t failedTest) bool {
		k := fmt.Sprint(t.machine, "\x00", t.duty, "\x00", t.good.UnixNano(), "\x00", t.next.UnixNano())
		again := seen[k]
		seen[k] = true
		return again
	}), nil
}

// failedTest fills one; stands is false where a later reading of the same test says otherwise.
func (r *Records) failedTest(ctx context.Context, v *logbook.View, n logbook.Row[entry.Note], duty dutyKind) (t failedTest, stands bool, err error) {
	t = failedTest{machine: n.Said.Steriliser, duty: duty.Name, note: n, cycle: n.Cycle}
	t.ran, _ = r.overAt(n)
	switch {
	case duty.Name == dutySporeRead && !n.Said.From.IsZero():
		t.ran = n.Said.From.Time
	case n.Cycle != "":
		c, err := v.Cycle(ctx, n.Cycle)
		if err != nil {
			return t, false, err
		}
		readings, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Cycle: c.Key})
		if err != nil {
			return t, false, err
		}
		if now := readingsOf(readings)[c.Key]; now == nil || now.Number != n.Number {
			return t, false, nil
		}
		t.ran = c.Start.Time
	}
	if err := r.goodBeside(ctx, v, &t, duty); err != nil {
		return t, false, err
	}
	f := logbook.CycleFilter{Steriliser: t.machine, Kind: cycle.Load.String()}
	if !t.good.IsZero() {
		f.From = r.localDay(t.good)
	}
	if !t.next.IsZero() {
		f.To = r.localDay(t.next)
	}
	all, err := v.Cycles(ctx, f)
	if err != nil {
		return t, false, err
	}
	for _, c := range all {
		if !c.Start.After(t.good) || c.ContinuedBy != "" || !t.next.IsZero() && !c.Start.Before(t.next) {
			continue
		}
		t.loads = append(t.loads, c)
		decided, err := r.decidedSince(ctx, v, c, n.Number)
		if err != nil {
			return t, false, err
		}
		if !decided {
			t.open = append(t.open, c)
		}
	}
	return t, true, nil
}

// goodBeside finds when the last good test of the kind before this one ran, and the next.
func (r *Records) goodBeside(ctx context.Context, v *logbook.View, t *failedTest, duty dutyKind) error {
	put := func(at time.Time) {
		switch {
		case at.After(t.ran) && (t.next.IsZero() || at.Before(t.next)):
			t.next = at
		case at.Before(t.ran) && at.After(t.good):
			t.good = at
		}
	}
	if duty.Kind != "" {
		good, _, err := r.lastTest(ctx, v, t.machine, duty.Kind, t.ran)
		if err != nil {
			return err
		}
		if good != nil {
			put(good.Start.Time)
		}
		later, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: t.machine, Kind: duty.Kind, From: r.localDay(t.ran)})
		if err != nil {
			return err
		}
		for _, c := range later {
			if !c.Start.After(t.ran) {
				continue
			}
			stands, err := r.standsAs(ctx, v, c)
			if err != nil {
				return err
			}
			if stands == testGood {
				put(c.Start.Time)
				break
			}
		}
	}
	notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: duty.Name, Steriliser: t.machine})
	for _, n := range notes {
		if n.Withdrawn || n.Said.Outcome != "passed" || n.Said.Cycle != "" {
			continue
		}
		at, _ := r.overAt(n)
		if duty.Name == dutySporeRead && !n.Said.From.IsZero() {
			at = n.Said.From.Time
		}
		put(at)
	}
	return err
}

// decidedSince tells whether the lead decided about the load after an entry: by a decision,
// by a recall, or by saying why it stays as it is.
func (r *Records) decidedSince(ctx context.Context, v *logbook.View, c logbook.Cycle, number int64) (bool, error) {
	if c.RecallEntry > number {
		return true, nil
	}
	if c.DecisionEntry > number {
		rows, err := logbook.Find[entry.Decision](ctx, v, logbook.Filter{Cycle: c.Key})
		if err != nil {
			return false, err
		}
		for _, row := range rows {
			p, err := person(ctx, v, row.By)
			if err != nil {
				return false, err
			}
			if row.Number > number && !row.Withdrawn && holds(p, roleLead, r.localDay(row.Entered)) {
				return true, nil
			}
		}
	}
	notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Cycle: c.Key, Topic: dutyExplained})
	return slices.ContainsFunc(notes, func(n logbook.Row[entry.Note]) bool {
		return n.Number > number && !n.Withdrawn && slices.Contains(dataOf(n.Said).Explains, explainsTest)
	}), err
}

// name is the test in words, such as spore test.
func (t failedTest) name() string { return strings.TrimSuffix(t.duty, " read") }

// kind is what the test is called in the questions: the kind of its cycles where it has one.
func (t failedTest) kind() string {
	duty, _ := dutyNamed(t.duty)
	return cmp.Or(duty.Kind, t.name())
}

// words tell what failed and which loads wait.
func (t failedTest) words(r *Records) string {
	out := fmt.Sprintf("The %s that ran on %s was read as failed (entry %d). ", t.name(), r.clockWords(t.ran), t.note.Number)
	if t.good.IsZero() {
		out += "No good one is entered before it. Since the first record "
	} else {
		out += "Since the last good one (" + r.clockWords(t.good) + ") "
	}
	out += count(len(t.loads), "load", "loads") + " ran"
	if !t.next.IsZero() {
		out += ", up to the next good one (" + r.clockWords(t.next) + ")"
	}
	if len(t.open) == 0 {
		return out + "."
	}
	return out + fmt.Sprintf("; %d of them %s for the lead's decision: %s.", len(t.open), plural(len(t.open), "waits", "wait"), t.names(r))
}

// names are the loads that wait.
func (t failedTest) names(r *Records) string {
	var names []string
	for _, c := range t.open {
		names = append(names, r.nameOf(c))
	}
	if n := len(names); n > mostNamed {
		return names[0] + " to " + names[n-1]
	}
	return strings.Join(names, ", ")
}

// failed adds tests that were read as failed, as long as loads wait for the lead because
// of them; one without loads until a good one of its kind has run.
func (w *waits) failed() error {
	all, err := w.r.failedTests(w.ctx, w.v, nil)
	if err != nil {
		return err
	}
	for _, t := range all {
		if len(t.open) == 0 && (t.cycle != "" || !t.next.IsZero() || len(t.loads) > 0) {
			continue
		}
		x := Waiting{Kind: WaitWindow, Name: t.machine + " · " + t.name(), Day: t.note.Said.Day, Outcome: Failed, Why: t.words(w.r),
			Instruction: "Take " + t.machine + " out of use. The lead decides about each load: call it back, or say why it stays as it is.",
			Type:        "note --duty \"" + dutyOutOfUse + "\" --steriliser " + t.machine + " --text TEXT"}
		if len(t.open) > 0 {
			first := typed(t.open[0])
			x.Type = "decide " + first + " --recall --reason TEXT"
			x.Why += fmt.Sprintf(" One that stays: holdproof note --duty %q --cycle %s --explains %s --text TEXT.", dutyExplained, first, explainsTest)
		} else {
			x.Instruction = "Take " + t.machine + " out of use. Run the test again before it is used."
		}
		w.add(x, roleLead)
	}
	return nil
}

// failedReadings are the tests read as failed that day, first among what the day lacks as
// long as loads wait because of them.
func (b *dayBuilder) failedReadings(say func(machine, format string, args ...any)) error {
	if len(b.notes) == 0 {
		return nil
	}
	all, err := b.r.failedTests(b.ctx, b.v, b.notes)
	if err != nil {
		return err
	}
	for _, t := range all {
		if len(t.open) > 0 {
			say(t.machine, "%s read as failed: what becomes of %s since the last good one (%s)", t.name(), count(len(t.open), "load", "loads"), t.names(b.r))
		}
	}
	return nil
}

// explainsFailed refuses to explain a load that waits because of no failed test.
func (r *Records) explainsFailed(ctx context.Context, v *logbook.View, c logbook.Cycle) error {
	all, err := r.failedTests(ctx, v, nil)
	if err != nil {
		return err
	}
	for _, t := range all {
		if slices.ContainsFunc(t.loads, func(o logbook.Cycle) bool { return o.Key == c.Key }) {
			return nil
		}
	}
	return &Refusal{Why: r.nameOf(c) + " is no load that a failed test calls into question", Instead: "holdproof review shows what waits.", Field: "explains"}
}
