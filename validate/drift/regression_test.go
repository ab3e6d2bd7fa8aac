package drift

import (
	"math"
	"testing"
	"time"
)

// A worked example of the straight line and of the day it reaches a limit: twelve
// invented figures. Slope and its standard error by numpy.polyfit (with cov=True) and
// numpy.linalg.lstsq; the interval as the roots of Fieller's quadratic in Python
// (computed once; digits as printed). k = 2 throughout.
func TestRegressionExample(t *testing.T) {
	days := numbers(t, "0 3 7 10 14 18 21 25 28 33 37 41")
	figures := numbers(t, "0.11 0.16 0.13 0.22 0.19 0.28 0.24 0.33 0.31 0.36 0.42 0.40")
	var points []Point
	for i, d := range days {
		points = append(points, Point{At: opened.Add(time.Duration(d * 24 * float64(time.Hour))), Value: figures[i]})
	}
	limit := 1.2
	s := Signal{Up: true, Limit: &limit}
	s.extrapolate(points, 0.1, 99) // the scatter about the line counts, not that of the baseline
	since := func(at time.Time) float64 { return at.Sub(opened).Hours() / 24 }
	for _, c := range []struct {
		what    string
		got     float64
		printed string
		allow   float64
	}{
		{"slope, a week", s.Pace, "0.05239648", 5e-9},
		{"twice its standard error", s.PaceU, "0.00885082", 1e-8},
		{"the line at the last figure, less 0.1", s.Moved, "0.32156073", 5e-9},
		{"from there to the limit", s.Left, "0.77843927", 5e-9},
		{"days to the limit", since(s.Reached), "144.99697326", 5e-9},
		{"at the earliest", since(s.Earliest), "126.78624293", 5e-9},
		{"at the latest", since(s.Latest), "170.56525180", 5e-9},
	} {
		if want := numbers(t, c.printed)[0]; math.Abs(c.got-want) > c.allow+1e-9 {
			t.Errorf("%s: %.8f, printed %s", c.what, c.got, c.printed)
		}
	}
	// Downwards it is the same with its signs turned.
	for i := range points {
		points[i].Value *= -1
	}
	low := -limit
	down := Signal{Limit: &low}
	down.extrapolate(points, -0.1, 99)
	if math.Abs(down.Pace+s.Pace) > 1e-12 || math.Abs(down.Left-s.Left) > 1e-12 || !down.Earliest.Equal(s.Earliest) || !down.Latest.Equal(s.Latest) {
		t.Errorf("downwards: %+v", down)
	}
}
