package figure

import (
	"fmt"
	"math"
	"time"
)

// Trend is a quantity over many cycles: a control chart, made ready to be drawn.
type Trend struct {
	Name      string // S1 134
	Quantity  string // "Leak rate"
	Unit      string
	Digits    int // after the point, of the figures beside the axis
	Marks     []TrendMark
	Centre    float64 // mean of the baseline
	Low, High float64 // where single cycles are expected: the pale stripe; both 0 for none
	Limits    []float64
	Since     int // index of the mark in which a signalled change begins, -1 for none
	Says      string
}

// TrendMark is a group of neighbouring cycles, in order of time; often of one.
type TrendMark struct {
	From, To  time.Time // of the first and the last cycle of it
	Low, High float64   // of their figures
	Mean      float64
	Cycles    int
}

// Range is what the axis of values spans: all marks, the stripe, the limits, and some air.
func (c Trend) Range() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	take := func(vs ...float64) {
		for _, v := range vs {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	for _, m := range c.Marks {
		take(m.Low, m.High)
	}
	if c.striped() {
		take(c.Low, c.High)
	}
	take(c.Limits...)
	if !(hi > lo) {
		if math.IsInf(lo, 0) {
			lo, hi = 0, 0
		}
		air := math.Pow10(-c.Digits)
		return lo - air, hi + air
	}
	air := (hi - lo) * 0.06
	return lo - air, hi + air
}

func (c Trend) striped() bool { return c.High > c.Low }

// Figure writes a value of the chart for people.
func (c Trend) Figure(v float64) string { return decimal(v, c.Digits) }

// DrawTrend draws a trend into b: a stroke from the lowest to the highest of each group
// and a line through their means; the stripe is where single cycles are expected, with
// the mean of the baseline; the limits are short dashes with their word.
func DrawTrend(s Surface, c Trend, b Box) {
	const names = 17 // mm at the right
	if len(c.Marks) == 0 {
		s.Text(Point{b.X + b.W/2, b.Y + b.H/2}, "nothing to draw yet", label(InkQuiet, Middle))
		return
	}
	p := panel{Box: Box{b.X + axisRoom, b.Y + roomAbove - 1.5, b.W - axisRoom - names, b.H - roomAbove + 1.5 - roomBelow}}
	first, last := c.Marks[0].From, c.Marks[len(c.Marks)-1].To
	p.time = window{0, max(last.Sub(first).Hours(), 1)}
	p.lo, p.hi = c.Range()
	if c.striped() {
		p.stripe(s, c.Low, c.High)
	}
	step := nice(p.hi-p.lo, max(2, int(p.H/7)))
	p.steps(s, step, c.Unit)
	tags := []tag{}
	for _, l := range c.Limits {
		s.Polyline([]Point{{p.X, p.y(l)}, {p.right(), p.y(l)}}, allowed)
		tags = append(tags, tag{at: Point{p.right(), p.y(l)}, text: "limit " + c.Figure(l), ink: InkLine})
	}
	if c.striped() {
		s.Polyline([]Point{{p.X, p.y(c.Centre)}, {p.right(), p.y(c.Centre)}}, thin)
		tags = append(tags, tag{at: Point{p.right(), p.y(c.Centre)}, text: "was " + c.Figure(c.Centre), ink: InkQuiet})
	}
	var line []Point
	for _, m := range c.Marks {
		x := p.x(m.From.Add(m.To.Sub(m.From) / 2).Sub(first).Hours())
		line = append(line, Point{x, p.y(m.Mean)})
		top, foot := p.y(m.High), p.y(m.Low)
		s.Polyline([]Point{{x, min(top, foot-0.35)}, {x, foot}}, Stroke{Ink: InkQuiet, Width: 0.3})
	}
	s.Polyline(line, solid)
	end := line[len(line)-1]
	tags = append(tags, tag{at: Point{p.right(), end.Y}, text: "now " + c.Figure(c.Marks[len(c.Marks)-1].Mean), ink: InkLine})
	p.names(s, tags)
	p.since(s, c, first)
	p.dates(s, first, last)
}

// steps is the scale of a trend; its gridlines have as many digits as they need.
func (p panel) steps(s Surface, step float64, unit string) {
	digits := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for v := math.Ceil(p.lo/step-1e-9) * step; v <= p.hi+step*1e-9; v += step {
		y := p.y(v)
		s.Polyline([]Point{{p.X, y}, {p.right(), y}}, hair)
		s.Text(Point{p.X - 1, low(y)}, decimal(v, digits), label(InkQuiet, End))
	}
	s.Text(Point{p.X - axisRoom, p.Y - 1.8}, unit, label(InkQuiet, Start))
}

// since marks where a signalled change begins, as a flag on the axis of time.
func (p panel) since(s Surface, c Trend, first time.Time) {
	if c.Since < 0 || c.Since >= len(c.Marks) {
		return
	}
	m := c.Marks[c.Since]
	x := p.x(m.From.Sub(first).Hours())
	s.Polyline([]Point{{x, p.Y - 1}, {x, p.bottom()}}, Stroke{Ink: InkLine, Width: 0.15, Dash: []float64{0.6, 0.6}})
	a := Start
	if x > p.X+p.W*0.7 {
		a = End
	}
	s.Text(Point{x, p.Y - 1.8}, "moves since "+m.From.Format("2 Jan 2006"), Type{Ink: InkLine, Size: small, Bold: true, Anchor: a})
}

// dates draws the axis of time of a trend: days, evenly apart, each with 24 mm.
func (p panel) dates(s Surface, first, last time.Time) {
	s.Polyline([]Point{{p.X, p.bottom()}, {p.right(), p.bottom()}}, measured)
	n := max(1, int(p.W/28))
	span, seen := last.Sub(first), ""
	for i := range n + 1 {
		at := first.Add(span * time.Duration(i) / time.Duration(n))
		text := at.Format("2 Jan")
		if i == 0 || i == n {
			text = at.Format("2 Jan 2006")
		}
		if at.Format("2 Jan") == seen {
			continue
		}
		seen = at.Format("2 Jan")
		x := p.x(at.Sub(first).Hours())
		s.Polyline([]Point{{x, p.bottom()}, {x, p.bottom() + 0.9}}, measured)
		a := Middle
		if i == 0 {
			a = Start
		}
		s.Text(Point{x, p.bottom() + 3.5}, text, label(InkQuiet, a))
	}
}

// TrendHeading names a trend: "S1 134, leak rate".
func TrendHeading(c Trend) string { return c.Name + ": " + c.Quantity }

// TrendWords states what a trend shows, for who cannot see it.
func TrendWords(c Trend) string {
	if len(c.Marks) == 0 {
		return "Nothing to draw yet."
	}
	n := 0
	for _, m := range c.Marks {
		n += m.Cycles
	}
	first, last := c.Marks[0], c.Marks[len(c.Marks)-1]
	text := fmt.Sprintf("%d cycles from %s to %s, in %s. ", n, first.From.Format("2 Jan 2006"), last.To.Format("2 Jan 2006"), c.Unit)
	if c.striped() {
		text += fmt.Sprintf("Mean of the first cycles %s; single ones are expected from %s to %s. ", c.Figure(c.Centre), c.Figure(c.Low), c.Figure(c.High))
	}
	text += fmt.Sprintf("Mean of the last %s: %s. ", group(last.Cycles), c.Figure(last.Mean))
	for _, l := range c.Limits {
		text += "Limit " + c.Figure(l) + ". "
	}
	return text + sentence(c.Says)
}

func group(n int) string {
	if n == 1 {
		return "cycle"
	}
	return fmt.Sprintf("%d cycles", n)
}

// TrendSVG returns a trend as a picture of w by h mm with a text alternative. The same
// trend gives the same bytes. id names it within its page.
func TrendSVG(c Trend, id string, w, h float64) []byte {
	s := openAs("hp-trend-"+identifier(id), TrendHeading(c), TrendWords(c), "", w, h)
	DrawTrend(s, c, Box{0, 0, w, h})
	return s.close()
}
