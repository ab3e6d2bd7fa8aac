package surgery

import (
	"fmt"
	"strings"
	"time"

	"holdproof/validate"
)

// machines are those that are out of service now, each with the tests that keep it out;
// where the settings name none, that is said instead.
func (w *waits) machines() error {
	if len(w.r.settings.Value.Sterilisers) == 0 {
		w.add(Waiting{Kind: WaitSetup, Name: "surgery", Outcome: validate.NotAssessed,
			Instruction: "Ask the lead to set each steriliser under sterilisers in holdproof.yaml: id, model, serial and type. Then run holdproof rejudge.",
			Why:         "The settings name no steriliser, so no test is owed and no load can be released."}, roleLead)
		return nil
	}
	now := w.r.Now()
	for _, s := range w.r.settings.Value.Sterilisers {
		o, err := w.r.outOfServiceAt(w.ctx, w.v, s.ID, now)
		if err != nil {
			return err
		}
		if o == nil {
			continue
		}
		if err := w.outOfService(*o, now); err != nil {
			return err
		}
	}
	return nil
}

// outOfService is one machine that is out: the tests it owes are run first, and only then
// is it entered as back.
func (w *waits) outOfService(o outage, now time.Time) error {
	missing, err := w.r.owedBack(w.ctx, w.v, o, now)
	if err != nil {
		return err
	}
	x := Waiting{Kind: WaitOutage, Name: o.machine, Day: o.from.Format(time.DateOnly), Outcome: validate.NotAssessed,
		Why: capital(o.words(w.r)) + "."}
	if len(missing) == 0 {
		var back Owed
		back.Duty, back.Steriliser = dutyBackInUse, o.machine
		x.Instruction, x.Type = "Run no load. No test keeps it out: once it is in order, enter that it is back in service.", back.typed()
		w.add(x, enough(ActNote)...)
		return nil
	}
	var kinds, why []string
	for _, m := range missing {
		kinds = append(kinds, m.kind)
		why = append(why, fmt.Sprintf("its %s has not passed since %s", m.kind, m.why))
	}
	x.Instruction = "Run no load. Before it is back it needs: " + strings.Join(kinds, ", ") + "."
	x.Why += " " + capital(strings.Join(why, "; ")) + "."
	w.add(x, enough(ActNote)...)
	return nil
}
