package surgery

import (
	"fmt"
	"slices"
	"strings"
)

// owed is what the routine owes today and is still to be done, and what is overdue, which
// waits for a person until it is done.
func (w *waits) owed() error {
	o, err := w.r.owing(w.ctx, w.v, w.r.Today())
	if err != nil {
		return err
	}
	lines, err := o.lines()
	if err != nil {
		return err
	}
	type same struct{ duty, why string }
	var order []same
	at := map[same][]Owed{}
	for _, l := range lines {
		switch {
		case l.Proof != "note":
			continue
		case l.Started && l.Duty == dutyDisinfected:
			continue // said once, with what was begun and is not over
		case !l.Wanted() && l.State != OwedNeverEntered:
			continue
		case l.FailedOn != "": // each day anew, or until it is done again
		case l.Daily() || l.State == OwedOpen || l.State == OwedNeverEntered:
			w.today = append(w.today, l)
			continue
		}
		s := same{l.Duty, l.why()}
		if at[s] == nil {
			order = append(order, s)
		}
		at[s] = append(at[s], l)
	}
	for _, s := range order {
		l := at[s][0]
		var places []string
		for _, x := range at[s] {
			if x.Where() != "" && !slices.Contains(places, x.Where()) {
				places = append(places, x.Where())
			}
		}
		x := Waiting{Kind: WaitOverdue, Name: strings.Join(places, ", "), Day: l.Next, Instruction: l.What, Why: capital(s.why) + ".", Type: l.typed(), Outcome: NotProven}
		if x.Name == "" {
			x.Name = "surgery"
		}
		if l := at[s][0]; l.FailedOn != "" {
			x.Kind, x.Outcome, x.Day = WaitFailed, Failed, l.FailedOn
			x.Instruction = failedDo(l) + " " + x.Instruction
		}
		switch l.Before {
		case OwedLoadsWithin:
			x.Why += " Loads were run without it today."
		case OwedHoldsLoads:
			x.Why += " No load before it has passed."
		}
		w.add(x, enough(ActNote)...)
	}
	return nil
}

// failedDo is what is done first about a duty that failed.
func failedDo(l Owed) string {
	switch {
	case l.Duty == dutyCount:
		return "Follow the maker's instructions for these lines and the local code for water; tell the lead. Then have the water counted again."
	case l.Place != "":
		return "Do it again, as the maker says."
	case l.Steriliser == "":
		return "Tell the lead, and do it again."
	}
	return "Take " + l.Steriliser + " out of use, tell the lead, and do it again."
}

// typed is the command that notes the line, without the program's name.
func (o Owed) typed() string {
	out := fmt.Sprintf("note --duty %q", o.Duty)
	duty, _ := dutyNamed(o.Duty)
	switch {
	case o.Place != "":
		out += fmt.Sprintf(" --place %q", o.Place)
	case o.Steriliser != "":
		out += " --steriliser " + o.Steriliser
	}
	switch says := duty.says(); {
	case duty.Says == sayPassed && !duty.Judge:
		out += " --outcome OUTCOME"
	case len(says) > 0 && !duty.Judge:
		out += " --outcome " + says[0]
	}
	if duty.asks(asksControl) {
		out += " --control CONTROL"
	}
	if duty.Needs {
		out += " --value FIGURE"
	}
	if duty.Asks&asksProduct != 0 {
		out += " --product NAME"
	}
	if duty.Asks&asksStrength != 0 {
		out += " --concentration TEXT"
	}
	if duty.Asks&asksIn != 0 {
		out += " --in TIME --out TIME"
	}
	if duty.Text {
		out += " --text TEXT"
	}
	return out
}
