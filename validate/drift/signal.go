package drift

import (
	"math"
	"time"
)

// Signal is a change that a chart shows: from the point where the sum left zero for
// the last time before it passed its limit, to where it is back at zero, or to the
// last point.
//
// Now, Limit, Pace and the days are those of the straight line through the points
// from Since to Last, by least squares over time. The points of a change are found by
// the change itself, so they lie a little on its side; neighbours that agree, as by
// the weather, make the interval too narrow.
type Signal struct {
	Up    bool // it rose
	Since int  // index of the first point of the change
	First int  // index of the point that signalled
	Last  int  // index of the last point of the change

	Moved float64  // how far the line at Last lies from the centre, in the unit
	Pace  float64  // of the line, in the unit a week
	PaceU float64  // expanded uncertainty of Pace, k = 2
	Limit *float64 // the limit it moves to, nil if there is none
	Left  float64  // from the line at Last to the limit, in the unit; negative: beyond it

	// When the line reaches the limit, and the interval of it at k = 2 (Fieller); zero
	// times: not within a hundred years, or never, at this pace.
	Reached, Earliest, Latest time.Time
}

// signals finds the signals of one sum.
func (c *Chart) signals(sum []float64, up bool, d design) {
	for i := 0; i < len(sum); i++ {
		if !(sum[i] > d.h) {
			continue
		}
		s := Signal{Up: up, Since: i, First: i, Last: i}
		for s.Since > 0 && sum[s.Since-1] > 0 {
			s.Since--
		}
		for s.Last+1 < len(sum) && sum[s.Last+1] > 0 {
			s.Last++
		}
		s.Limit = c.Points[len(c.Points)-1].High
		if !up {
			s.Limit = c.Points[len(c.Points)-1].Low
		}
		s.extrapolate(c.Points[s.Since:s.Last+1], c.Centre, c.Sigma)
		c.Signals = append(c.Signals, s)
		i = s.Last
	}
}

const (
	week    = 7 * 24 * time.Hour
	century = 100 * 365.25 * 24 * time.Hour
)

// extrapolate draws the line. Formulas: least squares, and Fieller's interval for the
// time at which a line reaches a value: the u, from the mean time, with
// (d - b u)² ≤ (2 s)² (1/n + u²/Sxx), d from the mean value to the limit, b the slope.
func (s *Signal) extrapolate(points []Point, centre, sigma float64) {
	n := float64(len(points))
	zero, last := points[0].At, points[len(points)-1].At
	var meanT, meanX, sxx, sxy float64
	at := func(p Point) float64 { return float64(p.At.Sub(zero)) / float64(week) }
	for _, p := range points {
		meanT += at(p) / n
		meanX += p.Value / n
	}
	for _, p := range points {
		sxx += (at(p) - meanT) * (at(p) - meanT)
		sxy += (at(p) - meanT) * (p.Value - meanX)
	}
	now, noise := meanX, sigma
	if sxx > 0 {
		s.Pace = sxy / sxx
		now += s.Pace * (float64(last.Sub(zero))/float64(week) - meanT)
		if len(points) > 2 {
			rest := 0.0
			for _, p := range points {
				r := p.Value - meanX - s.Pace*(at(p)-meanT)
				rest += r * r
			}
			noise = math.Sqrt(rest / (n - 2))
		}
		s.PaceU = 2 * noise / math.Sqrt(sxx)
	}
	s.Moved = now - centre
	if s.Limit == nil {
		return
	}
	s.Left = *s.Limit - now
	if !s.Up {
		s.Left = -s.Left
	}
	if sxx == 0 || (s.Pace > 0) != s.Up || s.Pace == 0 {
		return
	}
	when := func(u float64) time.Time {
		d := (u + meanT) * float64(week)
		if !(math.Abs(d) < float64(century)) {
			return time.Time{}
		}
		return zero.Add(time.Duration(d))
	}
	d, c2 := *s.Limit-meanX, 4*noise*noise
	s.Reached = when(d / s.Pace)
	a := s.Pace*s.Pace - c2/sxx
	if a <= 0 { // the slope is not known from none: it may never be reached
		return
	}
	half := math.Sqrt(c2 * (d*d/sxx + a/n))
	mid := d * s.Pace
	s.Earliest, s.Latest = when((mid-half)/a), when((mid+half)/a)
}
