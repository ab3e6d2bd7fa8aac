package surgery

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// The logbook of these tests ends on the evening of 2 Nov 2026; all of it is invented.
func ended(t *testing.T, more ...entry.Draft) *Records {
	t.Helper()
	r := opened(t, emptySite(t), machines(func(c *Configuration) { c.Sterilisers = append(c.Sterilisers, Steriliser{ID: "S2", Programme: "134"}) }), "")
	keptAs(t, r, []laid{{"S1", "50", "2026-11-02 08:00", "load", "conforms", true}, {"S2", "9", "2026-11-02 09:00", "load", "failed", false}})
	if err := r.write(t.Context(), func(b *logbook.Batch) error { return b.AddAll(more) }); err != nil {
		t.Fatal(err)
	}
	return r
}

// Of days that the logbook does not reach nothing is said but that: no answer that speaks
// of every day is proved, and none names a day after the end that has an entry.
func TestAnswersEndWithTheLogbook(t *testing.T) {
	closed := entry.Draft{At: evening, By: "nurse", Proved: "test", Body: entry.Note{Duty: dutyClosed, Day: "2026-11-08", Text: "Closed on Sundays.", Data: json.RawMessage("null")}}
	r := ended(t, closed)
	last := r.localDay(evening)
	for _, c := range []struct{ from, to, says string }{
		{"2026-11-02", last, ""},
		{"2026-11-08", "2026-11-08", ""}, // closed, and entered before
		{"2026-11-02", "2026-11-30", "The logbook ends on " + dayWords(last) + "; nothing is known of " + dayWords(back(last, -1)) + " to 7 Nov 2026, 9 Nov 2026 to 30 Nov 2026."},
		{"2027-01-01", "2027-01-31", "The logbook ends on " + dayWords(last) + "; nothing is known of 1 Jan 2027 to 31 Jan 2027."},
		{"2026-11-09", "2026-11-09", "The logbook ends on " + dayWords(last) + "; nothing is known of 9 Nov 2026."},
	} {
		all, err := r.Replies(t.Context(), c.from, c.to, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, reply := range all {
			every := slices.Contains([]int{1, 3, 6, 7, 9, 12}, reply.Number)
			if got := strings.Contains(reply.Short, "nothing is known of"); got != (every && c.says != "") || c.says != "" && every && !strings.HasSuffix(reply.Short, c.says) {
				t.Errorf("%s to %s, question %d: %s", c.from, c.to, reply.Number, reply.Short)
			}
			if c.says != "" && every && reply.Outcome != NotProven && reply.Outcome != Failed {
				t.Errorf("%s to %s, question %d is marked %s", c.from, c.to, reply.Number, reply.Outcome)
			}
		}
	}
}

// Nothing at all is not answered with a full disc, and the sixth answer counts the unsigned
// days that the third does.
func TestAnswersToNothing(t *testing.T) {
	r := ended(t, entry.Draft{At: evening, By: "nurse", Proved: "test", Body: entry.Note{Duty: dutyClosed, Day: "2026-11-08", Text: "Closed on Sundays.", Data: json.RawMessage("null")}})
	all, err := r.Replies(t.Context(), "2026-11-08", "2026-11-08", "")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		number int
		mark   Outcome
		says   string
	}{
		{3, NotProven, "No load was run, so that no test had to pass before one; 0 of 1 day is signed to the end."},
		{6, NotProven, "No cycle is recorded. 1 day is not signed to the end."},
		{10, NotAssessed, "No day of this time is signed."},
		{12, Conforms, "1 closed day; no machine was out of service."},
	} {
		if got := all[want.number-1]; got.Outcome != want.mark || got.Short != want.says {
			t.Errorf("question %d: [%s] %s; expected [%s] %s", want.number, got.Outcome, got.Short, want.mark, want.says)
		}
	}
	if all, err = r.Replies(t.Context(), "2027-01-01", "2027-01-31", ""); err != nil {
		t.Fatal(err)
	}
	if got := all[5]; !strings.HasPrefix(got.Short, "Nothing is recorded. The logbook ends on ") || got.Outcome != NotProven {
		t.Errorf("[%s] %s", got.Outcome, got.Short)
	}
}

// The machine's own counter stands beside what is recorded, agreeing or not.
func TestCountersStandUnderTheFirstQuestion(t *testing.T) {
	number := func(v float64) *float64 { return &v }
	counter := func(machine string, v float64) entry.Draft {
		return entry.Draft{At: time.Date(2026, 11, 2, 17, 18, 0, 0, time.UTC), By: "nurse", Proved: "test", Body: entry.Note{Duty: dutyCounter, Day: "2026-11-02", Steriliser: machine, Value: number(v), Unit: "cycles", Data: json.RawMessage("null")}}
	}
	r := ended(t, counter("S1", 50), counter("S2", 12))
	for _, c := range []struct {
		from, machine, says string
		rows                []string
	}{
		{"2026-11-02", "", "", []string{"S1 |  | the machine’s own counter | 50, 17:18, as recorded | \n", "S2 |  | the machine’s own counter | 12, 17:18; the last recorded was 9 | \n"}},
		{"2026-11-01", "", "The machines’ own counters were entered 2 times, and 1 agree with what is recorded.",
			[]string{"| S1 | 1 to 50 | 2 cycles | 50, 17:18, as recorded | ", "| S2 | 9 | 1 cycle | 12, 17:18; the last recorded was 9 | "}},
		{"2026-11-01", "S1", "The machines’ own counters were entered once, and 1 agree with what is recorded.", nil},
		{"2026-08-01", "", "", []string{"November 2026 | S1 | 1 to 50 | 2 cycles | 50, 2 Nov 2026 17:18, as recorded | "}},
	} {
		all, err := r.Replies(t.Context(), c.from, "2026-11-02", c.machine)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(all[0].Short, c.says) {
			t.Errorf("from %s: %s", c.from, all[0].Short)
		}
		for _, row := range c.rows {
			if !strings.Contains(text(all[0]), row) {
				t.Errorf("from %s no row %q in\n%s", c.from, row, text(all[0]))
			}
		}
		if c.machine != "" && strings.Contains(text(all[0]), "S2") {
			t.Errorf("asked about S1:\n%s", text(all[0]))
		}
	}
}
