package surgery

import (
	"math"
	"time"

	picture "holdproof/report/figure"
)

// Drawn is the chart made ready to be drawn, its cycles in at most so many groups of
// neighbours. Times are in the site's zone.
func (d Drift) Drawn(c DriftChart, groups int) picture.Trend {
	q := quantityOf(c.Of)
	out := picture.Trend{Name: c.Name(), Quantity: q.Name, Unit: q.Unit, Digits: q.Digits, Since: -1, Says: d.Says(c)}
	if c.Of == driftQuantities[0].of || q.Digits == 0 {
		out.Digits++ // beside an axis there is room for what lies between two steps
	}
	if c.Baseline > 0 {
		out.Centre, out.Low, out.High = c.Centre, c.Low, c.High
	}
	size := max(1, (len(c.Points)+groups-1)/max(1, groups))
	for i := 0; i < len(c.Points); i += size {
		points := c.Points[i:min(i+size, len(c.Points))]
		m := picture.TrendMark{From: points[0].At.In(d.zone), To: points[len(points)-1].At.In(d.zone), Low: math.Inf(1), High: math.Inf(-1), Cycles: len(points)}
		for _, p := range points {
			m.Low, m.High, m.Mean = min(m.Low, p.Value), max(m.High, p.Value), m.Mean+p.Value/float64(len(points))
		}
		if c.Standing == DriftMoves && c.Signal.Since >= i && c.Signal.Since < i+size {
			out.Since = len(out.Marks)
		}
		out.Marks = append(out.Marks, m)
	}
	if len(c.Points) > 0 && c.Decides {
		last := c.Points[len(c.Points)-1]
		if last.Low != nil {
			out.Limits = append(out.Limits, *last.Low)
		}
		if last.High != nil {
			out.Limits = append(out.Limits, *last.High)
		}
	}
	return out
}

// Day is a date for people, in the site's zone.
func (d Drift) Day(t time.Time) string { return d.day(t) }
