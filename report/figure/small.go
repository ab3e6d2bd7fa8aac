package figure

import "holdproof/parse/cycle"

// DrawSmall draws the small figure for lists into b, without words: the reference
// temperature over the whole record, the band as a stripe, the hold as a bar on the
// ground. Of an air leakage test it draws the pressure, and the measured minutes.
func DrawSmall(s Surface, c Cycle, b Box) {
	d := prepare(c)
	s.Polyline([]Point{{b.X, b.bottom()}, {b.right(), b.bottom()}}, hair)
	w, held := d.hold()
	p := panel{Box: b, time: d.all(), lo: 20, hi: d.ceiling()}
	l := line{values: d.reference(), stroke: Stroke{Ink: InkLine, Width: 0.22}}
	if d.Verdict.Kind == cycle.LeakTest {
		l.values = d.pressure.values
		p.lo, p.hi = 0, 110
	}
	if l.values == nil {
		return
	}
	if d.Verdict.Kind != cycle.LeakTest {
		p.band(s, d)
	}
	p.curve(s, d, l)
	if held {
		s.Polyline([]Point{{p.x(w.from), b.bottom()}, {max(p.x(w.to), p.x(w.from)+0.3), b.bottom()}}, Stroke{Ink: InkLine, Width: 0.8})
	}
}
