package figure

import (
	"fmt"
	"math"

	"holdproof/parse/cycle"
)

// Heights in mm that are not part of a panel.
const (
	roomAbove = 6.5 // for the dimension and the unit
	roomBelow = 4.5 // for the labels of the time axis
	flagRoom  = 4.2 // for flags between axis and labels
	axisRoom  = 12  // for the labels of a scale, at its left
)

// Draw draws the large figure into b: temperatures above, pressure below, and
// beside them (below them where b is narrower than 120 mm) a zoom on the plateau.
// An air leakage test has its pressure and the ten measured minutes instead.
//
// b should be at least 80 mm wide and 60 mm high, 110 mm high if narrow.
func Draw(s Surface, c Cycle, b Box) {
	d := prepare(c)
	left, right := split(b)
	if d.Verdict.Kind == cycle.LeakTest {
		d.leak(s, left, right)
		return
	}
	d.overview(s, left)
	d.zoom(s, right)
}

// split divides the figure into its overview and its zoom.
func split(b Box) (overview, zoom Box) {
	if b.W < 120 {
		h := b.H * 0.58
		return Box{b.X, b.Y, b.W, h - 2}, Box{b.X, b.Y + h + 2, b.W, b.H - h - 2}
	}
	w := b.W * 0.61
	return Box{b.X, b.Y, w, b.H}, Box{b.X + w + 2, b.Y, b.W - w - 2, b.H}
}

// overview draws temperatures and pressure over the whole record.
func (d *drawing) overview(s Surface, b Box) {
	upper, lower := d.plots(b)
	temperature := panel{upper, d.all(), 0, d.ceiling()}
	temperature.band(s, d)
	lo, hi, known := d.band()
	if known {
		middle := (lo + hi) / 2
		temperature.scale(s, 50, "°C", middle)
		t := label(InkLine, End)
		t.Bold = true
		s.Text(Point{temperature.X - 1, low(temperature.y(middle))}, whole(lo)+"–"+whole(hi), t)
	} else {
		temperature.scale(s, 50, "°C")
	}
	d.poles(s, temperature)
	var tags []tag
	for _, l := range d.lines {
		temperature.curve(s, d, l)
		if at, ok := temperature.end(d, l.values); ok {
			tags = append(tags, tag{at: at, text: l.name, ink: l.stroke.Ink, style: l.stroke})
		}
	}
	if d.vapour.values != nil {
		temperature.curve(s, d, d.vapour)
		d.nameVapour(s, temperature)
	}
	temperature.names(s, tags)
	d.dimension(s, temperature, false)
	foot := temperature
	if d.pressure.values != nil {
		foot = panel{lower, d.all(), 0, 0}
		foot.lo, foot.hi = d.pressures()
		foot.scale(s, nice(foot.hi-foot.lo, 4), d.pressureUnit())
		d.poles(s, foot)
		foot.curve(s, d, d.pressure)
		if at, ok := foot.end(d, d.pressure.values); ok {
			foot.names(s, []tag{{at: at, text: "pressure", ink: InkLine}})
		}
	}
	foot.minutes(s, d.flagRoom())
	d.flags(s, foot)
}

// plots returns where the temperatures and the pressure of the overview are drawn.
func (d *drawing) plots(b Box) (upper, lower Box) {
	upper = d.plot(b)
	lower = upper
	if d.pressure.values != nil {
		h := upper.H - 6
		upper.H = h * 0.64
		lower.Y, lower.H = upper.Y+upper.H+6, h*0.36
	}
	return upper, lower
}

// plot is the part of the overview between its axes.
func (d *drawing) plot(b Box) Box {
	return Box{b.X + axisRoom, b.Y + roomAbove, b.W - axisRoom - 17, b.H - roomAbove - roomBelow - d.flagRoom()}
}

// ceiling is the upper end of the temperature axis: 150 °C, or what the record needs.
func (d *drawing) ceiling() float64 {
	top := 150.0
	for _, l := range d.lines {
		for _, v := range l.values {
			if v > top {
				top = min(200, math.Ceil(v/50)*50)
			}
		}
	}
	return top
}

