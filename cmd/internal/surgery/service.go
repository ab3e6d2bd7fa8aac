package surgery

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// words tells of it: since when and why.
func (o outage) words(r *Records) string {
	return fmt.Sprintf("out of service since %s: %s (entry %d)", r.clockWords(o.from), strings.TrimRight(o.reason, ". "), o.entry)
}

// outOfUse refuses what is so already.
func (x *noting) outOfUse() error {
	at := x.n.From
	if at.IsZero() {
		at = x.n.At
	}
	o, err := x.r.outOfServiceAt(x.ctx, x.v, x.body.Steriliser, at)
	if err != nil || o == nil || o.entry == x.n.corrects {
		return err
	}
	return &Refusal{Why: fmt.Sprintf("%s is %s", x.body.Steriliser, o.words(x.r)), Instead: fmt.Sprintf("To say more, correct that entry: holdproof note --correct %d --text TEXT --reason TEXT.", o.entry)}
}

// visited settles the tests that are owed before the machine returns: those named, or
// without a word all that a machine of its type has (ours).
func (x *noting) visited() error {
	if slices.Contains(x.n.Tests, noTest) && len(x.n.Tests) > 1 {
		return &Refusal{Why: "tests are named, and none of them is owed", Instead: "Give --test none alone, or leave it out.", Field: "test"}
	}
	for _, t := range x.n.Tests {
		if !slices.Contains(TestWords(), t) {
			return &Refusal{Why: fmt.Sprintf("%q is no test that a machine has", t), Instead: "Name with --test one of them: " + Alternatives(TestWords()) + ".", Field: "test"}
		}
	}
	switch {
	case len(x.n.Tests) == 0:
		x.data.Tests = x.r.testsOfType(x.body.Steriliser)
	case x.n.Tests[0] != noTest:
		for _, k := range kindsOfTest { // in one order, each once
			if slices.Contains(x.n.Tests, k.String()) {
				x.data.Tests = append(x.data.Tests, k.String())
			}
		}
	}
	return nil
}

// testsOfType are the kinds of test that a machine can run: without a vacuum stage there
// is nothing to test but the programme itself.
func (r *Records) testsOfType(machine string) []string {
	var out []string
	for _, s := range r.settings.Value.Sterilisers {
		for _, k := range kindsOfTest {
			if s.ID == machine && (s.Type != "N" || k == cycle.ControlTest) {
				out = append(out, k.String())
			}
		}
	}
	return out
}

// backInUse lets a machine return: it was out, and each test that is owed passed after
// what made it owed. Without that the lead gives a reason, and both are kept.
func (x *noting) backInUse() error {
	o, err := x.r.outOfServiceAt(x.ctx, x.v, x.body.Steriliser, x.n.At.Add(-time.Nanosecond))
	if err != nil {
		return err
	}
	if o == nil && x.n.corrects == 0 {
		return &Refusal{Why: x.body.Steriliser + " is not out of service", Instead: "Nothing is needed."}
	}
	if o == nil { // a correction of the words of its own return
		return nil
	}
	missing, err := x.r.owedBack(x.ctx, x.v, *o, x.n.At)
	if err != nil || len(missing) == 0 {
		return err
	}
	if strings.TrimSpace(x.n.Reason) == "" {
		var what []string
		for _, m := range missing {
			what = append(what, fmt.Sprintf("its %s has not passed since %s", m.kind, m.why))
		}
		return &Refusal{Why: fmt.Sprintf("%s does not return to service: %s", x.body.Steriliser, strings.Join(what, "; ")),
			Instead: "Run the tests, import and read them. If the lead decides otherwise, the reason is given with --reason and printed.", Field: "reason"}
	}
	for _, m := range missing {
		x.data.Without = append(x.data.Without, m.kind)
	}
	return nil
}

// owedTest is a test that a machine owes before it returns.
type owedTest struct {
	kind  string
	since time.Time // it must pass after this
	why   string
}

