package daily

import "testing"

// The surgery's own rule has no page that somebody read, so no certainty stands beside it.
func TestOwnRuleHasNoCertainty(t *testing.T) {
	if got := dutySource(Duty{Source: own, Sure: "computed", LimitSource: own, LimitSure: "computed"}); got != own {
		t.Errorf("found %q", got)
	}
	if got, want := dutySource(Duty{Source: "HTM 01-05", Sure: "second-hand", LimitSource: own, LimitSure: "computed"}), "HTM 01-05 (second-hand); limit: "+own; got != want {
		t.Errorf("found %q", got)
	}
}
