package surgery

import (
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// BenchmarkReplies answers the twelve questions among 20,000 cycles and the notes of ten
// years: a month day by day, and all of it month by month.
func BenchmarkReplies(b *testing.B) {
	r, last := tenYears(b, func(i int, v *entry.Verdict) {
		v.Settled = true
		switch i % 8 { // the tests of the morning
		case 0:
			v.Kind = "steam penetration test"
		case 1:
			v.Kind = "control test"
		}
	})
	notesOfYears(b, r, last)
	end, err := time.Parse(time.DateOnly, last)
	if err != nil {
		b.Fatal(err)
	}
	for _, p := range []struct{ name, from string }{
		{"day", last}, {"month", end.AddDate(0, -1, 0).Format(time.DateOnly)}, {"ten years", "2016-11-02"},
	} {
		b.Run(p.name, func(b *testing.B) {
			for b.Loop() {
				if all, err := r.Replies(b.Context(), p.from, last, ""); err != nil || len(all) != 12 {
					b.Fatal(all, err)
				}
			}
		})
	}
}

// notesOfYears adds what two chairs owe on every day that has cycles: a flush in the
// morning and the disinfection in the evening.
func notesOfYears(b *testing.B, r *Records, last string) {
	var drafts []entry.Draft
	for day := "2016-11-02"; day <= last; day = back(day, -1) {
		for _, chair := range demoChairs {
			for _, duty := range []string{dutyFlushed, dutyDisinfected, "suction disinfected"} {
				drafts = append(drafts, entry.Draft{At: evening, Body: entry.Note{Duty: duty, Day: day, Place: chair, Outcome: "done", Data: []byte(`{"product":"rinse","concentration":"3 %","contact_min":10,"file_entry":null,"explains":[]}`)}})
			}
		}
	}
	if err := r.write(b.Context(), func(w *logbook.Batch) error { return w.AddAll(drafts) }); err != nil {
		b.Fatal(err)
	}
}
