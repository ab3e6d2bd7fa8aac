package routine

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Change is what a surgery does otherwise than its routine, or beside it. Empty fields
// stay as they are.
type Change struct {
	Duty   string
	Per    string // which line, where a duty has several; for what, in a new line
	Drop   bool   // it is not owed here
	Every  string // such as 7 days
	When   string // of a new line, or where it moves
	What   string // of a new line
	Low    *float64
	High   *float64
	Unit   string // of a new line with a figure
	Reason string // printed with the line; needed
}

// Problem is a change that is refused.
type Problem struct {
	Change int    // index
	Field  string // the key: duty, per, drop, every, when, what, low, high, unit, reason
	Found  string
	Want   string
	Remedy string // a sentence
}

// Error returns the one-line form.
func (p Problem) Error() string { return fmt.Sprintf("found %s, expected %s", p.Found, p.Want) }

// Apply returns the routine as the surgery follows it. A changed line says why in
// Changed, a new one is the surgery's own. Changes are made in their order; with a
// problem the routine comes back as it was, never half changed.
func (r Routine) Apply(changes []Change) (Routine, []Problem) {
	out := r.clone()
	var problems []Problem
	for i, c := range changes {
		p := out.apply(c)
		if p == nil && slices.ContainsFunc(changes[:i], func(b Change) bool { return b.Duty == c.Duty && b.Per == c.Per }) {
			p = &Problem{Field: "duty", Found: fmt.Sprintf("%q twice", c.Duty), Want: "one change of a line", Remedy: "Put both into one."}
		}
		if p != nil {
			p.Change = i
			problems = append(problems, *p)
		}
	}
	if problems != nil {
		return r, problems
	}
	return out, nil
}

func (r *Routine) apply(c Change) *Problem {
	if p := c.check(); p != nil {
		return p
	}
	var at []int
	for i, l := range r.Lines {
		if l.Duty == c.Duty && (c.Per == "" || l.Per == c.Per) {
			at = append(at, i)
		}
	}
	switch {
	case len(at) > 1:
		return &Problem{Field: "per", Found: fmt.Sprintf("%d lines of %q", len(at), c.Duty), Want: "the one that changes", Remedy: "Add per: with the machine the line is for."}
	case len(at) == 1 && c.Drop:
		r.Lines = slices.Delete(r.Lines, at[0], at[0]+1)
		return nil
	case len(at) == 1:
		return c.change(&r.Lines[at[0]])
	case c.Drop:
		return &Problem{Field: "duty", Found: fmt.Sprintf("%q", c.Duty), Want: "a duty of the routine", Remedy: "Look up its name, or take the line out."}
	}
	l, p := c.line()
	if p == nil {
		r.Lines = append(r.Lines, l)
	}
	return p
}

func (c Change) check() *Problem {
	none := func(field, want, remedy string) *Problem {
		return &Problem{Field: field, Found: "nothing", Want: want, Remedy: remedy}
	}
	if strings.TrimSpace(c.Duty) == "" {
		return none("duty", "the name of a duty", "Write the name as the routine has it.")
	}
	if strings.TrimSpace(c.Reason) == "" {
		return none("reason", "why the surgery does it otherwise", "Write the reason; it is printed with the line.")
	}
	for _, limit := range []struct {
		field string
		v     *float64
	}{{"low", c.Low}, {"high", c.High}} {
		if v := limit.v; v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0) || *v < 0) {
			return &Problem{Field: limit.field, Found: fmt.Sprint(*v), Want: "a number of 0 or more", Remedy: "Correct the number."}
		}
	}
	if _, err := every(c.Every); err != nil {
		return &Problem{Field: "every", Found: fmt.Sprintf("%q", c.Every), Want: "days or months such as 7 days, at most 120", Remedy: "Correct the interval."}
	}
	if c.When != "" && !slices.Contains(whens, c.When) {
		return &Problem{Field: "when", Found: fmt.Sprintf("%q", c.When), Want: "one of " + strings.Join(whens, ", "), Remedy: "Choose one of them."}
	}
	if c.Per != "" && !slices.Contains(pers, c.Per) {
		return &Problem{Field: "per", Found: fmt.Sprintf("%q", c.Per), Want: "one of " + strings.Join(pers, ", "), Remedy: "Choose one of them."}
	}
	return nil
}

// change alters a line of the routine. A limit of the surgery's own is the surgery's
// word, whatever the document says.
func (c Change) change(l *Line) *Problem {
	was := *l
	l.Every, _ = every(c.Every)
	if c.Every == "" {
		l.Every = was.Every
	}
	if c.When != "" {
		l.When = c.When
	}
	if c.What != "" {
		l.What = c.What
	}
	if c.Unit != "" && c.Unit != l.Unit {
		*l = was
		return &Problem{Field: "unit", Found: c.Unit, Want: "no other unit than " + fmt.Sprintf("%q", was.Unit), Remedy: "Give the limit in the unit of the line."}
	}
	if c.Low != nil || c.High != nil {
		if l.Unit == "" {
			*l = was
			return &Problem{Field: "low", Found: "a limit", Want: "none, since the duty has no figure", Remedy: "Take the limit out."}
		}
		if c.Low != nil {
			l.Low = c.Low
		}
		if c.High != nil {
			l.High = c.High
		}
		l.LimitSource, l.LimitSure = ofSurgery, "computed"
	}
	l.Changed = c.Reason
	return l.sound(was)
}

const ofSurgery = "the surgery's own rule"

// sound refuses limits and intervals that cannot be together, and puts the line back.
func (l *Line) sound(was Line) *Problem {
	var p *Problem
	switch {
	case l.Low != nil && l.High != nil && *l.Low > *l.High:
		p = &Problem{Field: "low", Found: fmt.Sprintf("%v above %v", *l.Low, *l.High), Want: "at most the high limit", Remedy: "Correct one of the limits."}
	case (l.Every == Every{}) != (l.When == "between patients" || l.When == "by use"):
		p = &Problem{Field: "every", Found: l.Every.String(), Want: "an interval that goes with " + l.When, Remedy: "Give every: with days or months, or leave it out."}
	}
	if p != nil {
		*l = was
	}
	return p
}

// line is a duty that the routine does not have.
func (c Change) line() (Line, *Problem) {
	l := Line{Duty: c.Duty, What: c.What, When: c.When, Per: c.Per, Proof: "note", Unit: c.Unit, Low: c.Low, High: c.High, Source: ofSurgery, Sure: "computed", Changed: c.Reason}
	for _, w := range []struct{ field, is, want string }{{"what", c.What, "a sentence"}, {"when", c.When, "one of " + strings.Join(whens, ", ")}, {"per", c.Per, "one of " + strings.Join(pers, ", ")}} {
		if w.is == "" {
			return Line{}, &Problem{Field: w.field, Found: "nothing", Want: w.want, Remedy: fmt.Sprintf("The routine has no %q; a new line needs it, or correct the name.", c.Duty)}
		}
	}
	if c.Low != nil || c.High != nil {
		if c.Unit == "" {
			return Line{}, &Problem{Field: "unit", Found: "nothing", Want: "the unit of the limit", Remedy: "Add the unit."}
		}
		l.NeedsFigure, l.LimitSource, l.LimitSure = true, ofSurgery, "computed"
	}
	l.Every, _ = every(c.Every)
	return l, l.sound(Line{})
}
