package surgery

import "holdproof/validate"

// drift is what moves slowly over the cycles that conform. It is over when it has come
// back, or when an engineer's visit or a validation is entered.
func (w *waits) drift() error {
	d, err := w.r.drift(w.ctx, w.v, "")
	if err != nil {
		return err
	}
	for _, c := range d.Moving() {
		w.add(Waiting{Kind: WaitDrift, Name: c.Name(), Outcome: validate.NotAssessed, Instruction: c.ToDo(), Why: capital(d.Says(c)) + ".",
			Type: "drift --steriliser " + c.Steriliser}, roleLead)
	}
	return nil
}
