package surgery

import (
	"cmp"
	"slices"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
)

// brings brings in the leak tests of the months before, which the lead looked at one by
// one, so that the charts of S1 begin with what its recorder still has.
func (w *demoWeek) brings(clock, by string) []moment {
	return []moment{{clock, func() error {
		if err := w.imports("S1-leak-tests"); err != nil {
			return err
		}
		tests, err := w.r.book.Cycles(w.ctx, logbook.CycleFilter{Steriliser: "S1", Kind: cycle.LeakTest.String(), Waiting: true})
		if err != nil {
			return err
		}
		slices.SortFunc(tests, func(a, b logbook.Cycle) int { return cmp.Compare(a.Key, b.Key) })
		for _, t := range tests {
			if _, err := w.r.Note(w.ctx, Noting{Duty: dutyLeak, Cycle: t.Key, Outcome: "passed", By: w.by(by)}); err != nil {
				return err
			}
		}
		return nil
	}}}
}
