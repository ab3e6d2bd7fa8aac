package surgery

import (
	"slices"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// What came after a record was signed stands on its next revision: before, after, who,
// when, why; a correction names what it corrects.
func TestDayChanges(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	s.note(t, Noting{Duty: "reservoir filled", Steriliser: "S1", Outcome: "done"})
	s.prepared(t, monday)
	s.clock.Time = s.clock.Add(time.Hour)
	notes := s.day(t, monday)
	if len(notes.Changes) != 0 {
		t.Fatalf("%+v", notes.Changes)
	}
	if _, err := s.Decide(t.Context(), Deciding{Do: DoQuarantine, Cycles: []string{"1045"}, By: by("lea"), Reason: "nobody else is here"}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Decide(t.Context(), Deciding{Do: DoReprocess, Cycles: []string{"1045"}, By: by("mara"), Rerun: "1046", Reason: "held too short"}); err != nil {
		t.Fatal(err)
	}
	filled := s.entryAbout(t, "reservoir filled")
	if _, err := s.Correct(t.Context(), Correcting{Entry: filled, Withdraw: true, By: by("lea"), Reason: "it was S2"}); err != nil {
		t.Fatal(err)
	}
	d := s.day(t, monday)
	want := []daily.Change{
		{What: "decision on S1 · 1045", After: "quarantined", By: "Lea Brook", Reason: "nobody else is here"},
		{What: "decision on S1 · 1045", Before: "quarantined", After: "sent for reprocessing", By: "Mara Quill", Reason: "held too short"},
		{What: "reservoir filled, S1", Before: "done", After: "withdrawn", By: "Lea Brook", Reason: "it was S2"},
	}
	if len(d.Changes) != len(want) {
		t.Fatalf("%+v", d.Changes)
	}
	for i, c := range d.Changes {
		if c.Entry <= d.Record.LogSize-int64(len(want)) || c.At != monday+"T19:00:00Z" {
			t.Errorf("%+v", c)
		}
		c.Entry, c.At = 0, ""
		if c != want[i] {
			t.Errorf("found %+v, expected %+v", c, want[i])
		}
	}
	if d.Record.Revision != 2 || d.Record.Reason != "3 later entries" {
		t.Errorf("%+v", d.Record)
	}
}

// A cycle without a number and one of a machine that nobody configured have a place.
func TestDayOddCycles(t *testing.T) {
	s := signedSite(t)
	imported(t, s.Records, exported(t, t.TempDir(), "odd.csv",
		cycleAt("", "08:00:00"), cycleAt("7", "09:00:00", func(c *fixtures.Cycle) { c.Steriliser = "Nobody's" })))
	d := s.day(t, monday)
	if len(d.Cycles) != 2 {
		t.Fatalf("%+v", d.Cycles)
	}
	if got := whatMissing(d); !slices.Contains(got, "S1: what became of the cycle of 08:00") {
		t.Errorf("missing %q", got)
	}
}

// entryAbout is the number of the newest note of a duty.
func (s *site) entryAbout(t testing.TB, duty string) int64 {
	t.Helper()
	rows, err := logbook.Find[entry.Note](t.Context(), s.book.View, logbook.Filter{Topic: duty, Newest: true, Limit: 1})
	if err != nil || len(rows) != 1 {
		t.Fatalf("%d notes, %v", len(rows), err)
	}
	return rows[0].Number
}

// A correction of the out time shows both times, not twice the same word; a span without
// an end has no question mark.
func TestCorrectedTimesAreTold(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	at := s.clock.Time
	s.note(t, Noting{Duty: dutyDisinfected, Place: "chair 1", Product: "line rinse", Strength: "3 %", From: at.Add(-20 * time.Minute), To: at.Add(-10 * time.Minute)})
	s.prepared(t, monday)
	s.clock.Time = s.clock.Add(time.Hour)
	if _, err := s.Correct(t.Context(), Correcting{Entry: s.entryAbout(t, dutyDisinfected), Note: Noting{To: at.Add(-5 * time.Minute)}, By: by("lea"), Reason: "misread"}); err != nil {
		t.Fatal(err)
	}
	d := s.day(t, monday)
	if len(d.Changes) != 1 {
		t.Fatalf("%+v", d.Changes)
	}
	const before, after = "done; line rinse; 3 %; from 2 Nov 17:40 to 2 Nov 17:50", "done; line rinse; 3 %; from 2 Nov 17:40 to 2 Nov 17:55"
	if c := d.Changes[0]; c.Before != before || c.After != after {
		t.Errorf("found %q and %q", c.Before, c.After)
	}
	b := &dayBuilder{r: s.Records}
	if got := b.span(entry.Note{From: entry.At(at)}); got != "from 2 Nov 18:00" {
		t.Errorf("without an end: %q", got)
	}
	for word, want := range map[string]string{"import": "an import", "verdict": "a verdict"} {
		if got := withArticle(word); got != want {
			t.Errorf("%q", got)
		}
	}
}
