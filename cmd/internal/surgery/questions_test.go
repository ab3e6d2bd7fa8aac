package surgery

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// laid keeps verdicts that all say what that of one cycle says, but for what a row says
// of its own: machine, number, local time, kind, outcome, settled. All of it is invented.
type laid struct {
	machine, number, at, kind, outcome string
	settled                            bool
}

func keptAs(t *testing.T, r *Records, rows []laid) {
	t.Helper()
	out, _ := imported(t, r, exported(t, t.TempDir(), "a.csv", cycleAt("1", "03:00:00")))
	c, err := r.Cycle(t.Context(), out.arrivals[0].Key)
	if err != nil {
		t.Fatal(err)
	}
	var drafts []entry.Draft
	for _, l := range rows {
		start, err := time.ParseInLocation("2006-01-02 15:04", l.at, r.zone)
		if err != nil {
			t.Fatal(err)
		}
		v := *c.Verdict
		v.Steriliser, v.Number, v.Kind, v.Outcome, v.Settled, v.Day = l.machine, l.number, l.kind, l.outcome, l.settled, l.at[:10]
		v.Start, v.End = entry.At(start), entry.At(start.Add(30*time.Minute))
		v.Cycle = v.Steriliser + start.Format("-20060102-150405")
		v.Digest = entry.Sum([]byte(v.Cycle))
		drafts = append(drafts, entry.Draft{At: evening, Body: v})
	}
	if err := r.write(t.Context(), func(b *logbook.Batch) error { return b.AddAll(drafts) }); err != nil {
		t.Fatal(err)
	}
}

// The window runs from the last good test of the kind up to the first bad one, however many
// cycles lie between: good tests of other kinds do not end it, and an open one is neither.
func TestWindowReachesTheLastGoodTest(t *testing.T) {
	const penetration, control = "steam penetration test", "control test"
	rows := []laid{
		{"S1", "1", "2026-10-01 07:00", penetration, "conforms", true},
		{"S1", "2", "2026-10-01 08:00", "load", "conforms", true},
		{"S1", "3", "2026-10-02 07:00", penetration, "conforms", true}, // the last good one
		{"S2", "1", "2026-10-02 09:00", "load", "conforms", true},      // of another machine
	}
	n := 4
	for day := 2; day <= 28; day++ {
		rows = append(rows, laid{"S1", fmt.Sprint(n), fmt.Sprintf("2026-10-%02d 07:30", day), control, "conforms", true})
		if day > 2 { // run, and nobody has read its indicator: neither good nor bad
			rows = append(rows, laid{"S1", fmt.Sprint(500 + day), fmt.Sprintf("2026-10-%02d 07:10", day), penetration, "conforms", false})
		}
		for hour := 8; hour < 13; hour++ {
			n++
			rows = append(rows, laid{"S1", fmt.Sprint(n), fmt.Sprintf("2026-10-%02d %02d:00", day, hour), "load", "conforms", true})
		}
		n++
	}
	rows = append(rows,
		laid{"S1", "900", "2026-10-29 06:00", penetration, "conforms", false}, // nobody has read its indicator
		laid{"S1", "901", "2026-10-29 07:00", penetration, "failed", false},   // the first bad one
		laid{"S1", "902", "2026-10-29 08:00", penetration, "not proven", false},
		laid{"S1", "903", "2026-10-29 09:00", "load", "conforms", false})
	r := opened(t, emptySite(t), machines(func(c *Configuration) { c.Sterilisers = append(c.Sterilisers, Steriliser{ID: "S2", Programme: "134"}) }), "")
	keptAs(t, r, rows)
	const between = 27 * 5 // five loads on each day from 2 to 28 October
	for _, from := range []string{"2026-10-29", "2026-10-15", "2026-05-01"} {
		all, err := r.Replies(t.Context(), from, "2026-10-30", "S1")
		if err != nil {
			t.Fatal(err)
		}
		got := all[6]
		if want := fmt.Sprintf("1 test was bad in this time; %d loads ran before, since the last good test of the same kind.", between); got.Short != want || got.Outcome != NotProven || len(got.Rows) != between {
			t.Errorf("from %s: %s, %s, %d rows; expected %s", from, got.Outcome, got.Short, len(got.Rows), want)
		}
		first, last := got.Rows[0], got.Rows[len(got.Rows)-1]
		if first[1].Text != "S1 · 3, 2 Oct 2026 07:00" || first[2].Text != "S1 · 901, 29 Oct 2026 07:00" || first[3].Text != "S1 · 5, 2 Oct 2026 08:00" || last[3].To.ID != "S1-20261028-120000" {
			t.Errorf("from %s: %+v ... %+v", from, first, last)
		}
	}
	windows, err := r.Windows(t.Context(), "S1", time.Date(2026, 10, 30, 0, 0, 0, 0, r.zone))
	if err != nil || len(windows) != 2 {
		t.Fatalf("%d windows, %v", len(windows), err)
	}
	if w := windows[0]; w.Kind != penetration || w.Good == nil || w.Good.Number != "3" || w.Bad == nil || w.Bad.Number != "901" || len(w.Loads) != between {
		t.Errorf("%s: %+v, %+v, %d loads", w.Kind, w.Good, w.Bad, len(w.Loads))
	}
	if w := windows[1]; w.Kind != control || w.Good == nil || w.Good.Day != "2026-10-28" || w.Bad != nil || len(w.Loads) != 6 {
		t.Errorf("%s: %+v, %+v, %d loads", w.Kind, w.Good, w.Bad, len(w.Loads))
	}
	// Before the bad one the window is open at its end; before any test there is none.
	if windows, err = r.Windows(t.Context(), "S1", time.Date(2026, 10, 1, 8, 30, 0, 0, r.zone)); err != nil || len(windows) != 1 || windows[0].Bad != nil || len(windows[0].Loads) != 1 {
		t.Errorf("on the first day: %+v, %v", windows, err)
	}
	if windows, err = r.Windows(t.Context(), "S2", time.Date(2026, 10, 30, 0, 0, 0, 0, r.zone)); err != nil || len(windows) != 0 {
		t.Errorf("a machine without tests: %+v, %v", windows, err)
	}
}

