package surgery

import (
	"slices"
	"testing"
)

// What a person has explained is not told again by a later import; what is new is.
func TestExplainedStaysExplained(t *testing.T) {
	r, at := staffed(t)
	at.at = evening
	gaps := func(found []Between) (out []string) {
		for _, f := range found {
			if f.Check == "number-gap" {
				out = append(out, f.Message)
			}
		}
		return out
	}
	_, found := imported(t, r, exported(t, t.TempDir(), "a.csv", cycleAt("7", "08:00:00"), cycleAt("9", "10:00:00")))
	if len(gaps(found)) != 1 {
		t.Fatalf("gaps: %q", gaps(found))
	}
	if _, err := r.Note(t.Context(), Noting{Duty: dutyExplained, Cycle: "9", Explains: "number-gap", Text: "8 was run without a recorder", By: as("lea")}); err != nil {
		t.Fatal(err)
	}
	_, found = imported(t, r, exported(t, t.TempDir(), "b.csv", cycleAt("10", "12:00:00")))
	if len(gaps(found)) != 0 {
		t.Errorf("told again: %q", gaps(found))
	}
	_, found = imported(t, r, exported(t, t.TempDir(), "c.csv", cycleAt("12", "14:00:00")))
	if got := gaps(found); len(got) != 1 || slices.Contains(got, "8") {
		t.Errorf("gaps: %q, expected that of 11", got)
	}
}
