package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"
)

// Average run lengths of two-sided sums, k = 0.5 standard deviations, by the shift of
// the mean, as printed in tables of the tabular CUSUM (Montgomery, Introduction to
// Statistical Quality Control; memory), and Siegmund's approximation of a one-sided sum
// (exp(-2 D b) + 2 D b - 1) / (2 D²), D = shift - k, b = h + 1.166 (Sequential Analysis,
// 1985; memory; computed here), two sides by 1/L = 1/L+ + 1/L-. Simulated figure and
// approximation must agree with the table to 5 %.
var runLengths = []struct {
	h, shift float64
	printed  string
}{{4, 0, "168"}, {5, 0, "465"}, {4, 0.25, "74.2"}, {4, 0.5, "26.6"}, {5, 0.5, "38.0"}, {4, 1, "8.38"}, {5, 1, "10.4"}, {4, 2, "3.34"}, {5, 2, "4.01"}}

func siegmund(h, k, shift float64) float64 {
	d, b := shift-k, h+1.166
	if d == 0 {
		return b * b
	}
	return (math.Exp(-2*d*b) + 2*d*b - 1) / (2 * d * d)
}

func TestRunLengths(t *testing.T) {
	for i, c := range runLengths {
		r := rand.New(rand.NewPCG(1, uint64(i)))
		chart := CUSUM{K: 0.5, H: c.h}
		runs, values := years(3000), 0
		for range runs {
			for hi, lo := 0.0, 0.0; hi <= c.h && lo <= c.h; values++ {
				hi, lo = chart.next(hi, lo, c.shift+r.NormFloat64())
			}
		}
		got, want := float64(values)/float64(runs), numbers(t, c.printed)[0]
		formula := 1 / (1/siegmund(c.h, chart.K, c.shift) + 1/siegmund(c.h, chart.K, -c.shift))
		if math.Abs(got/want-1) > 0.05 || math.Abs(formula/want-1) > 0.05 {
			t.Errorf("h %v, shift %v: simulated %.4g, Siegmund %.4g, printed %v", c.h, c.shift, got, formula, want)
		}
	}
}

// line returns n daily figures that rise by step a day from the 40th on, with a
// scatter of ± wobble in turn.
func line(of Quantity, n int, at, wobble, step float64, limit *float64) []Point {
	var out []Point
	for i := range n {
		v := at + wobble*float64(i%2*2-1) + step*max(0, float64(i-39))
		out = append(out, Point{Steriliser: "S1", Programme: "134", Cycle: fmt.Sprintf("c%03d", i), At: opened.AddDate(0, 0, i), Of: of, Value: v, High: limit, Low: &steamLo})
	}
	return out
}

// A rise of 0.02 K a day from day 40 on: worked out by hand. At day 80 the line through
// the change lies at 0.1 + 41·0.02; the limit of 1.2 K is 14 days further.
func TestSignalSaysWhatMoved(t *testing.T) {
	cs := chartsOf(t, line(SteamMean, 81, 0.1, 0.02, 0.02, &steamHi))
	if len(cs) != 1 || len(cs[0].Signals) != 1 {
		t.Fatalf("%+v", cs)
	}
	s, open := cs[0].Open()
	if !open || !s.Up || s.Since < 40 || s.Since > 48 || s.First <= s.Since || s.First > 60 || s.Last != 80 {
		t.Errorf("found %+v", s)
	}
	rise := cs[0].Rise
	if rise[s.Since-1] != 0 || slices.Min(rise[s.Since:]) <= 0 || rise[s.First] <= cs[0].H || rise[s.First-1] > cs[0].H {
		t.Errorf("the change from %d, signalled at %d, is not that of the sums %v", s.Since, s.First, rise)
	}
	near := func(what string, got, want, allow float64) {
		if !(math.Abs(got-want) <= allow) {
			t.Errorf("%s: %v, expected %v", what, got, want)
		}
	}
	near("pace", s.Pace, 0.14, s.PaceU)
	near("uncertainty of the pace", s.PaceU, 0.004, 0.002)
	near("moved", s.Moved, 0.82, 0.03)
	near("left", s.Left, 1.2-0.92, 0.02)
	near("reached", s.Reached.Sub(opened).Hours()/24, 94, 1)
	if !s.Earliest.Before(s.Reached) || !s.Reached.Before(s.Latest) || s.Latest.Sub(s.Earliest) > 5*24*time.Hour {
		t.Errorf("reached %v, between %v and %v", s.Reached, s.Earliest, s.Latest)
	}
}

