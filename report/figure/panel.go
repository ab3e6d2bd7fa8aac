package figure

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// panel is a rectangle with a time axis and an axis of values.
type panel struct {
	Box
	time   window
	lo, hi float64 // of the values, at the lower and the upper edge
}

func (p panel) x(t float64) float64 { return p.X + (t-p.time.from)/p.time.length()*p.W }
func (p panel) y(v float64) float64 { return p.bottom() - (v-p.lo)/(p.hi-p.lo)*p.H }

// low puts the baseline of a word so that its middle stands at y.
func low(y float64) float64 { return y + small*0.35 }

func label(ink Ink, a Anchor) Type { return Type{Ink: ink, Size: small, Anchor: a} }

// scale draws hairlines across the panel and their values beside it, the unit
// above. The values in mark are the ends of the band: they are written in ink, and
// a value too close to one of them is left out.
func (p panel) scale(s Surface, step float64, unit string, mark ...float64) {
	first := math.Ceil(p.lo/step-1e-9) * step
	last := math.Floor(p.hi/step+1e-9) * step
	digits := 0
	if step < 1 {
		digits = 1
	}
	if step < 0.1 {
		digits = 2
	}
	for i := 0; first+float64(i)*step <= last+step/2; i++ {
		v := first + float64(i)*step
		y := p.y(v)
		s.Polyline([]Point{{p.X, y}, {p.right(), y}}, hair)
		if !slices.ContainsFunc(mark, func(m float64) bool { return math.Abs(p.y(m)-y) < small }) {
			s.Text(Point{p.X - 1, low(y)}, decimal(v, digits), label(InkQuiet, End))
		}
	}
	s.Text(Point{p.X - axisRoom, p.Y - 1.8}, unit, label(InkQuiet, Start))
}

// decimal writes a number with a fixed count of digits and a true minus sign.
func decimal(v float64, digits int) string {
	t := strconv.FormatFloat(v, 'f', digits, 64)
	if zero, _ := strconv.ParseFloat(t, 64); zero == 0 {
		return strconv.FormatFloat(0, 'f', digits, 64)
	}
	if t[0] == '-' {
		return "−" + t[1:]
	}
	return t
}

// stripe draws the band across the panel.
func (p panel) stripe(s Surface, lo, hi float64) {
	top, bottom := max(p.Y, p.y(hi)), min(p.bottom(), p.y(lo))
	if bottom > top {
		s.Rectangle(Box{p.X, top, p.W, bottom - top}, InkBand)
	}
}

// minutes draws the time axis along the lower edge of the panel, a row of labels
// below; drop is the room in mm that flags take first.
func (p panel) minutes(s Surface, drop float64) {
	s.Polyline([]Point{{p.X, p.bottom()}, {p.right(), p.bottom()}}, measured)
	step := stepFor(p.time.length(), p.W)
	first := math.Ceil(p.time.from/step-1e-9) * step
	y := p.bottom() + drop
	for i := 0; ; i++ {
		t := first + float64(i)*step
		if t > p.time.to+1e-6 {
			break
		}
		x := p.x(t)
		s.Polyline([]Point{{x, p.bottom()}, {x, p.bottom() + 0.9}}, measured)
		text := clock(t, step)
		if i == 0 {
			text += " min"
		}
		s.Text(Point{x, y + 3.5}, text, label(InkQuiet, Middle))
	}
}

// stepFor picks the distance of time labels in s, so that each has 11 mm.
func stepFor(length, width float64) float64 {
	for _, s := range [...]float64{5, 10, 15, 30, 60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 14400} {
		if width*s/length >= 11 {
			return s
		}
	}
	return 28800
}

// clock writes a time since the start as minutes, with seconds where the step needs them.
func clock(t, step float64) string {
	m, s := int(t)/60, int(t)%60
	if step >= 60 {
		return strconv.Itoa(m)
	}
	return fmt.Sprintf("%d:%02d", m, s)
}

// nice picks a distance of gridlines out of 1, 2, 5 times a power of ten, so that
// there are at most n of them.
func nice(length float64, n int) float64 {
	if !(length > 0) {
		return 1
	}
	step := math.Pow(10, math.Floor(math.Log10(length/float64(n))))
	for _, f := range [...]float64{1, 2, 5, 10} {
		if length/(f*step) <= float64(n) {
			return f * step
		}
	}
	return 10 * step
}

// tag is a name at the end of a line.
type tag struct {
	at    Point // end of the line
	text  string
	ink   Ink
	style Stroke
	y     float64 // where it is put
}

// tagHeight is the room a name takes, in mm.
const tagHeight = 2.9

// names puts the names of lines right of the panel, beside their ends and never
// over one another: those too close move apart, with a hairline to the line.
func (p panel) names(s Surface, tags []tag) {
	tags = spread(tags, p.Y, p.bottom())
	for _, t := range tags {
		x := p.right() + 1.5
		if math.Abs(t.y-t.at.Y) > 0.3 || t.at.X < p.right()-1 {
			s.Polyline([]Point{{t.at.X + 0.3, t.at.Y}, {x + 1.2, t.y}}, Stroke{Ink: InkQuiet, Width: 0.1})
			x += 1.6
		}
		s.Text(Point{x, low(t.y)}, t.text, label(t.ink, Start))
	}
}

// spread moves names apart inside top and bottom; what finds no room is counted
// in the last name.
func spread(tags []tag, top, bottom float64) []tag {
	fit := max(1, int((bottom-top)/tagHeight)+1)
	if len(tags) > fit {
		rest := len(tags) - fit + 1
		tags = slices.Clone(tags[rest-1:]) // judged channels stand last and stay
		tags[0].text = fmt.Sprintf("and %d more", rest)
		tags[0].ink = InkQuiet
	}
	slices.SortStableFunc(tags, func(a, b tag) int {
		switch {
		case a.at.Y < b.at.Y:
			return -1
		case a.at.Y > b.at.Y:
			return 1
		}
		return 0
	})
	y := math.Inf(-1)
	for i := range tags {
		tags[i].y = max(tags[i].at.Y, y, top)
		y = tags[i].y + tagHeight
	}
	y = bottom
	for i := len(tags) - 1; i >= 0; i-- {
		tags[i].y = min(tags[i].y, y)
		y = tags[i].y - tagHeight
	}
	return tags
}

// end returns where the line leaves the panel, false if it is not in it.
func (p panel) end(d *drawing, values []float64) (Point, bool) {
	for i := len(values) - 1; i >= 0; i-- {
		if t := d.seconds[i]; !math.IsNaN(values[i]) && t <= p.time.to && t >= p.time.from {
			q := Point{p.x(t), p.y(values[i])}
			q.Y = min(max(q.Y, p.Y), p.bottom())
			return q, true
		}
	}
	return Point{}, false
}
