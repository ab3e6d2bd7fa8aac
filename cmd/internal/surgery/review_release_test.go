package surgery

import (
	"strings"
	"testing"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
)

func TestWordsToRelease(t *testing.T) {
	for _, c := range []struct {
		free, held int
		want       string
	}{
		{1, 0, "1 load conforms and waits for release."},
		{3, 0, "3 loads conform and wait for release."},
		{0, 1, "1 load conforms and cannot be released yet: settle first"},
		{0, 2, "2 loads conform and cannot be released yet: settle first"},
		{2, 1, "2 loads conform and wait for release. 1 load more cannot be released yet: settle first"},
	} {
		if got := (toRelease{free: c.free, held: c.held}).words(); !strings.HasPrefix(got, c.want) {
			t.Errorf("%d free and %d held: %q, expected %q", c.free, c.held, got, c.want)
		}
	}
}

// What is said to wait for release is what can be released.
func TestReviewCountsWhatConformingReleases(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t, "1046")
	for range 2 {
		ready, err := s.Conforming(t.Context(), monday)
		if err != nil {
			t.Fatal(err)
		}
		all, err := s.Review(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		want, got := toRelease{free: len(ready.Loads), held: len(ready.Left)}, ""
		for _, x := range all.Waiting {
			if x.Kind == WaitRelease && x.Day == monday {
				got = x.Instruction
			}
		}
		if want.free+want.held == 0 || got != want.words() {
			t.Errorf("review says %q, expected %q", got, want.words())
		}
		tests, err := s.book.Cycles(t.Context(), logbook.CycleFilter{From: monday, To: monday, Kind: cycle.PenetrationTest.String()})
		if err != nil || len(tests) == 0 {
			t.Fatal(tests, err)
		}
		_, _ = s.Note(t.Context(), Noting{Duty: dutyReading(tests[0].Kind), Cycle: tests[0].Key, Outcome: "passed", By: by("lea")}) // one of two machines
	}
}
