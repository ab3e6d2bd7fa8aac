package surgery

import (
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/daily"
)

// waitingOf are what waits of a kind.
func waitingOf(t *testing.T, s *site, kind string) []Waiting {
	t.Helper()
	all, err := s.Review(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if i := slices.IndexFunc(all.Waiting, func(w Waiting) bool { return w.Kind == kind }); i > 0 && kind == WaitWindow {
		t.Errorf("a failed test stands in place %d", i)
	}
	return slices.DeleteFunc(all.Waiting, func(w Waiting) bool { return w.Kind != kind })
}

// A spore test that failed stands first everywhere until the lead decided about each load,
// whether or not the routine owes one.
func TestFailedSporeTestWaits(t *testing.T) {
	s := signedSite(t, chairs)
	s.demoDay(t, "S2-")
	two := 2.0
	s.note(t, Noting{Duty: dutySporeIn, Steriliser: "S1", Value: &two, From: at("09:50:00"), At: at("09:50:00")})
	s.note(t, Noting{Duty: dutySporeRead, Steriliser: "S1", Outcome: "failed", Control: ControlWords()[0], At: at("17:30:00")})
	got := waitingOf(t, s, WaitWindow)
	if len(got) != 1 || got[0].Name != "S1 · spore test" || got[0].Outcome != Failed || !strings.Contains(got[0].Why, "6 loads ran; 6 of them wait for the lead's decision: S1 · 1043") {
		t.Fatalf("%+v", got)
	}
	if all, _ := s.Review(t.Context()); !all.Bad() {
		t.Error("nothing bad waits")
	}
	if m := s.day(t, monday).Missing; len(m) == 0 || !strings.HasPrefix(m[0].What, "spore test read as failed: what becomes of 6 loads since the last good one (S1 · 1043") {
		t.Errorf("the day lacks %+v", m)
	}
	q := s.seventh(t)
	if !strings.HasPrefix(q.Short, "1 test was bad in this time; 1 load ran before, since the last good test of the same kind. 5 loads ran after it") || len(q.Rows) != 6 || q.Rows[0][2].Text != "2 Nov 2026 09:50, read as failed" || q.Rows[0][0].Text != "spore test" || q.Outcome != NotProven {
		t.Errorf("%s %s, %+v", q.Outcome, q.Short, q.Rows)
	}
	loads := []string{"1043", "1044", "1045", "1046", "1047", "1049"}
	explain := Noting{Duty: dutyExplained, Cycle: "1043", Explains: explainsTest, Text: "the repeat passed, it stays released", By: by("lea")}
	_, err := s.Note(t.Context(), explain)
	refusedFor(t, err, "lea may not", "lead")
	for _, load := range loads[:3] {
		if _, err := s.Decide(t.Context(), Deciding{Do: DoRecall, Cycles: []string{load}, Reason: "spores survived", By: by("lea")}); err != nil {
			t.Fatal(err)
		}
	}
	for _, load := range loads[3:] {
		explain.Cycle, explain.By = load, by("mara")
		if _, err := s.Note(t.Context(), explain); err != nil {
			t.Fatal(err)
		}
	}
	if got := waitingOf(t, s, WaitWindow); len(got) != 0 {
		t.Errorf("decided about each, and waits: %+v", got)
	}
	if got := waitingOf(t, s, WaitRecall); len(got) != 3 {
		t.Errorf("%d recalls", len(got))
	}
}

// A reading that is corrected to failed after loads were released calls them into
// question, also those that ran after the test, up to the next good one.
func TestCorrectedReadingOpensWindow(t *testing.T) {
	s := signedSite(t, chairs)
	s.demoDay(t, "S2-")
	n, err := s.Note(t.Context(), Noting{Duty: dutyPenetration, Cycle: "1041", Outcome: "passed", At: at("08:30:00"), By: by("lea")})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{"1043", "1044"}, By: by("lea")}); err != nil {
		t.Fatal(err)
	}
	if got := waitingOf(t, s, WaitWindow); len(got) != 0 {
		t.Fatalf("nothing failed: %+v", got)
	}
	if _, err := s.Correct(t.Context(), Correcting{Entry: n.Entry, Reason: "looked at again", Note: Noting{Outcome: "failed"}, By: by("mara")}); err != nil {
		t.Fatal(err)
	}
	if got := waitingOf(t, s, WaitWindow); len(got) != 1 || got[0].Name != "S1 · penetration test" || !strings.Contains(got[0].Why, "6 loads ran; 6 of them wait") {
		t.Errorf("%+v", got)
	}
	if got := waitingOf(t, s, WaitTest); len(got) == 0 || got[len(got)-1].Outcome != Failed {
		t.Errorf("%+v", got)
	}
	if q := s.seventh(t); len(q.Rows) != 6 || !strings.Contains(q.Short, "6 loads ran") {
		t.Errorf("%s, %+v", q.Short, q.Rows)
	}
}

// What failed is marked as failed, with the day on which it did, and stays.
func TestReviewMarksFailed(t *testing.T) {
	s := signedSite(t, chairs)
	count := 900.0
	s.note(t, Noting{Duty: dutyCount, Place: "chair 1", Value: &count, Outcome: "failed", Sampled: "2026-10-28"})
	for range 2 {
		got := waitingOf(t, s, WaitFailed)
		if len(got) != 1 || got[0].Outcome != Failed || got[0].Day != monday || !strings.HasPrefix(got[0].Instruction, "Follow the maker's instructions") {
			t.Errorf("%+v", got)
		}
		s.clock.Time = s.clock.Add(72 * time.Hour)
	}
}

// seventh is the answer to the seventh question about the Monday.
func (s *site) seventh(t *testing.T) daily.Reply {
	t.Helper()
	all, err := s.Replies(t.Context(), monday, monday, "")
	if err != nil {
		t.Fatal(err)
	}
	return all[6]
}
