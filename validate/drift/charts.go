package drift

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// The baseline of a chart, in cycles after validation, repair or the first record
// (the numbers are the surgery's rule, not a published one).
const (
	firstLimits = 20  // there are no limits before so many
	lastLimits  = 100 // they are revised up to here, then they stand
)

// Quantity is what a chart is about.
type Quantity string

// The first three decide, by cumulative sums; the others are drawn.
const (
	SteamMean     Quantity = "steam_mean_k"      // K, reference less steam temperature
	Equilibration Quantity = "equilibration_s"   // s
	LeakRate      Quantity = "leak_kpa_per_min"  // kPa/min
	PlateauMean   Quantity = "plateau mean, °C"  // °C
	HeatingTime   Quantity = "heating time, s"   // s
	VacuumTime    Quantity = "time to vacuum, s" // s
)

// design is how a quantity is watched. All of it is ours: chosen by the simulations of
// this package's tests, whose requirement stands beside [Charts].
type design struct {
	of      Quantity
	decides bool
	low     bool    // a fall signals too
	floor   float64 // least standard deviation used, in the unit: below it a change does not matter
	k, h    float64 // allowance and decision limit, in standard deviations
}

var designs = []design{
	// 0.1 K is the last digit of most recorders, and a twelfth of the way to the guarded limit.
	{of: SteamMean, decides: true, low: true, floor: 0.1, k: 1, h: 12},
	// A second is a fifteenth of the limit.
	{of: Equilibration, decides: true, floor: 1, k: 1, h: 12},
	// Tests are weekly or daily, seldom two a day, and the way to 0.13 is short.
	{of: LeakRate, decides: true, floor: 0.005, k: 1, h: 5},
	{of: PlateauMean, floor: 0.05}, {of: HeatingTime, floor: 1}, {of: VacuumTime, floor: 1},
}

// byGauge is the row of steam_mean_k from gauge pressure. The weather moves it by
// about 1 kPa, 0.1 K at 134 °C, for days at a time: neighbours agree, and the sums must
// be long.
var byGauge = design{of: SteamMean, decides: true, low: true, floor: 0.3, k: 1, h: 20}

// most is what one cycle may add to a sum, in standard deviations before the
// allowance is taken off (ours): drift is many cycles, and an odd one has a verdict of its own.
const most = 4.0

// drawnWeight is the weight of the averages that are drawn (e-Handbook 6.3.2.4 uses
// 0.2 to 0.3).
const drawnWeight = 0.2

// Point is one figure of one cycle that conforms.
type Point struct {
	Steriliser string
	Programme  string // "" for a leak test
	Cycle      string // id
	At         time.Time
	Of         Quantity
	Value      float64 // in the unit of the quantity
	Low, High  *float64
	// Low and High are where the verdict would no longer be that it conforms, nil if
	// there is no such limit: ± (2 K - U) of steam_mean_k, 15 s, 0.13 kPa/min.
	Gauge bool // the pressure was a gauge's, so the weather is in a steam_mean_k
}

// Reset is a validation or a repair: what a steriliser does after it is learned anew.
type Reset struct {
	Steriliser string
	At         time.Time
}

// Chart is one quantity of one programme of one steriliser, from one reset to the next.
type Chart struct {
	Steriliser, Programme string
	Of                    Quantity
	Decides               bool
	From, To              time.Time // of the resets, zero where there is none; To is not in it
	Points                []Point   // in order of time
	Baseline              int       // cycles that the limits rest on: 0 (not yet), 20 to 100
	Centre, Sigma         float64   // of the baseline, in the unit; 0 while there is none
	Low, High             float64   // Centre ∓ 3 Sigma, for single values; 0 while there is none
	Average               []float64 // exponentially weighted, one a point, empty while there is no baseline
	K, H                  float64   // of the sums, in standard deviations
	Rise, Fall            []float64 // the sums, one a point, in standard deviations; empty where none decide
	Signals               []Signal  // in order of time
}

