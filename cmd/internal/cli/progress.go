package cli

import "holdproof/cmd/internal/surgery"

// progress tells a person who waits at a terminal how many cycles were judged.
type progress struct {
	gauge  *gauge
	cycles int
}

func newProgress(w World) *progress { return &progress{gauge: newGauge(w, "cycles judged")} }

func (p *progress) Cycle(surgery.Judged) error {
	p.cycles++
	p.gauge.count(p.cycles)
	return nil
}

func (p *progress) File(surgery.FileRead) error { return nil }
