package surgery

import (
	"strings"
	"testing"
	"time"
)

// Machines, chairs and products of these tests are invented.

func asksSite(t testing.TB) (*Records, *setClock) {
	return staffed(t, func(c *Configuration) {
		c.Routine, c.Chairs = "england", []string{"chair 1"}
		three := 3.0
		c.Products = []Product{{Name: "line rinse", ConcentrationPercent: &three, ContactMin: 10, Source: "invented"}}
	})
}

// What is rather a slip of the hand is asked about once, and kept when it is so.
func TestNoteAsks(t *testing.T) {
	r, _ := asksSite(t)
	x := func(v float64) *float64 { return &v }
	keep := func(n Noting) error {
		n.By = as("lea")
		_, err := r.Note(t.Context(), n)
		return err
	}
	must := func(n Noting) {
		t.Helper()
		if err := keep(n); err != nil {
			t.Fatal(err)
		}
	}
	must(Noting{Duty: dutyCounter, Steriliser: "S1", Value: x(1050)})
	must(Noting{Duty: dutyClock, Steriliser: "S1", Value: x(-3600)})
	must(Noting{Duty: "pressure vessel examined", Steriliser: "S1", Day: "2025-02-03", Outcome: "passed"})
	for _, c := range []struct {
		n   Noting
		why string
	}{
		{Noting{Duty: dutyClock, Steriliser: "S1", Value: x(9500)}, `9500 s is much for "clock checked"`},
		{Noting{Duty: "water lines rinsed", Place: "chair 1", Outcome: "done", Value: x(2500)}, "2500 s is much"},
		{Noting{Duty: "water lines flushed", Place: "chair 1", Outcome: "done", Value: x(120)}, "120 min is much"},
		{Noting{Duty: dutyCounter, Steriliser: "S1", Value: x(1030)}, "the counter of S1 cannot go back: 1030 after 1050 of 2 Nov 2026"},
		{Noting{Duty: dutyCounter, Steriliser: "S1", Value: x(1071)}, "1071 lies far from the counter of S1"},
		{Noting{Duty: "reservoir filled", Steriliser: "S1", Day: "2019-11-24", Outcome: "done"}, "24 Nov 2019 lies years back"},
		{Noting{Duty: "reservoir filled", Steriliser: "S1", Day: "2026-09-24", Outcome: "done"}, "24 Sep 2026 lies before this logbook, which began on 1 Nov 2026"},
		{Noting{Duty: dutyDisinfected, Place: "chair 1", Product: "line rins", Strength: "3 %", From: evening.Add(-time.Hour)}, `"line rins" is no product of the settings`},
	} {
		err := keep(c.n)
		refusedFor(t, err, c.why, "--yes")
		if no, is := err.(*Refusal); !is || !no.Confirm {
			t.Errorf("%s: %v cannot be confirmed", c.why, err)
		}
		c.n.Sure = true
		must(c.n)
	}
	must(Noting{Duty: dutyReset, Steriliser: "S1", Text: "new board"})
	must(Noting{Duty: dutyCounter, Steriliser: "S1", Value: x(5)})
	sound(t, r)
}

// A spore test goes into incubation after its cycle.
func TestSporesBeforeTheirCycle(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	two := 48.0
	_, err := r.Note(t.Context(), Noting{Duty: dutySporeIn, Cycle: good, Value: &two, From: evening.AddDate(0, 0, -1), By: as("lea")})
	refusedFor(t, err, "before S1 · 8 began", "--in")
}

// A figure that does not reach what the routine asks for is said at once.
func TestShortIsSaid(t *testing.T) {
	r, _ := asksSite(t)
	says := func(v float64) string {
		t.Helper()
		out, err := r.Note(t.Context(), Noting{Duty: "water lines flushed", Place: "chair 1", Outcome: "done", Value: &v, By: as("lea")})
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(out.Says, " ")
	}
	if got := says(0.5); !strings.Contains(got, "0.5 min, needs 2 min (") || !strings.Contains(got, "does not count") {
		t.Errorf("says %q", got)
	}
	if got := says(2); got != "" {
		t.Errorf("says %q", got)
	}
}

// A product of the settings stands on the sheet before anybody entered one.
func TestSheetOffersProduct(t *testing.T) {
	r, _ := asksSite(t)
	parts, err := r.Sheet(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	seen := false
	for _, p := range parts {
		for _, d := range p.Duties {
			if d.Form.Name == dutyDisinfected {
				seen = true
				if d.Product != "line rinse" || d.Strength != "3 %" || strings.Join(d.Products, ",") != "line rinse" {
					t.Errorf("offers %q, %q of %q", d.Product, d.Strength, d.Products)
				}
			}
		}
	}
	if !seen {
		t.Error("the duty is not on the sheet")
	}
}