// Open returns the signal that still stands at the last point.
func (c Chart) Open() (Signal, bool) {
	if n := len(c.Signals); n > 0 && c.Signals[n-1].Last == len(c.Points)-1 {
		return c.Signals[n-1], true
	}
	return Signal{}, false
}

// Charts lays a chart over every quantity of every programme of every steriliser, in
// the order of these, and begins anew at each reset. Order of points and resets does
// not matter.
//
// A chart that decides adds up, cycle by cycle, how far each lies from the mean of the
// baseline beyond k standard deviations, and signals above h ([CUSUM]; e-Handbook
// 6.3.2.3). Baseline: the first 20 cycles; each cycle is held against those before it,
// at most the first 100, and nothing is learned while a sum is on its way up. The
// standard deviation is that of neighbours, and at least half of the step the figures
// are rounded to and the floor of the quantity.
//
// k and h are chosen by simulation (TestHealthyYears, TestDriftingSensor,
// TestLeakingSeal), since a formula for known limits, such as Siegmund's, promises too
// much of limits from 20 cycles: a steriliser of 2,000 cycles a year that does not
// change gives at most one signal a year over all its charts in 90 years of 100 (98 at
// least were found); a sensor that drifts by 0.05 K a week, from ten cycles a week on,
// and a seal that leaks more each week are signalled before the first verdict they
// spoil. Not so by gauge pressure: the weather hides a drift of 0.05 K a week for up to
// 22 weeks. Nor in the first 20 cycles, which for weekly leak tests are 20 weeks.
//
// Error: a figure that is not finite, a point without time or of no known quantity,
// two figures of one quantity of one cycle.
func Charts(points []Point, resets []Reset) ([]Chart, error) {
	for _, p := range points {
		if err := p.check(); err != nil {
			return nil, err
		}
	}
	points, resets = slices.Clone(points), slices.Clone(resets)
	slices.SortFunc(points, func(a, b Point) int {
		return cmp.Or(strings.Compare(a.Steriliser, b.Steriliser), strings.Compare(a.Programme, b.Programme),
			cmp.Compare(rank(a.Of), rank(b.Of)), a.At.Compare(b.At), strings.Compare(a.Cycle, b.Cycle))
	})
	slices.SortFunc(resets, func(a, b Reset) int {
		return cmp.Or(strings.Compare(a.Steriliser, b.Steriliser), a.At.Compare(b.At))
	})
	var out []Chart
	for i := 0; i < len(points); {
		n := i + 1
		for n < len(points) && sameChart(points[i], points[n]) {
			if points[n].Cycle == points[n-1].Cycle && points[n].At.Equal(points[n-1].At) {
				return nil, fmt.Errorf("cycle %s has %s twice, expected once", points[n].Cycle, points[n].Of)
			}
			n++
		}
		cs, err := segments(points[i:n], resets)
		if err != nil {
			return nil, err
		}
		out, i = append(out, cs...), n
	}
	return out, nil
}

func (p Point) check() error {
	switch {
	case rank(p.Of) < 0:
		return fmt.Errorf("cycle %s: found the quantity %q, expected one that is charted", p.Cycle, p.Of)
	case math.IsNaN(p.Value) || math.IsInf(p.Value, 0):
		return fmt.Errorf("cycle %s: found %v as %s, expected a finite number", p.Cycle, p.Value, p.Of)
	case p.At.IsZero():
		return fmt.Errorf("cycle %s: found no time, expected its start", p.Cycle)
	}
	return nil
}

// rank is the place of a quantity, -1 if it is none.
func rank(q Quantity) int {
	return slices.IndexFunc(designs, func(d design) bool { return d.of == q })
}

func sameChart(a, b Point) bool {
	return a.Steriliser == b.Steriliser && a.Programme == b.Programme && a.Of == b.Of
}

