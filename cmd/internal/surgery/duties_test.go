package surgery

import (
	"testing"

	"holdproof/validate/routine"
)

// What a routine owes for a machine is noted of a machine, what it owes for a water line of
// a place, and what the surgery owes of the surgery: else no note could ever answer it.
func TestDutiesAreNotedWhereTheyAreOwed(t *testing.T) {
	on := map[string]string{"steriliser": onSteriliser, "vacuum steriliser": onSteriliser, "vacuum steriliser with air detector": onSteriliser,
		"vacuum steriliser without air detector": onSteriliser, "water line": onPlace, "surgery": onSite}
	seen := 0
	for _, name := range routine.Names() {
		r, _ := routine.Named(name)
		for _, l := range r.Lines {
			d, known := dutyNamed(l.Duty)
			if l.Proof != "note" || l.Per == "load" {
				continue
			}
			if seen++; !known || d.On != on[l.Per] {
				t.Errorf("%s owes %q for each %s, and it is noted of a %q", name, l.Duty, l.Per, d.On)
			}
		}
	}
	if seen == 0 {
		t.Error("no routine owes a note")
	}
}

// A steriliser that is named for what the whole surgery owes is not dropped unseen.
func TestSurgeryDutyOfASteriliser(t *testing.T) {
	s := signedSite(t)
	_, err := s.Note(t.Context(), Noting{Duty: "protein test read", Steriliser: "S1", Outcome: "passed", By: by("lea")})
	if err == nil || err.Error() != "protein test read is not about a steriliser" {
		t.Errorf("%v", err)
	}
	s.note(t, Noting{Duty: "protein test read", Outcome: "passed", Text: "S1"})
}
