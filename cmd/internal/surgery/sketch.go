package surgery

import (
	"encoding/json"

	"holdproof/parse/cycle"
	picture "holdproof/report/figure"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// drawable is what the figures of a judged cycle are drawn from.
func (r *Records) drawable(j Judged) picture.Cycle {
	return picture.Cycle{Record: j.Record, Verdict: j.Verdict,
		Absolute: validate.AbsolutePressure(j.Record, r.bench.machineOf(j.Header).rules.Site)}
}

// sketchOf is what a verdict keeps for the small figure of its cycle; nil if nothing can
// be drawn.
func (r *Records) sketchOf(j Judged) *entry.Sketch {
	if j.Record == nil || j.readings.N == 0 {
		return nil
	}
	s, ok := picture.SketchOf(r.drawable(j))
	if !ok {
		return nil
	}
	return &entry.Sketch{Seconds: s.Seconds, Top: s.Top, Low: s.Low, High: s.High, Curve: s.Curve}
}

// Small draws the small figure of a kept cycle, w by h mm, from the sketch that its
// verdict keeps; false where it keeps none, and the export must be read.
func (r *Records) Small(s Shown, w, h float64) ([]byte, bool) {
	if s.Verdict == nil {
		return nil, false
	}
	return r.sketched(s.Cycle, picture.SketchSVG, w, h)
}

// sketched draws a figure of a kept cycle from its verdict; false where the
// verdict has no sketch, and the export must be read.
func (r *Records) sketched(c logbook.Cycle, draw func(picture.Sketched, float64, float64) ([]byte, error), w, h float64) ([]byte, bool) {
	s := c.Verdict.Sketch
	if s == nil {
		return nil, false
	}
	var held struct {
		From *float64 `json:"hold_from_s"`
		To   *float64 `json:"hold_to_s"`
	}
	if json.Unmarshal(c.Verdict.Measured, &held) != nil {
		return nil, false
	}
	svg, err := draw(picture.Sketched{
		Sketch: picture.Sketch{Seconds: s.Seconds, Top: s.Top, Low: s.Low, High: s.High, Curve: s.Curve},
		ID:     c.Key, Name: r.nameOf(c), Outcome: c.Outcome, Kind: cycle.KindNamed(c.Kind),
		HoldFrom: figureOf(held.From), HoldTo: figureOf(held.To)}, w, h)
	return svg, err == nil
}

func figureOf(v *float64) validate.Figure {
	if v == nil {
		return validate.Figure{}
	}
	return validate.Known(*v)
}
