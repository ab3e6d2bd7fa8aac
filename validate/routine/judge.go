package routine

import (
	"fmt"
	"math"
	"strconv"
)

// judge says what one entry comes to: done, failed, or not shown, and the figure held
// against its limit in words.
func (o *Owed) judge(e Done) (State, string) {
	switch e.Outcome {
	case "failed":
		return Failed, o.said(e)
	case "done", "passed", "":
	default:
		return Unproven, "said " + strconv.Quote(e.Outcome)
	}
	if o.Unit == "" {
		return Complete, ""
	}
	if e.Value == nil {
		if o.NeedsFigure {
			return Unproven, "no figure was entered"
		}
		return Complete, "no figure was entered"
	}
	v, ok := convert(*e.Value, e.Unit, o.Unit)
	low := o.least(e)
	switch {
	case !ok:
		return Unproven, fmt.Sprintf("found %s, expected %s", figure(*e.Value, e.Unit), o.Unit)
	case low != nil && v < *low-tolerance, o.High != nil && v > *o.High+tolerance:
		return Failed, o.said(e)
	case o.Duty == disinfection && low == nil:
		return Unproven, o.said(e) + "; the contact time of the maker or the surgery is not set"
	}
	return Complete, o.said(e)
}

// disinfection is the duty that nobody but the maker or the surgery has a limit for: its
// contact time.
const disinfection = "water lines disinfected"

// least is the figure that an entry must reach: that of the line or its own, whichever is
// more; nil where neither is set.
func (o *Owed) least(e Done) *float64 {
	if e.Low == nil || o.Low != nil && *o.Low >= *e.Low {
		return o.Low
	}
	return e.Low
}

// tolerance is what every comparison with a limit allows, in the unit (ours).
const tolerance = 1e-9

// said is the figure as it was entered, with the limits it is held against. One with more
// digits than a person types is rounded so that it never looks better.
func (o *Owed) said(e Done) string {
	if e.Value == nil || o.Unit == "" {
		return ""
	}
	text := figure(rounded(*e.Value, o.High != nil && o.Low == nil), e.Unit)
	if low := o.least(e); low != nil {
		text += ", needs " + figure(*low, o.Unit)
	}
	if o.High != nil {
		text += ", at most " + figure(*o.High, o.Unit)
	}
	return text
}

// rounded keeps three decimals: up where an upper limit is alone, else down.
func rounded(v float64, up bool) float64 {
	if up {
		return math.Ceil(v*1000-tolerance*1000) / 1000
	}
	return math.Floor(v*1000+tolerance*1000) / 1000
}

func figure(v float64, unit string) string { return strconv.FormatFloat(v, 'f', -1, 64) + " " + unit }

// seconds are the units of time that stand for one another.
var seconds = []struct {
	unit string
	s    float64
}{{"s", 1}, {"min", 60}, {"h", 3600}}

// convert turns a figure into the unit of the line; false where it cannot.
func convert(v float64, from, to string) (float64, bool) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, false
	}
	if from == to {
		return v, true
	}
	var f, t float64
	for _, u := range seconds {
		if u.unit == from {
			f = u.s
		}
		if u.unit == to {
			t = u.s
		}
	}
	if f == 0 || t == 0 {
		return 0, false
	}
	return v * f / t, true
}

// Judge says what an entry about the line comes to, by its outcome and its figure, whatever
// day it is of: [Complete], [Failed] or [Unproven]. One that says "not done" is not proven.
func (l Line) Judge(e Done) State {
	state, _ := (&Owed{Line: l}).judge(e)
	return state
}
