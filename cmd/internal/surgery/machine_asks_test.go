package surgery

import (
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// Machines, loads and people of these tests are invented.

func releasedAt(t testing.TB, r *Records, change ...func(*AtMachine)) error {
	t.Helper()
	m := AtMachine{Steriliser: "S1", Number: "12", Indicator: "passed"}
	for _, f := range change {
		f(&m)
	}
	_, err := r.ReleaseAtMachine(t.Context(), m, as("lea"), Proof{}, "", time.Time{})
	return err
}

// A slip of the hand is asked about before it is kept, and kept when the person says
// that it is so.
func TestAskedAtMachine(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	number := func(n string) func(*AtMachine) { return func(m *AtMachine) { m.Number = n } }
	load := func(n string) func(*AtMachine) { return func(m *AtMachine) { m.Load.Number = n } }
	sure := func(m *AtMachine) { m.Sure = true }
	asked := func(why string, change ...func(*AtMachine)) {
		t.Helper()
		err := releasedAt(t, r, change...)
		refusedFor(t, err, why, "--yes")
		if no, is := err.(*Refusal); !is || !no.Confirm {
			t.Errorf("%v cannot be confirmed", err)
		}
	}
	asked(`the number "banana" is no number as the others of S1`, number("banana"))
	asked("the number 52 lies far from", number("52"))
	if err := releasedAt(t, r, number("20"), load("L-17")); err != nil {
		t.Fatal(err)
	}
	asked("the load number L-17 is that of S1 · 20 on 2 Nov 2026 already", number("21"), load("L-17"))
	asked("the number 99 lies far from 20 of 2 Nov 2026, the newest of S1; the load number L-17", number("99"), load("L-17"))
	if err := releasedAt(t, r, number("99"), load("L-17"), sure); err != nil {
		t.Error(err)
	}
	sound(t, r)
}

// Where the machine's numbers began anew, no number is far from those before.
func TestNumberAfterReset(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	if _, err := r.Note(t.Context(), Noting{Duty: dutyReset, Steriliser: "S1", Text: "new board", By: as("lea")}); err != nil {
		t.Fatal(err)
	}
	if err := releasedAt(t, r, func(m *AtMachine) { m.Number = "90001" }); err != nil {
		t.Error(err)
	}
}

// A test of the day stops a load whose record has not come as it stops one whose record
// has; one that nobody ran is named.
func TestTestsAtMachine(t *testing.T) {
	r, clock := staffed(t, func(c *Configuration) { c.Routine = "england" })
	missing := func(want string) {
		t.Helper()
		got, err := r.TestsMissing(t.Context(), "S1", "")
		if err != nil || !strings.Contains(got, want) || want == "" && got != "" {
			t.Errorf("missing: %q, %v; want %q", got, err, want)
		}
	}
	missing("Not entered as passed on S1 for 2 Nov 2026: control test, steam penetration test")
	note := func(duty, outcome string) {
		t.Helper()
		clock.set(clock.now().Add(time.Minute))
		if _, err := r.Note(t.Context(), Noting{Duty: duty, Steriliser: "S1", Outcome: outcome, Text: "by the display and the strip", By: as("lea")}); err != nil {
			t.Fatal(err)
		}
	}
	note(dutyPenetration, "failed")
	missing("steam penetration test")
	refusedFor(t, releasedAt(t, r), "the steam penetration test of that day was read as failed", "--reject")
	if err := releasedAt(t, r, func(m *AtMachine) { m.Rejected, m.Number = true, "11" }); err != nil {
		t.Error(err)
	}
	note(dutyPenetration, "passed")
	note(dutyControl, "passed")
	note(dutyLeak, "passed")
	missing("")
	if err := releasedAt(t, r); err != nil {
		t.Error(err)
	}
	aDay(t, r) // its penetration test waits to be read
	refusedFor(t, releasedAt(t, r, func(m *AtMachine) { m.Number = "13" }), "waits for what its indicator showed", "holdproof note")
}

// A load that was released at the machine is found and labelled before its record comes,
// and both say that nothing was judged.
func TestAwaitedLoad(t *testing.T) {
	r, clock := staffed(t)
	if err := releasedAt(t, r, func(m *AtMachine) { m.Load = entry.Load{Number: "L-17", Packed: "tom", UseBy: "2027-05-01"} }); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"S1/12", "s1-12", "S1 · 12", "12", "L-17"} {
		a, err := r.Awaited(t.Context(), text)
		if err != nil || a == nil || a.Name != "S1 · 12" || a.By != "Lea Brook" || a.Load.Packed != "Tom Brook" {
			t.Errorf("%q: %+v, %v", text, a, err)
		}
	}
	if a, err := r.Awaited(t.Context(), "S1/13"); a != nil || err != nil {
		t.Errorf("%+v, %v", a, err)
	}
	all, err := r.Review(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if w := waitingFor(all, WaitRecord); w == nil || w.Name != "S1 · 12" || !strings.Contains(w.Why, "its record has not come") {
		t.Errorf("in the review: %+v", w)
	}
	row, err := r.awaited(t.Context(), r.book.View, "L-17")
	if err != nil {
		t.Fatal(err)
	}
	l, err := r.labelAwaited(t.Context(), r.book.View, *row, nil)
	if err != nil || l.Kind != "record not yet judged" || l.ID != "S1/12" || l.UseBy != "1 May 2027" {
		t.Errorf("%+v, %v", l, err)
	}
	labelled(t, r, "S1/12")
	clock.set(clock.now().AddDate(0, 0, 1))
	_, err = r.Labels(t.Context(), 1, "S1/12")
	refusedFor(t, err, "S1 · 12 has no label: it ran on 2 Nov 2026, and its record has not come", "import its record")
}

func waitingFor(all Review, kind string) *Waiting {
	for i, w := range all.Waiting {
		if w.Kind == kind {
			return &all.Waiting[i]
		}
	}
	return nil
}
