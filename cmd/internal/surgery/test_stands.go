package surgery

import (
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// testStand is how a test with a record stands.
type testStand struct {
	state  string    // passed, failed, open
	at     time.Time // when its result stood, zero while it is open
	by     string    // id of who read it, "" if nobody did
	detail string
}

// testStands says how a test stands by what its curve shows and what a person read, nil if
// nobody did. A curve alone never passes a steam penetration test.
func (r *Records) testStands(c logbook.Cycle, read *logbook.Row[entry.Note]) testStand {
	t := testStand{state: "open"}
	if read != nil {
		t.by, t.detail = read.By, read.Said.Text
	}
	switch {
	case read != nil && read.Said.Outcome == "failed":
		t.state, t.at = "failed", read.At
	case c.Outcome == Failed.String():
		t.state, t.at = "failed", c.End.Time
	case c.Outcome == NotProven.String():
		t.detail = join(t.detail, "its record is not proven")
	case read != nil && read.Said.Outcome == "passed":
		t.state, t.at = "passed", read.At
	case c.Outcome == Borderline.String():
		t.detail = join(t.detail, "its record is borderline and waits for the lead")
	case c.Kind == cycle.PenetrationTest.String():
		t.detail = "what its indicator showed was not entered"
	default:
		t.state, t.at = "passed", c.End.Time
	}
	return t
}

// readingsOf are the notes that read a test, by its key: of several the one of the latest
// time, whatever the order in which they were entered.
func readingsOf(notes []logbook.Row[entry.Note]) map[string]*logbook.Row[entry.Note] {
	out := map[string]*logbook.Row[entry.Note]{}
	for i, n := range notes {
		duty, _ := dutyNamed(n.Said.Duty)
		if duty.Kind == "" || n.Cycle == "" {
			continue
		}
		if was := out[n.Cycle]; was == nil || speaksAfter(n, *was) {
			out[n.Cycle] = &notes[i]
		}
	}
	return out
}

// speaksAfter tells whether a note speaks after another; of two of one moment that which failed.
func speaksAfter(a, b logbook.Row[entry.Note]) bool {
	if !a.At.Equal(b.At) {
		return a.At.After(b.At)
	}
	return a.Said.Outcome == "failed" || b.Said.Outcome != "failed" && a.Number > b.Number
}
