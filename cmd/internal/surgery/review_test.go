package surgery

import (
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/logbook/entry"
)

// waiting are the kinds and names of what waits, in order.
func waiting(t testing.TB, r *Records) []string {
	t.Helper()
	all, err := r.Review(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, w := range all.Waiting {
		if w.Kind == "" || w.Name == "" || w.Instruction == "" || len(w.For) == 0 || !slices.Contains(waitOrder, w.Kind) {
			t.Errorf("%+v", w)
		}
		out = append(out, w.Kind+" "+w.Name)
	}
	return out
}

func same(t testing.TB, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("waits:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// The day as the review tells it, from its import to the last signature that is missing.
func TestReview(t *testing.T) {
	r, at := staffed(t, func(c *Configuration) { c.Routine = "england" })
	same(t, waiting(t, r))
	aDay(t, r)
	imported(t, r, exported(t, t.TempDir(), "gap.csv", cycleAt("15", "15:00:00")), wrote(t, t.TempDir(), "torn.csv", "nothing to read\n"))
	same(t, waiting(t, r), "load S1 · 9", "load S1 · 11", "borderline S1 · 10", "indicator S1 · 7", "gap S1",
		"test-before-load S1", "file torn.csv", "release 2 Nov 2026")
	readTest(t, r, "passed")
	didDecide(t, r, "lea", DoPropose, tight, func(d *Deciding) { d.Reason = "curve looked at" })
	didDecide(t, r, "tom", DoUsed, cut)
	didDecide(t, r, "tom", DoReprocess, short)
	_, err := r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: "15", Text: "x", By: as("lea")})
	refusedFor(t, err, "2 things about S1 · 15 wait", "number-gap or test-before-load")
	_, err = r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: "15", Explains: "overlap", Text: "x", By: as("lea")})
	refusedFor(t, err, "has no overlap to explain", "")
	_, err = r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: "15", Explains: "number-gap", Text: "x", By: as("tom")})
	refusedFor(t, err, "tom may not explain", "release or lead")
	if _, err := r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: "15", Explains: "number-gap", Text: "13 and 14 were run without a recorder", By: as("lea")}); err != nil {
		t.Fatal(err)
	}
	all, _ := r.Review(t.Context())
	for _, w := range all.Waiting {
		if w.Kind != WaitFile {
			continue
		}
		fields := strings.Fields(w.Type)
		n := int64(0)
		for _, d := range fields[slices.Index(fields, "--entry")+1] {
			n = n*10 + int64(d-'0')
		}
		if _, err := r.Note(t.Context(), Noting{Duty: dutyFile, File: n, Text: "exported again", By: as("lea")}); err != nil {
			t.Fatal(err)
		}
	}
	// The control test that England owes was not run; the penetration test is passed.
	same(t, waiting(t, r), "recall S1 · 11", "borderline S1 · 10", "test-before-load S1", "re-run S1 · 9", "release 2 Nov 2026")
	ready, err := r.Conforming(t.Context(), "2026-11-02")
	if err != nil || len(ready.Loads) != 3 {
		t.Fatalf("%+v, %v", ready, err)
	}
	for _, l := range ready.Loads {
		didDecide(t, r, "lea", DoRelease, l.Key)
	}
	didDecide(t, r, "mara", DoRelease, tight, func(d *Deciding) { d.Reason = "second look" })
	didDecide(t, r, "tom", DoReprocess, short, func(d *Deciding) { d.Rerun = other })
	didDecide(t, r, "mara", DoClose, cut, func(d *Deciding) { d.Packs = []entry.Pack{{Pack: "P-1", Became: "found unopened"}} })
	if _, err := r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: good, Explains: "test-before-load", Text: "the lead looked at all loads of the morning", By: as("mara")}); err != nil {
		t.Fatal(err)
	}
	same(t, waiting(t, r))
	at.set(evening.AddDate(0, 0, 1))
	same(t, waiting(t, r), "signature 2 Nov 2026")
}

// A release at the machine whose record has not come is listed at once, and the day with
// it the day after.
func TestReviewAsksForRecords(t *testing.T) {
	r, at := staffed(t)
	if _, err := r.ReleaseAtMachine(t.Context(), AtMachine{Steriliser: "S1", Number: "8"}, as("lea"), Proof{}, "", time.Time{}); err != nil {
		t.Fatal(err)
	}
	same(t, waiting(t, r), "record S1 · 8")
	at.set(evening.AddDate(0, 0, 1))
	same(t, waiting(t, r), "record S1 · 8", "signature 2 Nov 2026")
}

// A failed test waits until one of its kind has passed on that machine.
func TestReviewOfTests(t *testing.T) {
	r, _ := staffed(t)
	dir := t.TempDir()
	imported(t, r, exported(t, dir, "a.csv", cycleAt("7", "08:00:00", helixFor(100))))
	same(t, waiting(t, r), "test S1 · 7")
	imported(t, r, exported(t, dir, "b.csv", cycleAt("8", "09:00:00", helixFor(212))))
	same(t, waiting(t, r), "test S1 · 7", "indicator S1 · 8")
	readTest8 := Noting{Duty: dutyPenetration, Cycle: "8", Outcome: "passed", By: as("tom")}
	if _, err := r.Note(t.Context(), readTest8); err != nil {
		t.Fatal(err)
	}
	same(t, waiting(t, r))
	imported(t, r, exported(t, dir, "c.csv", cycleAt("9", "10:00:00", func(c *fixtures.Cycle) { c.Steriliser = "TQ-0999" })))
	if got := waiting(t, r); !slices.Contains(got, "unassigned TQ-0999 · 9") {
		t.Errorf("waits: %v", got)
	}
}

// later moves a cycle of the ten years so that they end in November 2026.
func later(v *entry.Verdict) {
	const days = 2401
	v.Start, v.End = entry.At(v.Start.AddDate(0, 0, days)), entry.At(v.End.AddDate(0, 0, days))
	v.Day = v.Start.Format(time.DateOnly)
	v.Cycle = v.Steriliser + v.Start.Format("-20060102-150405")
}

// BenchmarkReview answers what waits among 20,000 kept cycles: of them either the
// loads of one day, or all.
func BenchmarkReview(b *testing.B) {
	for name, settled := range map[string]func(i int, v *entry.Verdict){
		"one-day-waits": func(i int, v *entry.Verdict) { later(v); v.Settled = i < 20_000-16 },
		"all-wait":      func(i int, v *entry.Verdict) { later(v) },
	} {
		r, _ := tenYears(b, settled)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := r.Review(b.Context()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