// Fieller's interval holds the day on which the true line reaches the limit in 95 of
// 100 cases, as k = 2 promises of normal scatter: 95.4 %, and the simulation to 1.5 %.
func TestIntervalOfTheDay(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	n, held := years(2000), 0
	for range n {
		points := make([]Point, 60)
		for i := range points {
			points[i] = Point{At: opened.AddDate(0, 0, i), Value: 0.01*float64(i) + 0.1*r.NormFloat64()}
		}
		s := Signal{Up: true, Limit: &steamHi}
		s.extrapolate(points, 0, 0.1)
		due := opened.Add(time.Duration(steamHi / 0.01 * 24 * float64(time.Hour)))
		if !s.Earliest.After(due) && (s.Latest.IsZero() || !s.Latest.Before(due)) {
			held++
		}
	}
	if p := float64(held) / float64(n); math.Abs(p-0.954) > 0.015 {
		t.Errorf("held in %.3f of the cases", p)
	}
}

// A pace that cannot be told from none promises no interval.
func TestPaceOfNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	seen := 0
	for range 200 {
		points := make([]Point, 20)
		for i := range points {
			points[i] = Point{At: opened.AddDate(0, 0, i), Value: 0.1 * r.NormFloat64()}
		}
		s := Signal{Up: true, Limit: &steamHi}
		s.extrapolate(points, 0, 0.1)
		if s.Pace > 0 && s.Pace < s.PaceU {
			seen++
			if !s.Earliest.IsZero() || !s.Latest.IsZero() {
				t.Fatalf("pace %v ± %v promises %v to %v", s.Pace, s.PaceU, s.Earliest, s.Latest)
			}
		}
	}
	if seen < 50 {
		t.Errorf("%d cases, expected about 95", seen)
	}
}

// A step is no drift: it signals, and no day is promised.
func TestStepPromisesNoDay(t *testing.T) {
	p := line(SteamMean, 90, 0, 0.02, 0, &steamHi)
	for i := 40; i < len(p); i++ {
		p[i].Value -= 0.6
	}
	s, open := chartsOf(t, p)[0].Open()
	if !open || s.Up || s.Since != 40 || !s.Latest.IsZero() || math.Abs(s.Moved+0.6) > 0.02 || math.Abs(s.Left-0.6) > 0.02 {
		t.Errorf("found %+v, %v", s, open)
	}
}

// One cycle far off is no drift, however far.
func TestOddCycleDoesNotSignal(t *testing.T) {
	p := line(SteamMean, 90, 0, 0.02, 0, &steamHi)
	p[50].Value = 50
	if c := chartsOf(t, p)[0]; len(c.Signals) > 0 {
		t.Errorf("found %+v", c.Signals)
	}
}

// A repair begins the chart anew: what was learned before does not count, and the
// signal stays with the chart before.
func TestReset(t *testing.T) {
	p := line(SteamMean, 81, 0.1, 0.02, 0.02, &steamHi)
	more := line(SteamMean, 121, 0.9, 0.02, 0, &steamHi)
	resets := []Reset{{"S2", p[10].At}, {"S1", p[80].At.Add(time.Hour)}, {"S1", p[80].At.Add(time.Hour)}}
	cs, err := Charts(append(p, more[81:]...), resets)
	if err != nil || len(cs) != 2 {
		t.Fatalf("%v, %d charts", err, len(cs))
	}
	before, after := cs[0], cs[1]
	if len(before.Points) != 81 || len(before.Signals) != 1 || !before.To.Equal(resets[1].At) || !before.From.IsZero() {
		t.Errorf("before: %+v", before)
	}
	if len(after.Points) != 40 || len(after.Signals) != 0 || after.Baseline != 39 || !after.From.Equal(resets[1].At) || math.Abs(after.Centre-0.9) > 0.01 {
		t.Errorf("after: %+v", after)
	}
	if _, open := after.Open(); open {
		t.Error("the repair did not close the signal")
	}
}

