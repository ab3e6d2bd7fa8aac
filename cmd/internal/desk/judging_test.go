package desk

import (
	"strings"
	"testing"
)

// The page that explains the judging answers, in plain words, what a person asks who has
// seen nothing else of the program.
func TestJudgingAnswersAReader(t *testing.T) {
	page := newSite(t).full().as("ben").get("/judging").text()
	for _, c := range []struct{ asks, answer string }{
		{"What does it look at, and what can it not tell?", "It judges the record, not the packs: it cannot see whether an instrument was clean, a pack dry, or an item sterile."},
		{"How hot and how long must my programme be, and who says so?", "134 to 137 180"},
		{"How sure is a number?", "Certainty says how the value came here: read at its source, second-hand, from memory, or computed."},
		{"The display said passed. Why is it failed here?", "So a cycle that the machine calls passed can be too short here."},
		{"Is not proven the same as failed?", "That is not a failure of the steriliser, but the load is treated as not sterilised all the same."},
		{"What do I do with a borderline load at six in the evening, alone?", "With nobody else there, put it in quarantine and decide tomorrow."},
		{"How wrong may my sensors be, and where does that come from?", "Without a calibration certificate in the settings it is 0.5 K and 6.4 kPa (ours)"},
		{"If the limits change, do last year’s loads change?", "When limits or settings change, old verdicts stay as they were"},
	} {
		if !strings.Contains(page, c.answer) {
			t.Errorf("%s\nexpected %q in\n%s", c.asks, c.answer, page)
		}
	}
}
