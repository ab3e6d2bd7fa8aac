package surgery

import (
	"slices"
	"time"

	"holdproof/report/logbook"
	"holdproof/validate"
)

// between is what shows when cycles are laid side by side.
func (w *waits) between() error {
	p, err := w.r.across(w.ctx, w.v, w.from, w.to)
	if err != nil {
		return err
	}
	w.again = p.Again
	return w.unexplained(p.Findings)
}

// early are loads that ran before the tests that the routine owes each day had passed.
// A test has passed at its end, if a person read it where one must.
func (w *waits) early() error {
	cycles, err := w.v.Cycles(w.ctx, logbook.CycleFilter{From: w.from, To: w.to})
	if err != nil {
		return err
	}
	type machineDay struct{ machine, day string }
	passed := map[machineDay]map[string]time.Time{}
	var days []machineDay
	var list []validate.Summary
	for _, c := range cycles {
		at := machineDay{c.Steriliser, c.Day}
		if passed[at] == nil {
			passed[at] = map[string]time.Time{}
			days = append(days, at)
		}
		list = append(list, w.r.summaryOf(c))
		first := passed[at][c.Kind]
		if isTest(c) && c.Settled && c.Outcome != Failed.String() && c.Outcome != NotProven.String() && (first.IsZero() || c.End.Before(first)) {
			passed[at][c.Kind] = c.End.In(w.r.zone)
		}
	}
	var facts validate.Facts
	for _, s := range w.r.settings.Value.Sterilisers {
		for _, kind := range kindsOfTest {
			if !owes(w.r.settings.Value.Routine, s.Type, kind) {
				continue
			}
			for _, at := range days {
				if at.machine == s.ID {
					facts.Tests = append(facts.Tests, validate.DayTest{Steriliser: s.ID, Day: at.day, Name: kind.String(), Passed: passed[at][kind.String()]})
				}
			}
		}
	}
	found := slices.DeleteFunc(validate.AcrossCycles(list, facts), func(a Between) bool { return a.Check != "test-before-load" })
	return w.unexplained(found)
}

// unexplained adds what lies between cycles and nobody explained yet.
func (w *waits) unexplained(found []Between) error {
	kinds := map[string]string{"number-repeat": WaitStop, "same-readings": WaitStop, "counter": WaitCounter, "test-before-load": WaitEarly}
	for _, a := range found {
		done, err := w.r.explained(w.ctx, w.v, a)
		if err != nil {
			return err
		}
		if done {
			continue
		}
		kind := kinds[a.Check]
		if kind == "" {
			kind = WaitGap
		}
		x := Waiting{Kind: kind, Name: a.Steriliser, Why: capital(a.Message) + ".", Instruction: a.Remedy, Outcome: validate.NotAssessed}
		if len(a.Cycles) > 0 {
			c, err := w.v.Cycle(w.ctx, a.Cycles[len(a.Cycles)-1])
			if err != nil {
				return err
			}
			x.Cycle, x.Day = c.Key, c.Day
			name := typed(c)
			if kind == WaitStop { // the number is what is in doubt
				name = c.Key
			}
			x.Type = "note --duty \"" + dutyExplained + "\" --cycle " + name + " --text TEXT"
		}
		w.add(x, enough(ActExplain)...)
	}
	return nil
}