// pressures returns the range of the pressure axis in kPa. Air at 101.3 kPa does
// not make it longer than 100 by more than itself.
func (d *drawing) pressures() (lo, hi float64) {
	hi = 100
	for _, v := range d.pressure.values {
		if v < lo {
			lo = math.Floor(v/50) * 50
		}
		if v > hi {
			hi = max(math.Ceil((v-6)/50)*50, v)
		}
	}
	return lo, hi
}

func (d *drawing) pressureUnit() string {
	if len(d.Absolute) == len(d.seconds) {
		return "kPa abs"
	}
	if d.Record.Readings().Pressure.Reference == cycle.Gauge {
		return "kPa gauge"
	}
	return "kPa"
}

// band draws the stripe, if a programme is known.
func (p panel) band(s Surface, d *drawing) {
	if lo, hi, ok := d.band(); ok {
		p.stripe(s, lo, hi)
	}
}

func (d *drawing) band() (lo, hi float64, ok bool) {
	p := d.Verdict.Programme
	return float64(p.Sterilising), float64(p.Sterilising) + p.Band, p.Name != "" && p.Band > 0
}

// nameVapour writes the name of the steam temperature beside its line, which ends
// long before the edge: right of its fall, or left of its rise where the record
// ends too soon.
func (d *drawing) nameVapour(s Surface, p panel) {
	const beside, long, short = 118, 26, 10 // °C; mm that a name takes
	first, last := -1, -1
	for i, v := range d.vapour.values {
		if v > beside {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if first < 0 {
		return
	}
	rise, fall := p.x(d.seconds[first]), p.x(d.seconds[last])
	y := low(p.y(beside))
	switch {
	case p.right()-fall > long:
		s.Text(Point{fall + 1.5, y}, d.vapour.name, label(InkPress, Start))
	case rise-p.X > long:
		s.Text(Point{rise - 1.5, y}, d.vapour.name, label(InkPress, End))
	case p.right()-fall > short:
		s.Text(Point{fall + 1.5, y}, "steam", label(InkPress, Start))
	default:
		s.Text(Point{(rise + fall) / 2, low(p.y(100))}, "steam", label(InkPress, Middle))
	}
}

// zoom draws the judged temperatures around the hold, so that the band fills most
// of the height.
func (d *drawing) zoom(s Surface, b Box) {
	below := roomBelow + d.flagRoom()
	p := panel{Box: Box{b.X + axisRoom, b.Y + roomAbove, b.W - axisRoom - 15, b.H - roomAbove - below}, time: d.plateau()}
	p.lo, p.hi = d.zoomed(p.time)
	p.band(s, d)
	d.limits(s, p)
	d.poles(s, p)
	var tags []tag
	for _, l := range append(d.lines[:len(d.lines):len(d.lines)], d.vapour) {
		if !l.judged {
			continue
		}
		p.curve(s, d, l)
		if at, ok := p.lastSeen(d, l.values); ok {
			tags = append(tags, tag{at: at, text: d.short(l), ink: l.stroke.Ink, style: l.stroke})
		}
	}
	p.names(s, tags)
	d.dimension(s, p, true)
	p.minutes(s, d.flagRoom())
	d.flags(s, p)
}

func (d *drawing) short(l line) string {
	if l.name == d.vapour.name {
		return "steam"
	}
	return l.name
}

// lastSeen is the last point of a line inside the panel's height, drawn to the
// right edge: after the hold the lines leave through the floor.
func (p panel) lastSeen(d *drawing, values []float64) (Point, bool) {
	for i := len(values) - 1; i >= 0; i-- {
		if t, v := d.seconds[i], values[i]; t >= p.time.from && t <= p.time.to && v >= p.lo && v <= p.hi {
			return Point{p.x(t), p.y(v)}, true
		}
	}
	return Point{}, false
}

// limits draws the scale of the zoom: whole degrees, the ends of the band in ink.
func (d *drawing) limits(s Surface, p panel) {
	step := max(nice(p.hi-p.lo, 6), 1)
	lo, hi, ok := d.band()
	if !ok {
		p.scale(s, step, "°C")
		return
	}
	p.scale(s, step, "°C", lo, hi)
	for _, v := range [...]float64{lo, hi} {
		if v < p.lo || v > p.hi {
			continue
		}
		y := p.y(v)
		s.Polyline([]Point{{p.X - 0.9, y}, {p.right(), y}}, measured)
		t := label(InkLine, End)
		t.Bold = true
		s.Text(Point{p.X - 1.2, low(y)}, whole(v), t)
	}
}

// whole writes an end of a band, with a decimal only if it has one.
func whole(v float64) string {
	if v == math.Trunc(v) {
		return decimal(v, 0)
	}
	return decimal(v, 1)
}

// zoomed returns the range of values of the zoom: the band with half a kelvin at
// either side, or further where the plateau is not in it, at most 15 K in all.
func (d *drawing) zoomed(w window) (lo, hi float64) {
	seen := extremes(d, w)
	lo, hi = seen.from-0.5, seen.to+0.5
	if from, to, ok := d.band(); ok {
		lo, hi = from-0.5, to+0.5
		if seen.to < from { // the plateau was too low: show it below its band
			lo = seen.to - 1
		}
		hi = max(hi, min(seen.to+0.5, to+6))
	}
	if math.IsInf(lo, 0) || math.IsInf(hi, 0) || !(hi > lo) {
		return 0, 150
	}
	return max(lo, hi-15), hi
}

// extremes are the lowest and highest value of the judged lines in the window.
func extremes(d *drawing, w window) window {
	e := window{math.Inf(1), math.Inf(-1)}
	for _, l := range d.lines {
		if !l.judged {
			continue
		}
		for i, v := range l.values {
			if t := d.seconds[i]; t >= w.from && t <= w.to && !math.IsNaN(v) {
				e.from, e.to = min(e.from, v), max(e.to, v)
			}
		}
	}
	return e
}

// dimension draws the hold as a measured length above the panel, its time written
// on it. Two thin lines lead down to where it begins and ends.
func (d *drawing) dimension(s Surface, p panel, needs bool) {
	w, ok := d.hold()
	y := p.Y - 1.8
	if !ok {
		if needs {
			s.Text(Point{p.X + p.W/2, y - 0.9}, "no hold was measured", label(InkLine, Middle))
		}
		return
	}
	x0, x1 := max(p.x(w.from), p.X), min(p.x(w.to), p.right())
	foot := p.bottom()
	if lo, _, ok := d.band(); ok {
		foot = min(max(p.y(lo), p.Y), p.bottom())
	}
	for _, x := range [...]float64{x0, x1} {
		s.Polyline([]Point{{x, y - 1}, {x, foot}}, Stroke{Ink: InkLine, Width: 0.1})
		s.Polyline([]Point{{x - 0.7, y + 0.7}, {x + 0.7, y - 0.7}}, Stroke{Ink: InkLine, Width: 0.35})
	}
	s.Polyline([]Point{{x0, y}, {x1, y}}, measured)
	text := Duration(w.length())
	if needs {
		text = d.held()
	}
	t := label(InkLine, Middle)
	t.Bold = true
	s.Text(Point{clamp((x0+x1)/2, p.X+9, p.right()-9), y - 1.2}, text, t)
}

func clamp(v, lo, hi float64) float64 {
	if lo > hi {
		return (lo + hi) / 2
	}
	return min(max(v, lo), hi)
}

// held says what the drawn length is: the hold of all conditions, or the time in
// the band where the conditions did not hold long enough together.
func (d *drawing) held() string {
	w, _ := d.hold()
	text := Duration(w.length())
	if h := d.Verdict.Measured.Hold; !h.Known || math.Abs(h.Value-w.length()) > 0.05 {
		text += " in the band"
	}
	if need, ok := d.needed(); ok {
		text += ", needs " + Duration(need)
	}
	return text
}

// needed is the holding time that was asked for: the limit of the finding.
func (d *drawing) needed() (float64, bool) {
	for _, f := range d.Verdict.Findings {
		if f.Check == "holding-time" && f.Low.Known {
			return f.Low.Value, true
		}
	}
	return 0, false
}

// Duration writes a time in s for people, in whole seconds, rounded down so that
// it never flatters: "3 min 34 s".
func Duration(seconds float64) string {
	n := int(math.Floor(seconds + 1e-9))
	m, s := n/60, n%60
	switch {
	case m == 0:
		return fmt.Sprintf("%d s", s)
	case s == 0:
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d min %d s", m, s)
}
