package surgery

import (
	"testing"

	"holdproof/validate/routine"
)

// Every duty that a routine owes by a note can be noted, on what the routine owes it for
// and with the figure it asks for.
func TestDutiesOfRoutinesCanBeNoted(t *testing.T) {
	on := map[string]string{"water line": onPlace, "surgery": "any"} // what the surgery owes once may be noted anywhere
	for _, name := range routine.Names() {
		r, _ := routine.Named(name)
		if len(r.Lines) == 0 {
			t.Errorf("%s owes nothing", name)
		}
		for _, l := range r.Lines {
			if l.Proof != "note" {
				continue
			}
			want := on[l.Per]
			if want == "" {
				want = onSteriliser
			}
			d, known := dutyNamed(l.Duty)
			switch {
			case !known:
				t.Errorf("%s: no note can be about %q", name, l.Duty)
			case want != "any" && d.On != want:
				t.Errorf("%s: %q is noted on a %s and owed for a %s", name, l.Duty, d.On, l.Per)
			case l.NeedsFigure && d.Unit != l.Unit && !d.asks(asksSpan):
				t.Errorf("%s: %q is noted in %q and owed in %q", name, l.Duty, d.Unit, l.Unit)
			}
		}
	}
}
