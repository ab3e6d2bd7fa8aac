package surgery

import (
	"context"
	"fmt"
	"slices"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// started are the standing notes of a duty whose result is an entry of its own, with
// the entry that holds it.
type started struct {
	logbook.Row[entry.Note]
	result int64 // 0: open
}

// startedOnes returns them, oldest first. An entry and the corrections of it are one.
func startedOnes(ctx context.Context, v *logbook.View, duty string, result string) ([]started, error) {
	rows, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: duty, Superseded: true})
	if err != nil {
		return nil, err
	}
	next := map[int64]int64{}
	var out []started
	for _, row := range rows {
		switch {
		case row.CorrectedBy != 0:
			next[row.Number] = row.CorrectedBy
		case !row.Withdrawn:
			out = append(out, started{Row: row})
		}
	}
	results, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: result})
	if err != nil {
		return nil, err
	}
	for _, row := range results {
		n := dataOf(row.Said).Of
		for next[n] != 0 {
			n = next[n]
		}
		if i := slices.IndexFunc(out, func(s started) bool { return s.Number == n }); i >= 0 && n != 0 && !row.Withdrawn {
			out[i].result = row.Number
		}
	}
	return out, nil
}

// at tells whether it was on that machine or place; "" is any.
func (s started) at(machine, place string) bool {
	return (machine == "" || s.Said.Steriliser == machine) && (place == "" || s.Said.Place == place)
}

// earlier finds the entry that a note is the result of: the one named, or the only one
// that is open on that machine or place. Nil where none is.
func (x *noting) earlier() (*started, error) {
	all, err := startedOnes(x.ctx, x.v, x.duty.Of, x.duty.Name)
	if err != nil {
		return nil, err
	}
	var open []started
	for i, s := range all {
		free := s.result == 0 || s.result == x.n.corrects
		if x.n.Of == s.Number {
			if !free {
				return nil, &Refusal{Why: fmt.Sprintf("entry %d has its result in entry %d", s.Number, s.result),
					Instead: fmt.Sprintf("If that is wrong, correct it: holdproof note --correct %d --reason TEXT.", s.result), Field: "entry"}
			}
			if !s.at(x.body.Steriliser, x.body.Place) {
				return nil, &Refusal{Why: fmt.Sprintf("entry %d is of %s", s.Number, s.Said.Steriliser+s.Said.Place), Instead: "Name another entry, or another place.", Field: "entry"}
			}
			x.body.Steriliser, x.body.Place = s.Said.Steriliser, s.Said.Place
			return &all[i], nil
		}
		if free && s.at(x.body.Steriliser, x.body.Place) && (x.n.Sampled == "" || s.Said.Day == x.n.Sampled) {
			open = append(open, s)
		}
	}
	switch {
	case x.n.Of != 0:
		return nil, &Refusal{Why: fmt.Sprintf("entry %d is no note of %q", x.n.Of, x.duty.Of), Instead: "Name the one that this is the result of with --entry; holdproof review shows what is open.", Field: "entry"}
	case len(open) == 1:
		return &open[0], nil
	case len(open) > 1:
		var which []string
		for _, s := range open {
			which = append(which, fmt.Sprintf("%d (%s)", s.Number, dayWords(s.Said.Day)))
		}
		return nil, &Refusal{Why: fmt.Sprintf("%d notes of %q are open", len(open), x.duty.Of), Instead: "Name the one that this is the result of with --entry: " + Alternatives(which) + ".", Field: "entry"}
	}
	return nil, nil
}

// sporesRead settles the result of a spore test. The control, which was not sterilised,
// must have grown, or the spores were dead and nothing is shown: what would have passed
// then counts as not done. A pass before the incubation is over is refused; growth counts
// as soon as it is seen.
func (x *noting) sporesRead() error {
	test, err := x.earlier()
	switch {
	case err != nil:
		return err
	case test == nil:
		return &Refusal{Why: "no spore test of " + x.body.Steriliser + " is in incubation", Instead: "Enter first that it went in, with --duty \"" + dutySporeIn + "\", --in and --value.", Field: "entry"}
	case !slices.Contains(ControlWords(), x.n.Control):
		return &Refusal{Why: x.duty.Name + fmt.Sprintf(" needs its control, found %q", x.n.Control),
			Instead: "Say of the spores that were not sterilised, with --control: " + Alternatives(ControlWords()) + ".", Field: "control"}
	}
	x.data.Of, x.data.Control = test.Number, x.n.Control
	x.body.From, x.body.To = test.Said.From, entry.At(x.n.At)
	ready := test.ready()
	switch {
	case x.n.Outcome == "passed" && x.n.Control == controlDidNot:
		x.body.Outcome = "not done"
	case x.n.Outcome == "passed" && x.n.At.Before(ready):
		return &Refusal{Why: fmt.Sprintf("the spore test of entry %d is in incubation until %s", test.Number, x.r.clockWords(ready)),
			Instead: "Read it then. Growth that shows before is entered at once, as failed.", Field: "at"}
	}
	return nil
}

// ready is when its incubation is over.
func (s started) ready() time.Time {
	if s.Said.Value == nil {
		return s.Said.From.Time
	}
	return s.Said.From.Add(time.Duration(*s.Said.Value * float64(time.Hour)))
}
