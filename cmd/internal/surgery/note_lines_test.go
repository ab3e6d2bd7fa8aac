package surgery

import (
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// rinse is the product of these tests, which is invented. 3 % hydrogen peroxide for
// 10 min, with which at least 4 log10 fewer germs are found: common practice, no source.
func rinse(c *Configuration) {
	three := 3.0
	c.Products = []Product{{Name: "Line rinse", ConcentrationPercent: &three, ContactMin: 10, Source: "the maker's leaflet (invented)"}}
}

func noted(t testing.TB, r *Records, n Noting) Noted {
	t.Helper()
	if n.By.Person == "" {
		n.By = as("tom")
	}
	done, err := r.Note(t.Context(), n)
	if err != nil {
		t.Fatalf("%s: %v", n.Duty, err)
	}
	return done
}

func refusedNote(t testing.TB, r *Records, n Noting, why, instead string) {
	t.Helper()
	if n.By.Person == "" {
		n.By = as("tom")
	}
	_, err := r.Note(t.Context(), n)
	refusedFor(t, err, why, instead)
}

// The contact time is held against the product's figure, both ends of the minute looked
// at; a weaker solution does not count, a stronger one does.
func TestContactTimeIsJudged(t *testing.T) {
	r, _ := staffed(t, rinse)
	for _, c := range []struct {
		product, strength string
		minutes           time.Duration
		outcome, says     string
	}{
		{"Line rinse", "3 %", 10 * time.Minute, "done", "Contact time 10 min, needs 10 min (the maker's leaflet (invented))."},
		{"line  RINSE", "3% hydrogen peroxide", 10 * time.Minute, "done", "needs 10 min"},
		{"Line rinse", "3,5 %", 12 * time.Minute, "done", "Contact time 12 min, needs 10 min"},
		{"Line rinse", "3 %", 10*time.Minute - time.Second, "failed", "Contact time 9.9 min, needs 10 min (the maker's leaflet (invented)): too short. Disinfect the lines again"},
		{"Line rinse", "3 %", 0, "failed", "too short"},
		{"Line rinse", "1.5 %", 30 * time.Minute, "failed", "Concentration 1.5 %, and the contact time of Line rinse is for 3 %"},
		{"Line rinse", "2.9 %", 5 * time.Minute, "failed", "too weak. Contact time 5 min"},
		{"Another", "as it comes", 30 * time.Minute, "done", "No figure is set for this product, so it shows nothing"},
	} {
		done := noted(t, r, Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "done", Product: c.product, Strength: c.strength, From: evening.Add(-c.minutes), To: evening, Sure: c.product == "Another"})
		kept := entryOf[entry.Note](t, r, done.Entry).Said
		if kept.Outcome != c.outcome || done.Outcome != c.outcome || !strings.Contains(strings.Join(done.Says, " "), c.says) {
			t.Errorf("%s at %s for %s: %s %q", c.product, c.strength, c.minutes, kept.Outcome, done.Says)
		}
	}
	refusedNote(t, r, Noting{Duty: dutyDisinfected, Place: "chair 1", Product: "Line rinse", Strength: "strong", From: evening.Add(-time.Hour)}, "no concentration in percent", "3 %")
	sound(t, r)
}

// Where both the product and the routine have a figure, the longer one counts.
func TestLongerContactTimeCounts(t *testing.T) {
	fifteen := 15.0
	r, _ := staffed(t, rinse, func(c *Configuration) {
		c.Routine = "england"
		c.RoutineChanges = []RoutineChange{{Duty: dutyDisinfected, Low: &fifteen, Reason: "ours"}}
	})
	n := Noting{Duty: dutyDisinfected, Place: "chair 1", Product: "Line rinse", Strength: "3 %", From: evening.Add(-12 * time.Minute), To: evening}
	if done := noted(t, r, n); done.Outcome != "failed" || !strings.Contains(done.Says[0], "needs 15 min") {
		t.Errorf("%+v", done)
	}
}

// What is still in is open, and is completed without a reason; then it is judged. The
// old entry stays, and no longer counts.
func TestTakenOut(t *testing.T) {
	r, at := staffed(t, rinse)
	first := noted(t, r, Noting{Duty: dutyDisinfected, Place: "chair 1", Product: "Line rinse", Strength: "3 %", From: evening})
	open, err := r.Pending(t.Context())
	if err != nil || len(open) != 1 || open[0].Entry != first.Entry || !open[0].Due.Equal(evening.Add(10*time.Minute)) || open[0].Where != "chair 1" {
		t.Fatalf("%+v %v", open, err)
	}
	at.set(evening.Add(8 * time.Minute))
	c := Correcting{Entry: first.Entry, Note: Noting{To: at.now()}, By: as("tom")}
	done, err := r.Correct(t.Context(), c)
	if err != nil || done.Outcome != "failed" {
		t.Fatalf("%+v %v", done, err)
	}
	if open, _ := r.Pending(t.Context()); len(open) != 0 {
		t.Errorf("still open: %+v", open)
	}
	c.Entry, c.Note.To = done.Entry, evening.Add(time.Minute)
	_, err = r.Correct(t.Context(), c)
	refusedFor(t, err, "needs a reason", "--reason")
	c.Reason, c.Note = "read the clock wrong", Noting{From: evening.Add(-2 * time.Minute)}
	done, err = r.Correct(t.Context(), c)
	if err != nil || done.Outcome != "done" {
		t.Fatalf("judged anew: %+v %v", done, err)
	}
	old, err := logbook.Find[entry.Note](t.Context(), r.book.View, logbook.Filter{Entry: first.Entry, Superseded: true})
	if err != nil || len(old) != 1 {
		t.Fatalf("the old entry is not readable: %v", err)
	}
	was, now := old[0], entryOf[entry.Note](t, r, done.Entry)
	if was.CorrectedBy == 0 || !was.Said.To.IsZero() || !now.At.Equal(was.At) || now.Entered.Equal(was.Entered) {
		t.Errorf("%+v\n%+v", was, now)
	}
	sound(t, r)
}

