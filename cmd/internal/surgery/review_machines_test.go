package surgery

import (
	"strings"
	"testing"
	"time"
)

// machineWaits is the only line of a kind.
func machineWaits(t *testing.T, r *Records, kind string) Waiting {
	t.Helper()
	all, err := r.Review(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var out []Waiting
	for _, w := range all.Waiting {
		if w.Kind == kind {
			out = append(out, w)
		}
	}
	if len(out) != 1 {
		t.Fatalf("%d lines of %s: %+v", len(out), kind, all.Waiting)
	}
	return out[0]
}

// A machine that is out of service waits with the tests that keep it out; when they have
// passed, with the command that brings it back; once it is back, not at all.
func TestReviewNamesWhatKeepsAMachineOut(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	noted(t, r, Noting{Duty: dutyPenetration, Outcome: "failed", At: evening.Add(-2 * time.Hour)})
	noted(t, r, Noting{Duty: dutyOutOfUse, Text: "pale strip", From: evening.Add(-time.Hour)})
	w := machineWaits(t, r, WaitOutage)
	if w.Name != "S1" || w.Type != "" || !strings.Contains(w.Instruction, "needs: steam penetration test.") ||
		w.Why != "Out of service since 2 Nov 2026 17:00: pale strip (entry 18). Its steam penetration test has not passed since it failed on 2 Nov 2026 08:00." {
		t.Errorf("%+v", w)
	}
	noted(t, r, Noting{Duty: dutyPenetration, Outcome: "passed", Text: "run again, read on the strip, the recorder was off"})
	if w = machineWaits(t, r, WaitOutage); !strings.Contains(w.Instruction, "No test keeps it out") || !strings.HasPrefix(w.Type, `note --duty "back in service" --steriliser S1`) {
		t.Errorf("%+v", w)
	}
	noted(t, r, Noting{Duty: dutyBackInUse, Text: "in order", By: as("mara")})
	for _, line := range waiting(t, r) {
		if strings.HasPrefix(line, WaitOutage) {
			t.Errorf("it is back, and waits: %s", line)
		}
	}
}

// Settings without a steriliser are a thing to do, not a quiet day.
func TestReviewAsksForASteriliser(t *testing.T) {
	r, _ := staffed(t, func(c *Configuration) { c.Sterilisers = nil })
	if w := machineWaits(t, r, WaitSetup); !strings.Contains(w.Instruction, "under sterilisers in holdproof.yaml") || w.For[0] != roleLead {
		t.Errorf("%+v", w)
	}
}

// Two tests that the same loads ran before are one line: one entry explains both.
func TestReviewJoinsWhatOneEntryExplains(t *testing.T) {
	r, _ := staffed(t, func(c *Configuration) { c.Routine = "england" })
	aDay(t, r)
	w := machineWaits(t, r, WaitEarly)
	if strings.Count(w.Why, "The first load on S1") != 2 {
		t.Errorf("%q", w.Why)
	}
	if _, err := r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: w.Cycle, Explains: "test-before-load", Text: "the lead looked at all of them", By: as("mara")}); err != nil {
		t.Fatal(err)
	}
	for _, line := range waiting(t, r) {
		if strings.HasPrefix(line, WaitEarly) {
			t.Errorf("explained, and waits: %s", line)
		}
	}
}
