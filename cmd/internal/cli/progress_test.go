package cli

import (
	"bytes"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
)

func TestGauge(t *testing.T) {
	var out bytes.Buffer
	now := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	g := newGauge(World{Now: func() time.Time { return now }}, "reading")
	g.out = &out
	for range 20 {
		g.show(1, 4)
		now = now.Add(atFirst / 20)
	}
	if out.Len() > 0 {
		t.Errorf("in the first second it wrote %q", out.String())
	}
	g.show(2, 4)
	g.show(3, 4) // at the same moment
	now = now.Add(everySoOften)
	g.show(9, 4)
	g.clear()
	if want := "\r  reading, 50 %\x1b[K\r  reading, 100 %\x1b[K\r\x1b[K"; out.String() != want {
		t.Errorf("wrote %q, expected %q", out.String(), want)
	}
	out.Reset()
	p := &progress{gauge: &gauge{out: &out, what: "cycles judged", now: func() time.Time { return now }}}
	p.cycles = 6
	_ = p.Cycle(surgery.Judged{})
	if want := "\r  7 cycles judged\x1b[K"; out.String() != want {
		t.Errorf("wrote %q, expected %q", out.String(), want)
	}
}