// A point at the moment of a reset is after it.
func TestPointAtReset(t *testing.T) {
	p := line(SteamMean, 3, 0, 0, 0, nil)
	cs, err := Charts(p, []Reset{{"S1", p[1].At}})
	if err != nil || len(cs) != 2 || len(cs[0].Points) != 1 || len(cs[1].Points) != 2 {
		t.Errorf("%v %+v", err, cs)
	}
}

func TestBaselineLengths(t *testing.T) {
	for _, c := range []struct{ points, baseline int }{{1, 0}, {19, 0}, {20, 20}, {21, 20}, {60, 59}, {100, 99}, {101, 100}, {300, 100}} {
		got := chartsOf(t, line(SteamMean, c.points, 0, 0.02, 0, nil))[0]
		if got.Baseline != c.baseline || len(got.Average) != len(got.Rise) || (c.baseline > 0) != (len(got.Average) > 0) {
			t.Errorf("%d points: baseline %d, expected %d", c.points, got.Baseline, c.baseline)
		}
	}
}

// Charts that are drawn only never signal, and a fall of the leak rate is no leak.
func TestWhatDecides(t *testing.T) {
	for _, d := range designs {
		for _, sign := range []float64{1, -1} {
			p := line(d.of, 200, 0.1, 0.001, sign*d.floor, nil)
			c := chartsOf(t, p)[0]
			want := d.decides && (sign > 0 || d.low)
			if _, open := c.Open(); open != want || c.Decides != d.decides {
				t.Errorf("%s by %v: signal %v, expected %v", d.of, sign, open, want)
			}
			if !d.decides && (c.Sigma == 0 || len(c.Average) != 200) {
				t.Errorf("%s is not drawn: %+v", d.of, c)
			}
		}
	}
}

// Rounded figures that all agree promise no more than they show: half a step.
func TestBaselineOfRoundedFigures(t *testing.T) {
	for _, c := range []struct {
		x     []float64
		sigma float64
	}{{[]float64{1, 1, 1}, 0.005}, {[]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1.5}, 0.25}, {[]float64{1, 2, 1}, 1 / d2}} {
		if _, sigma := baseline(c.x, 0.005); math.Abs(sigma-c.sigma) > 1e-12 {
			t.Errorf("%v: %v, expected %v", c.x, sigma, c.sigma)
		}
	}
}

func TestOrderDoesNotMatter(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	m := machine{perWeek: 20, weeks: 15, sigma: 0.1, drift: 0.05, leakEach: 1, leak: 0.03, leakSigma: 0.006}
	points := m.live(r)
	resets := []Reset{{"S1", opened.AddDate(0, 0, 40)}, {"S1", opened.AddDate(0, 0, 10)}, {"S0", opened}}
	want, err := Charts(points, resets)
	if err != nil || len(want) < 9 {
		t.Fatal(err, len(want))
	}
	for range 5 {
		r.Shuffle(len(points), func(i, j int) { points[i], points[j] = points[j], points[i] })
		r.Shuffle(len(resets), func(i, j int) { resets[i], resets[j] = resets[j], resets[i] })
		if got, err := Charts(points, resets); err != nil || !reflect.DeepEqual(got, want) {
			t.Fatal("another order gave another chart", err)
		}
	}
}

func TestPointsRefused(t *testing.T) {
	good := line(SteamMean, 2, 0, 0, 0, nil)
	for name, spoil := range map[string]func(p *Point){
		"no number":  func(p *Point) { p.Value = math.NaN() },
		"infinite":   func(p *Point) { p.Value = math.Inf(-1) },
		"no time":    func(p *Point) { p.At = time.Time{} },
		"a quantity": func(p *Point) { p.Of = "f0_min" },
		"twice":      func(p *Point) { p.Cycle, p.At = good[0].Cycle, good[0].At },
	} {
		p := append([]Point{}, good...)
		spoil(&p[1])
		if _, err := Charts(p, nil); err == nil {
			t.Errorf("%s passed", name)
		}
	}
	if cs, err := Charts(nil, []Reset{{"S1", opened}}); err != nil || len(cs) != 0 {
		t.Errorf("nothing: %v %v", cs, err)
	}
}
