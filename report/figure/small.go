package figure

import "holdproof/parse/cycle"

// leakTop is the upper end in kPa of the pressure of an air leakage test, in lists.
const leakTop = 110

// DrawSmall draws the small figure for lists into b, without words: the reference
// temperature over the whole record, the band as a stripe, the hold as a bar on the
// ground. Of an air leakage test it draws the pressure, and the measured minutes.
func DrawSmall(s Surface, c Cycle, b Box) {
	m, d := smallOf(c)
	m.draw(s, d, b)
}

func smallOf(c Cycle) (smallest, *drawing) {
	d := prepare(c)
	m := smallest{time: d.all(), values: d.reference(), top: d.ceiling()}
	if lo, hi, ok := d.band(); ok {
		m.low, m.high = lo, hi
	}
	if d.Verdict.Kind == cycle.LeakTest {
		m.values = d.pressure.values
	}
	return m, d
}

// smallest is what a small figure shows beside the hold.
type smallest struct {
	time      window
	values    []float64
	top       float64 // of the axis, °C
	low, high float64 // band, °C
}

func (m smallest) draw(s Surface, d *drawing, b Box) {
	s.Polyline([]Point{{b.X, b.bottom()}, {b.right(), b.bottom()}}, hair)
	if m.values == nil {
		return
	}
	p := panel{Box: b, time: m.time, lo: 20, hi: m.top}
	if d.Verdict.Kind == cycle.LeakTest {
		p.lo, p.hi = 0, leakTop
	} else if m.high > m.low {
		p.stripe(s, m.low, m.high)
	}
	p.curve(s, d, line{values: m.values, stroke: Stroke{Ink: InkLine, Width: 0.22}})
	if w, held := d.hold(); held {
		s.Polyline([]Point{{p.x(w.from), b.bottom()}, {max(p.x(w.to), p.x(w.from)+0.3), b.bottom()}}, Stroke{Ink: InkLine, Width: 0.8})
	}
}
