package surgery

import (
	"slices"

	"holdproof/validate"
)

// between is what shows when cycles are laid side by side.
func (w *waits) between() error {
	p, err := w.r.acrossWith(w.ctx, w.v, w.from, w.to, true)
	if err != nil {
		return err
	}
	w.again = p.Again
	return w.unexplained(p.Findings)
}

// unexplained adds what lies between cycles and nobody explained yet.
func (w *waits) unexplained(found []Between) error {
	kinds := map[string]string{"number-repeat": WaitStop, "same-readings": WaitStop, "counter": WaitCounter, "test-before-load": WaitEarly}
	for _, a := range found {
		note, err := w.r.explanation(w.ctx, w.v, a)
		if err != nil {
			return err
		}
		if note != nil {
			continue
		}
		if a.StopsRelease() {
			for _, key := range a.Cycles {
				w.stopped[key] = true
			}
		}
		kind := kinds[a.Check]
		if kind == "" {
			kind = WaitGap
		}
		x := Waiting{Kind: kind, Name: a.Steriliser, Why: capital(a.Message) + ".", Instruction: a.Remedy, Outcome: validate.NotAssessed}
		if len(a.Cycles) > 0 {
			c, err := w.v.Standing(w.ctx, a.Cycles[len(a.Cycles)-1])
			if err != nil {
				return err
			}
			x.Cycle, x.Day = c.Key, c.Day
			name := typed(c)
			if kind == WaitStop { // the number is what is in doubt
				name = c.Key
			}
			x.Type = "note --duty \"" + dutyExplained + "\" --cycle " + name + " --explains " + a.Check + " --text TEXT"
		}
		if i := slices.IndexFunc(w.out, func(o Waiting) bool {
			return x.Type != "" && o.Kind == x.Kind && o.Name == x.Name && o.Type == x.Type && o.Instruction == x.Instruction
		}); i >= 0 {
			w.out[i].Why += " " + x.Why // one entry explains both
			continue
		}
		w.add(x, enough(ActExplain)...)
	}
	return nil
}