// A count is held against the limit of the routine, ends included, and needs a sample of
// an earlier day. Over the limit nothing but the maker and the code is named first.
func TestWaterCount(t *testing.T) {
	r, _ := staffed(t, func(c *Configuration) { c.Routine = "england" }) // HTM 01-05: 100 to 200 CFU/mL, second-hand
	x := func(v float64) *float64 { return &v }
	n := Noting{Duty: dutyCount, Place: "chair 1", Sampled: "2026-10-26"}
	for _, c := range []struct {
		count         float64
		said, outcome string
	}{{0, "", "passed"}, {200, "passed", "passed"}, {201, "", "failed"}, {12, "failed", "failed"}} {
		n.Value, n.Outcome = x(c.count), c.said
		if done := noted(t, r, n); done.Outcome != c.outcome {
			t.Errorf("%g said %q: %+v", c.count, c.said, done)
		} else if c.count == 201 && !strings.Contains(done.Says[0], "First follow the maker's instructions for these lines and the local code") {
			t.Errorf("%q", done.Says)
		}
	}
	n.Value, n.Outcome = x(201), "passed"
	refusedNote(t, r, n, "over the limit of 200 CFU/mL (HTM 01-05)", "--outcome failed")
	n.Value, n.Outcome, n.Sampled = x(12), "", ""
	refusedNote(t, r, n, "needs the day of its sample", "A flush is no count")
	n.Sampled = "2026-11-02"
	refusedNote(t, r, n, "after incubation, on a later day", "--sampled")
	n.Sampled = "last week"
	refusedNote(t, r, n, "is not a day", "")
	refusedNote(t, r, Noting{Duty: "water lines flushed", Place: "chair 1", Outcome: "done", Sampled: "2026-10-26"}, "has no day of a sample", "--sampled")

	// A sample that was sent off is open until its count comes; the day is that of the sample.
	sent := noted(t, r, Noting{Duty: dutySample, Place: "chair 2", Day: "2026-10-26"})
	if open, _ := r.Pending(t.Context()); len(open) != 1 || open[0].Result != dutyCount {
		t.Errorf("%+v", open)
	}
	done := noted(t, r, Noting{Duty: dutyCount, Place: "chair 2", Value: x(40)})
	if d := dataOf(entryOf[entry.Note](t, r, done.Entry).Said); d.Of != sent.Entry || d.Sampled != "2026-10-26" || *d.Most != 200 || d.Source != "HTM 01-05" {
		t.Errorf("%+v", d)
	}
	refusedNote(t, r, Noting{Duty: dutyCount, Of: sent.Entry, Value: x(40)}, "has its result in entry", "--correct")
	sound(t, r)
}

// Without a limit nobody but a person says what a count came to.
func TestWaterCountWithoutLimit(t *testing.T) {
	r, _ := staffed(t, func(c *Configuration) { c.Routine = "australia" })
	forty := 40.0
	n := Noting{Duty: dutyCount, Place: "chair 1", Sampled: "2026-10-26", Value: &forty}
	refusedNote(t, r, n, "no limit", "--outcome")
	n.Outcome = "failed"
	first := noted(t, r, n)
	if first.Outcome != "failed" {
		t.Errorf("%+v", first)
	}
	done, err := r.Correct(t.Context(), Correcting{Entry: first.Entry, Note: Noting{Text: "report 17"}, By: as("tom"), Reason: "more to say"})
	if err != nil || done.Outcome != "failed" {
		t.Errorf("what was said of it is lost: %+v %v", done, err)
	}
}

func TestPercent(t *testing.T) {
	for text, want := range map[string]float64{"3 %": 3, "0,5% in water": 0.5, "hydrogen peroxide 3.0 %": 3, "100%": 100} {
		if got, ok := percent(text); !ok || got != want {
			t.Errorf("%q is %g, %t", text, got, ok)
		}
	}
	for _, text := range []string{"", "3", "%", "3 % or 5 %", "1000 %", "101 %", "1:10", "1.2.3 %", "-3 %x %"} {
		if got, ok := percent(text); ok {
			t.Errorf("%q is %g", text, got)
		}
	}
}

// Each field that a form is told of is one that the note takes, and the other way round.
func TestForms(t *testing.T) {
	for _, f := range Duties() {
		d, _ := dutyNamed(f.Name)
		if f.What == "" || f.Act == "" || !slices.Contains([]string{onSteriliser, onPlace, onSite}, f.On) || f.Value && f.Unit == "" || f.Of != "" && !slices.Contains(DutyNames(), f.Of) {
			t.Errorf("%+v", f)
		}
		for _, o := range []struct {
			has bool
			n   Noting
		}{{f.Product, Noting{Product: "x"}}, {f.Control, Noting{Control: "x"}}, {f.Sampled, Noting{Sampled: "x"}}, {f.Tests, Noting{Tests: []string{"x"}}}, {f.File, Noting{File: 1}}, {f.Of != "", Noting{Of: 1}}} {
			if err := noOther(o.n, d); (err == nil) != o.has {
				t.Errorf("%s: %+v is %v", f.Name, o.n, err)
			}
		}
	}
	if _, known := DutyNamed("no duty"); known {
		t.Error("a duty that is none has a form")
	}
}
