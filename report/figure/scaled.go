package figure

import (
	"math"
	"strconv"

	"holdproof/parse/cycle"
)

// ScaledSVG is the small figure of a cycle drawn larger, with its numbers: the ends of the
// band, 20 and 100 °C, the length of the record, and on the ground the hold with the time
// it lasted. Of an air leakage test the axis is pressure, 0 and 100 kPa.
func ScaledSVG(c Cycle, w, h float64) []byte {
	s := open(c, "scaled", Heading(c), "", "", w, h)
	m, d := smallOf(c)
	m.scaled(s, d, w, h)
	return s.close()
}

// SketchScaledSVG is [ScaledSVG] of a cycle whose record is not at hand.
//
// Error: a curve that [SketchOf] did not write.
func SketchScaledSVG(c Sketched, w, h float64) ([]byte, error) {
	m, d, err := c.small()
	if err != nil {
		return nil, err
	}
	s := openAs("hp-scaled-"+identifier(c.ID), c.Name+", "+c.Outcome, "", "", w, h)
	m.scaled(s, d, w, h)
	return s.close(), nil
}

// Room for words beside a scaled figure, mm (ours).
const scaleLeft, scaleRight, scaleTop, scaleBelow = 20.0, 2.0, 1.5, 4.5

func (m smallest) scaled(s Surface, d *drawing, w, h float64) {
	b := Box{scaleLeft, scaleTop, w - scaleLeft - scaleRight, h - scaleTop - scaleBelow}
	p := panel{Box: b, time: m.time, lo: 20, hi: m.top}
	leak := d.Verdict.Kind == cycle.LeakTest
	beside := func(v float64, text string) {
		s.Text(Point{b.X - 1, low(p.y(v))}, text, label(InkQuiet, End))
	}
	lines, unit := []float64{20, 100}, " °C"
	if leak {
		p.lo, p.hi, lines, unit = 0, leakTop, []float64{0, 100}, " kPa"
	}
	for _, v := range lines {
		if v <= p.hi && (v < m.low-1.5*small/b.H*(p.hi-p.lo) || m.low == 0) { // not under the numbers of the band
			s.Polyline([]Point{{b.X, p.y(v)}, {b.right(), p.y(v)}}, hair)
			beside(v, bandEnd(v)+unit)
		}
	}
	if !leak && m.high > m.low {
		beside((m.low+m.high)/2, bandEnd(m.low)+" to "+bandEnd(m.high)+" °C")
	}
	m.draw(s, d, b)
	ground := b.bottom() + small + 0.6
	s.Text(Point{b.X, ground}, "0", label(InkQuiet, Start))
	s.Text(Point{b.right(), ground}, Duration(m.time.length()), label(InkQuiet, End))
	held, ok := d.hold()
	if !ok || m.values == nil {
		return
	}
	text, y := "held "+Duration(held.length()), b.bottom()-1.4
	if leak {
		text, y = "measured "+Duration(held.length()), b.Y+b.H/2 // the curve lies on the ground
	}
	const half = 13.0 // of the longest of these words, mm
	middle := (p.x(held.from) + p.x(held.to)) / 2
	s.Text(Point{min(max(middle, b.X+half), b.right()-half), y}, text, label(InkLine, Middle))
}

// bandEnd writes an end of a band: 134, 121.5.
func bandEnd(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }
