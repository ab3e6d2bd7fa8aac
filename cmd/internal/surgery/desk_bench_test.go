package surgery

import (
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// BenchmarkShown is what the pages of the desk ask, among 20,000 cycles of which those
// of the last day wait.
func BenchmarkShown(b *testing.B) {
	day := "2020-01-31"
	r, last := tenYears(b, func(i int, v *entry.Verdict) { v.Settled = v.Day != day })
	month, err := time.Parse(time.DateOnly, last)
	if err != nil {
		b.Fatal(err)
	}
	var key string
	if list, err := r.ShownCycles(b.Context(), ShownQuery{From: last, To: last}); err != nil || len(list) == 0 {
		b.Fatal(list, err)
	} else {
		key = list[0].Key
	}
	for _, ask := range []struct {
		name string
		do   func() error
	}{
		{"day", func() error { _, err := r.DayShown(b.Context(), last); return err }},
		{"review", func() error { _, err := r.Review(b.Context()); return err }},
		{"month", func() error { _, err := r.Month(b.Context(), month); return err }},
		{"find", func() error {
			_, err := r.ShownCycles(b.Context(), ShownQuery{Steriliser: "S1", Newest: true, Limit: 101})
			return err
		}},
		{"failed in a month", func() error {
			_, err := r.ShownCycles(b.Context(), ShownQuery{Outcome: "failed", From: last[:8] + "01", Newest: true, Limit: 101})
			return err
		}},
		{"waiting", func() error {
			_, err := r.ShownCycles(b.Context(), ShownQuery{Waiting: true, Newest: true, Limit: 101})
			return err
		}},
		{"cycle", func() error { _, err := r.ShownCycle(b.Context(), key); return err }},
		{"figure", func() error { _, err := r.Drawn(b.Context(), key); return err }},
		{"people", func() error { _, err := r.People(b.Context()); return err }},
		{"windows", func() error { _, err := r.Windows(b.Context(), "S1", r.Now()); return err }},
	} {
		b.Run(ask.name, func(b *testing.B) {
			for b.Loop() {
				if err := ask.do(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