// owedBack are the tests that the machine owes at a moment of an outage and that did not
// pass: those that the visits during it named, and those whose last run failed.
func (r *Records) owedBack(ctx context.Context, v *logbook.View, o outage, at time.Time) ([]owedTest, error) {
	owed := map[string]owedTest{}
	visits, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyVisit, Steriliser: o.machine})
	if err != nil {
		return nil, err
	}
	for _, n := range visits {
		if n.Withdrawn || n.At.Before(o.from) || n.At.After(at) {
			continue
		}
		for _, kind := range dataOf(n.Said).Tests {
			if n.At.After(owed[kind].since) {
				owed[kind] = owedTest{kind, n.At, "the engineer's visit of " + r.clockWords(n.At)}
			}
		}
	}
	var out []owedTest
	for _, k := range kindsOfTest {
		kind := k.String()
		runs, err := r.testRuns(ctx, v, o.machine, kind, at)
		if err != nil {
			return nil, err
		}
		last := len(runs) - 1
		if last >= 0 && runs[last].failed && runs[last].at.After(owed[kind].since) {
			owed[kind] = owedTest{kind, runs[last].at, "it failed on " + r.clockWords(runs[last].at)}
		}
		t, is := owed[kind]
		if is && !slices.ContainsFunc(runs, func(x testRun) bool { return x.passed && x.at.After(t.since) }) {
			out = append(out, t)
		}
	}
	return out, nil
}

// testRun is a test of a machine, by its record or by a note without one.
type testRun struct {
	at             time.Time // start
	passed, failed bool      // neither: it waits, or proves nothing
}

// testRuns are the tests of a kind on a machine up to a moment, in order.
func (r *Records) testRuns(ctx context.Context, v *logbook.View, machine, kind string, until time.Time) ([]testRun, error) {
	cycles, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: machine, Kind: kind, To: r.localDay(until)})
	if err != nil {
		return nil, err
	}
	var out []testRun
	for _, c := range cycles {
		why, err := r.testState(ctx, v, c)
		if err != nil {
			return nil, err
		}
		if !c.Start.After(until) {
			out = append(out, testRun{c.Start.Time, why == "", why == "was read as failed" || c.Outcome == Failed.String()})
		}
	}
	notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyReading(kind), Steriliser: machine})
	if err != nil {
		return nil, err
	}
	for _, n := range notes {
		if n.Said.Cycle == "" && !n.Withdrawn && !n.At.After(until) {
			out = append(out, testRun{n.At, n.Said.Outcome == "passed", n.Said.Outcome == "failed"})
		}
	}
	slices.SortStableFunc(out, func(a, b testRun) int { return a.at.Compare(b.at) })
	return out, nil
}

// inService returns nil if a load may be released as far as outages go: its machine was
// in service while it ran. One that ran before is released while the machine is out only
// with a reason.
func (r *Records) inService(ctx context.Context, v *logbook.View, machine, name string, ran, at time.Time, reason string) error {
	all, err := r.outages(ctx, v, "")
	if err != nil {
		return err
	}
	for _, o := range all {
		switch {
		case o.machine != machine:
		case !ran.IsZero() && o.holds(ran):
			return &Refusal{Why: fmt.Sprintf("%s is not released: it ran while %s was %s", name, machine, o.words(r)),
				Instead: "Repack it and run it on a machine in service. Enter --quarantine or --reprocess. If the machine was in service, correct the entry first."}
		case o.holds(at) && strings.TrimSpace(reason) == "":
			return &Refusal{Why: fmt.Sprintf("%s is not released: %s is %s", name, machine, o.words(r)),
				Instead: "If it ran before and the trouble does not touch it, say so with --reason, or put it in quarantine with --quarantine."}
		}
	}
	return nil
}

// ranOut names the loads that ran while their machine was out of service.
func (r *Records) ranOut(ctx context.Context, v *logbook.View, cycles []logbook.Cycle) ([]Between, error) {
	all, err := r.outages(ctx, v, "")
	if err != nil {
		return nil, err
	}
	var out []Between
	for _, o := range all {
		b := Between{Check: checkOutage, Steriliser: o.machine, Cycles: []string{}, Remedy: "Tell the lead, who decides about these loads."}
		var names []string
		for _, c := range cycles {
			if c.Steriliser == o.machine && !isTest(c) && c.ContinuedBy == "" && o.holds(c.Start.Time) {
				b.Cycles, names = append(b.Cycles, c.Key), append(names, r.nameOf(c))
			}
		}
		if len(names) > 0 {
			b.Message = fmt.Sprintf("%s ran while the machine was %s", strings.Join(names, ", "), o.words(r))
			out = append(out, b)
		}
	}
	return out, nil
}

// checkOutage is the name under which such loads are explained.
const checkOutage = "out-of-service"
