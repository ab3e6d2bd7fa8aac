package surgery

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// Loads and people of these tests are invented.

func labelled(t testing.TB, r *Records, number string) []byte {
	t.Helper()
	b, err := r.Labels(t.Context(), 1, number)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func atTheMachine(t testing.TB, r *Records, number string, change ...func(*AtMachine)) {
	t.Helper()
	eight := int64(8)
	m := AtMachine{Steriliser: "S1", Number: number, Day: "2026-11-02", Indicator: "passed", Load: entry.Load{Number: "L-" + number, Contents: "examination sets", Count: &eight, Packed: "tom", UseBy: "2027-05-01"}}
	for _, f := range change {
		f(&m)
	}
	if _, err := r.ReleaseAtMachine(t.Context(), m, as("lea"), Proof{}, "", time.Time{}); err != nil {
		t.Fatal(err)
	}
}

// A label must not make a load look fit: each way in which one is not is refused, with
// why and what to do.
func TestNoLabelForAnUnfitLoad(t *testing.T) {
	r, clock := staffed(t)
	aDay(t, r)
	no := func(number, why, instead string) {
		t.Helper()
		_, err := r.Labels(t.Context(), 1, number)
		refusedFor(t, err, why, instead)
		c, err := r.Cycle(t.Context(), number)
		if err != nil {
			t.Fatal(err)
		}
		if r.CanLabel(t.Context(), c.Key) == nil {
			t.Errorf("%s is said to have a label", number)
		}
	}
	no(short, "its record is failed", "Repack it")
	no(cut, "its record is not proven", "Do not use this load")
	no(tight, "its record is borderline", "Keep this load aside")
	no(helix, "is a steam penetration test and no load", "Name a load")
	no(good, "nobody has released it", "holdproof decide S1/8 --release")
	c, err := r.Cycle(t.Context(), good)
	if err != nil {
		t.Fatal(err)
	}
	c.Release = "released" // on the display, before the record came
	refusedFor(t, r.fitForLabel(t.Context(), r.book.View, c), "the steam penetration test S1 · 7 of that day waits", "Enter what the test showed")
	readTest(t, r, "passed")
	atTheMachine(t, r, good)
	labelled(t, r, good)
	didDecide(t, r, "lea", DoQuarantine, other)
	no(other, "it was put in quarantine", "Label its new run")
	if _, err := r.Labels(t.Context(), 1, good, short); err == nil {
		t.Error("one refusal did not refuse all")
	}
	for _, copies := range []int{0, -1, 201} {
		if _, err := r.Labels(t.Context(), copies, good); err == nil {
			t.Errorf("%d copies are drawn", copies)
		}
	}
	clock.set(time.Date(2027, 5, 1, 9, 0, 0, 0, time.UTC))
	labelled(t, r, good)
	clock.set(time.Date(2027, 5, 2, 9, 0, 0, 0, time.UTC))
	no(good, "its use-by date 1 May 2027 has passed", "Pack it anew")
}

// A load that is called back has no label, and none after the recall was closed.
func TestNoLabelForARecalledLoad(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	atTheMachine(t, r, other)
	labelled(t, r, other)
	c, err := r.Cycle(t.Context(), other)
	if err != nil {
		t.Fatal(err)
	}
	for act, why := range map[string]string{"opened": "it is being called back", "closed": "it was called back"} {
		c.Recall = act
		refusedFor(t, r.fitForLabel(t.Context(), r.book.View, c), why, "")
	}
	c.Recall, c.Release = "", "rejected"
	refusedFor(t, r.fitForLabel(t.Context(), r.book.View, c), "it was rejected at the machine", "new run")
	c.Release, c.Configured = "released", false
	refusedFor(t, r.fitForLabel(t.Context(), r.book.View, c), "names no steriliser of the settings", "rejudge")
}

// A borderline load that two people released has a label; the words are those that were
// entered; the same logbook gives the same bytes at any time.
func TestLabelOfReleasedLoads(t *testing.T) {
	r, clock := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	didDecide(t, r, "lea", DoRelease, tight, func(d *Deciding) { d.Reason, d.Second = "looked at the curve", as("mara") })
	labelled(t, r, tight)
	atTheMachine(t, r, good)
	c, err := r.Cycle(t.Context(), good)
	if err != nil {
		t.Fatal(err)
	}
	people, err := names(t.Context(), r.book.View)
	if err != nil {
		t.Fatal(err)
	}
	l, at, err := r.label(t.Context(), r.book.View, c, people)
	if err != nil {
		t.Fatal(err)
	}
	if l.ID != c.Key || l.Name != "S1 · 8" || l.Began != "2 Nov 2026 09:00" || l.UseBy != "1 May 2027" || l.Packed != "Tom Brook" || l.Released != "Lea Brook" ||
		l.Contents != "examination sets, 8 packs" || l.Surgery != "Tern Quay Surgery" || at.IsZero() {
		t.Errorf("%+v", l)
	}
	one := labelled(t, r, good)
	clock.set(evening.AddDate(0, 1, 0))
	if !bytes.Equal(one, labelled(t, r, good)) {
		t.Error("another day gives another label")
	}
	if two, err := r.Labels(t.Context(), 2, good); err != nil || bytes.Equal(one, two) {
		t.Errorf("two copies are one, %v", err)
	}
}

// From whatever is in hand to the cycle: the id as scanned, in small letters or with
// blanks, its number, with the machine, and the number of the load.
func TestTrace(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	atTheMachine(t, r, good)
	for _, text := range []string{"S1-20261102-090000", " s1-20261102-090000\n", "8", "S1/8", "S1 · 8", "S1-8", "s1-8", "L-8"} {
		got, err := r.Trace(t.Context(), text)
		if err != nil || got.Key != "S1-20261102-090000" {
			t.Errorf("%q leads to %q, %v", text, got.Key, err)
			continue
		}
		if got.Load.Contents != "examination sets" || got.Load.Packed != "Tom Brook" || got.Release != "released" || len(got.Done) < 2 || got.Result != Conforms || len(got.Sources) != 1 || len(got.Records) != 0 {
			t.Errorf("%q: %+v", text, got)
		}
	}
	for _, text := range []string{"", " ", "S1-20261102-999999", "L-", "L-9", "none such"} {
		if got, err := r.Trace(t.Context(), text); err == nil {
			t.Errorf("%q leads to %s", text, got.Key)
		} else if !strings.Contains(err.Error(), "no cycle") {
			t.Errorf("%q: %v", text, err)
		}
	}
}