// What nobody explained is said: a gap, days with nothing, a load released without a record,
// a change that no signed record holds yet.
func TestRepliesSayWhatIsMissing(t *testing.T) {
	r := opened(t, emptySite(t), machines(), "")
	keptAs(t, r, []laid{
		{"S1", "50", "2026-10-26 08:00", "load", "conforms", true}, {"S1", "52", "2026-10-26 09:00", "load", "failed", false},
		{"S1", "53", "2026-10-29 08:00", "load", "conforms", true},
	})
	if err := r.write(t.Context(), func(b *logbook.Batch) error {
		_, err := b.Add(entry.Draft{At: evening, By: "nurse", Proved: "test", Body: entry.Release{Steriliser: "S1", Number: "54", Day: "2026-10-29", Act: "released"}})
		return err
	}); err != nil {
		t.Fatal(err)
	}
	all, err := r.Replies(t.Context(), "2026-10-20", "2026-10-31", "")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		number int
		mark   Outcome
		says   string
		row    string
	}{
		{1, NotProven, "No. Of 3 cycles of 1 machine, 1 thing stands out between the numbers or the times, not explained.", "Cycle 51 is missing on S1"},
		{6, NotProven, "1 failed; of 1 of them nothing was entered. 1 load released at the machine without a record. 2 days are not signed to the end.", "Its record has not come."},
		{12, NotProven, "On 4 days nothing is recorded, and nobody said why.", "27 Oct 2026 to 28 Oct 2026"},
	} {
		got := all[want.number-1]
		if got.Outcome != want.mark || !strings.Contains(got.Short, want.says) || !strings.Contains(text(got), want.row) {
			t.Errorf("question %d: [%s] %s\n%s\nexpected %s, %s", want.number, got.Outcome, got.Short, text(got), want.says, want.row)
		}
	}
	if first := all[0].Notes; len(first) == 0 || first[0] != "The first cycle in the logbook is of 26 Oct 2026." {
		t.Errorf("%q", first)
	}
}

// text is all cells of an answer.
func text(r daily.Reply) string {
	var b strings.Builder
	for _, row := range r.Rows {
		for _, c := range row {
			b.WriteString(c.Text + " | ")
		}
		b.WriteString("\n")
	}
	return b.String()
}