// segments cuts the points of one chart at the resets of its steriliser.
func segments(points []Point, resets []Reset) ([]Chart, error) {
	var out []Chart
	from := time.Time{}
	cut := func(to time.Time) error {
		n := len(points)
		if !to.IsZero() {
			n, _ = slices.BinarySearchFunc(points, to, func(p Point, t time.Time) int { return p.At.Compare(t) })
		}
		if n > 0 {
			c, err := lay(points[:n:n])
			if err != nil {
				return err
			}
			c.From, c.To = from, to
			out = append(out, c)
		}
		points, from = points[n:], to
		return nil
	}
	for _, r := range resets {
		if len(points) > 0 && r.Steriliser == points[0].Steriliser {
			if err := cut(r.At); err != nil {
				return nil, err
			}
		}
	}
	if len(points) == 0 {
		return out, nil
	}
	return out, cut(time.Time{})
}

// lay lays one chart over points in order of time.
func lay(points []Point) (Chart, error) {
	first := points[0]
	d := designs[rank(first.Of)]
	if first.Of == SteamMean && slices.ContainsFunc(points, func(p Point) bool { return p.Gauge }) {
		d = byGauge
	}
	c := Chart{Steriliser: first.Steriliser, Programme: first.Programme, Of: first.Of, Decides: d.decides, Points: points, K: d.k, H: d.h}
	if len(points) < firstLimits {
		return c, nil
	}
	x := make([]float64, len(points))
	for i, p := range points {
		x[i] = p.Value
	}
	var s Sums
	if c.Baseline = min(len(x), lastLimits); d.decides {
		s, c.Baseline = d.sums(x)
	}
	c.Centre, c.Sigma = baseline(x[:c.Baseline], d.floor)
	c.Low, c.High = c.Centre-3*c.Sigma, c.Centre+3*c.Sigma
	var err error
	if c.Average, err = EWMA(x, drawnWeight, c.Centre); err != nil || !d.decides {
		return c, err
	}
	c.Rise, c.Fall = s.Hi, s.Lo
	c.signals(s.Hi, true, d)
	if d.low {
		c.signals(s.Lo, false, d)
	}
	slices.SortStableFunc(c.Signals, func(a, b Signal) int { return cmp.Or(cmp.Compare(a.Last, b.Last), cmp.Compare(a.First, b.First)) })
	return c, nil
}

// sums runs the chart over x, in standard deviations from the mean of the values
// before, and returns how many of them it had learned from at the end. Nothing is
// learned while a sum stands above a quarter of its limit, or a drift would be learned
// as it comes.
func (d design) sums(x []float64) (Sums, int) {
	chart := CUSUM{K: d.k, H: d.h}
	s := Sums{Hi: make([]float64, len(x)), Lo: make([]float64, len(x)), FirstHi: -1, FirstLo: -1}
	n, hi, lo := firstLimits, 0.0, 0.0
	var centre, sigma float64
	for i, v := range x {
		if i < firstLimits {
			continue
		}
		if n < lastLimits && max(hi, lo) <= d.h/4 {
			n = min(i, lastLimits)
			centre, sigma = baseline(x[:n], d.floor)
		}
		hi, lo = chart.next(hi, lo, max(-most, min(most, (v-centre)/sigma)))
		s.Hi[i], s.Lo[i] = hi, lo
	}
	return s, n
}

// baseline is the mean and the standard deviation of at least two values; the latter
// at least floor, and at least half of the smallest step between two of them, since
// rounded figures that all agree would otherwise promise more than they show.
func baseline(x []float64, floor float64) (centre, sigma float64) {
	c, err := IndividualsOf(x)
	if err != nil {
		return 0, math.Inf(1) // not reached: there are 20 finite values
	}
	sorted := slices.Sorted(slices.Values(x))
	step := math.Inf(1)
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i] - sorted[i-1]; d > 1e-9 {
			step = min(step, d)
		}
	}
	if math.IsInf(step, 1) {
		step = 0
	}
	return c.Mean, max(floor, step/2, c.Sigma())
}
