package surgery

import (
	"strings"
	"testing"
)

// Days with nothing are asked for until yesterday, whenever the last entry was made.
func TestEmptyDaysAfterTheLastEntry(t *testing.T) {
	s := signedSite(t, chairs)
	s.note(t, Noting{Duty: "hands and surfaces", Outcome: "done"})
	s.note(t, Noting{Duty: dutyClosed, Day: "2026-11-04", Text: "training"})
	s.clock.Time = s.clock.AddDate(0, 0, 5)
	got := waitingOf(t, s, WaitEmpty)
	if len(got) != 1 || got[0].Name != "3 Nov 2026 to 6 Nov 2026" || !strings.HasPrefix(got[0].Why, "On 3 days") {
		t.Errorf("%+v", got)
	}
}
