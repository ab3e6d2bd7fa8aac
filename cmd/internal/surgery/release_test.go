package surgery

import (
	"strings"
	"testing"

	"holdproof/fixtures"
	"holdproof/report/logbook/entry"
)

func helixFor(seconds float64) func(*fixtures.Cycle) {
	return func(c *fixtures.Cycle) { c.Label, c.Hold = "Helix", seconds }
}

// A release at the machine waits for its record; one that does not conform opens a
// recall, one that conforms settles the load.
func TestReleaseBeforeRecord(t *testing.T) {
	r, _ := staffed(t)
	yes, no, three := true, false, int64(3)
	m := AtMachine{Steriliser: "S1", Number: short, Indicator: "passed", Dry: &yes, Sealed: &yes, Sure: true, // one load number for all of them
		Load: entry.Load{Number: "L-9", Count: &three, Wrapping: "wrapped", Loaded: "tom"}}
	try := func(who string, change func(*AtMachine)) error {
		x := m
		if change != nil {
			change(&x)
		}
		_, err := r.ReleaseAtMachine(t.Context(), x, as(who), Proof{}, "", evening)
		return err
	}
	refusedFor(t, try("lea", func(m *AtMachine) { m.Steriliser = "S7" }), `no steriliser "S7"`, "S1")
	refusedFor(t, try("lea", func(m *AtMachine) { m.Number = "" }), "number of the cycle is missing", "--number")
	refusedFor(t, try("lea", func(m *AtMachine) { m.Day = "2026-11-03" }), "lies ahead", "")
	for _, wet := range []func(*AtMachine){func(m *AtMachine) { m.Dry = &no }, func(m *AtMachine) { m.Sealed = &no }, func(m *AtMachine) { m.Indicator = "failed" }} {
		refusedFor(t, try("lea", wet), "not released", "--reject")
	}
	refusedFor(t, try("tom", nil), "the role release or lead is needed", "")
	for _, number := range []string{good, short} {
		if err := try("lea", func(m *AtMachine) { m.Number = number }); err != nil {
			t.Fatal(err)
		}
	}
	refusedFor(t, try("mara", nil), "is entered as released by lea already", "--withdraw")
	if err := try("tom", func(m *AtMachine) { m.Number, m.Rejected, m.Dry = other, true, &no }); err != nil {
		t.Fatal(err)
	}
	aDay(t, r)
	for number, want := range map[string]struct {
		recall  string
		settled bool
	}{good: {"", true}, short: {"opened", false}, other: {"", false}} {
		c, _ := r.Cycle(t.Context(), number)
		if c.Recall != want.recall || c.Settled != want.settled || c.Release == "" {
			t.Errorf("%s: recall %q, settled %t, %q", number, c.Recall, c.Settled, c.Release)
		}
	}
	readTest(t, r, "passed")
	_, err := r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{other}, By: as("lea")})
	refusedFor(t, err, "was rejected at the machine (Tom Brook", "--reprocess")
	_, err = r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{short}, By: as("lea")})
	refusedFor(t, err, "is failed", "")
	sound(t, r)
}

// With its record there, a release at the machine is a decision on it.
func TestReleaseAfterRecord(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	m := AtMachine{Steriliser: "S1", Number: good, Indicator: "passed"}
	done, err := r.ReleaseAtMachine(t.Context(), m, as("lea"), Proof{}, "", evening)
	if err != nil {
		t.Fatal(err)
	}
	c, _ := r.Cycle(t.Context(), good)
	if c.Release != "released" || c.Decision != "release" || c.DecisionEntry != done.Entry || !c.Settled {
		t.Errorf("%+v", c)
	}
	m.Number = short
	_, err = r.ReleaseAtMachine(t.Context(), m, as("lea"), Proof{}, "", evening)
	refusedFor(t, err, "is failed", "--already-used")
}

// Two cycles of one number stop a release until somebody said which is which.
func TestRepeatStopsRelease(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	imported(t, r, exported(t, t.TempDir(), "b.csv", cycleAt(good, "14:00:00")))
	first, err := r.Cycle(t.Context(), "S1-20261102-090000")
	if err != nil {
		t.Fatal(err)
	}
	d := Deciding{Do: DoRelease, Cycles: []string{first.Key}, By: as("lea")}
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "is not released", dutyExplained+"\" --cycle "+first.Key+" --explains number-repeat --text")
	d.Cycles = []string{good}
	if _, err := r.Decide(t.Context(), d); err == nil || !strings.Contains(err.Error(), "2 cycles are called") {
		t.Errorf("by a number that two have: %v", err)
	}
	if _, err := r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: first.Key, Text: "the recorder printed 8 twice after a power cut", By: as("lea")}); err != nil {
		t.Fatal(err)
	}
	d.Cycles = []string{first.Key}
	if _, err := r.Decide(t.Context(), d); err != nil {
		t.Error(err)
	}
	// A third one is not explained by that.
	imported(t, r, exported(t, t.TempDir(), "c.csv", cycleAt(good, "15:00:00")))
	d.Cycles = []string{"S1-20261102-140000"}
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "is not released", "")
}

func TestStrangerIsNotReleased(t *testing.T) {
	r, _ := staffed(t)
	imported(t, r, exported(t, t.TempDir(), "x.csv", cycleAt("1", "09:00:00", func(c *fixtures.Cycle) { c.Steriliser = "TQ-0999" })))
	_, err := r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{"1"}, By: as("lea")})
	refusedFor(t, err, "names no steriliser of the settings", "sterilisers")
	if got := r.Remark(AtMachine{Steriliser: "S1", Load: entry.Load{Wrapping: "wrapped"}}); got != "" {
		t.Errorf("type B: %s", got)
	}
	n, _ := staffed(t, func(c *Configuration) { c.Sterilisers[0].Type = "N" })
	if got := n.Remark(AtMachine{Steriliser: "S1", Load: entry.Load{Wrapping: "hollow"}}); !strings.Contains(got, "type N") {
		t.Errorf("type N: %q", got)
	}
}
