package surgery

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/validate/routine"
)

// routineFaults says what of the routine's changes and of the chairs cannot be.
func (c Configuration) routineFaults(f *faults) {
	chairs := map[string]string{}
	for i, name := range c.Chairs {
		key := fmt.Sprintf("chairs[%d]", i+1)
		f.needed(key, name, "a name such as chair 1")
		if strings.Join(strings.Fields(name), " ") != name {
			f.add(key, fmt.Sprintf("%q", name), "a name with single blanks between its words", "Write it as people say it.")
		}
		f.once(key, name, chairs)
	}
	if c.Routine == "" {
		if len(c.RoutineChanges) > 0 {
			f.add("routine_changes", "changes of no routine", "routine: with one of "+Alternatives(routine.Names()), "Choose the routine that they change.")
		}
		return
	}
	r, known := routine.Named(c.Routine)
	if !known {
		return // said already
	}
	before := len(*f)
	for i, change := range c.RoutineChanges {
		if bare := (RoutineChange{Duty: change.Duty, Per: change.Per, Reason: change.Reason}); change == bare && change.Duty != "" && change.Reason != "" {
			f.add(fmt.Sprintf("routine_changes[%d]", i+1), "a duty and a reason", "what changes: drop, every, when, what, low or high", "Say what the surgery does otherwise, or take the change out.")
		}
		if _, note := dutyNamed(change.Duty); !note && change.Duty != "" && !slices.ContainsFunc(r.Lines, func(l routine.Line) bool { return l.Duty == change.Duty }) {
			remedy := "The names are listed by holdproof note --help."
			if near := Nearest(change.Duty, DutyNames()); near != "" {
				remedy = fmt.Sprintf("Did you mean %q?", near)
			}
			f.add(fmt.Sprintf("routine_changes[%d].duty", i+1), fmt.Sprintf("%q", change.Duty), "a duty that can be noted", remedy)
		}
	}
	if len(*f) > before {
		return
	}
	_, problems := r.Apply(c.routineChanges())
	for _, p := range problems {
		f.add(fmt.Sprintf("routine_changes[%d].%s", p.Change+1, p.Field), p.Found, p.Want, p.Remedy)
	}
}

func (c Configuration) routineChanges() []routine.Change {
	var out []routine.Change
	for _, x := range c.RoutineChanges {
		out = append(out, routine.Change(x))
	}
	return out
}

// routineInForce is the routine as the site follows it; one without lines where it names
// none. c has no faults.
func (c Configuration) routineInForce() routine.Routine {
	r, _ := routine.Named(c.Routine)
	r, _ = r.Apply(c.routineChanges())
	return r
}

// knownChair refuses a place that is none of the chairs of the settings; where they name
// none, any will do.
func (c Configuration) knownChair(place string) error {
	if len(c.Chairs) == 0 || slices.Contains(c.Chairs, place) {
		return nil
	}
	return &Refusal{Why: fmt.Sprintf("no chair %q is in the settings", place), Instead: "Name one of the chairs: " + Alternatives(c.Chairs) + "."}
}
