package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"
)

// The simulations that k and h of every chart were chosen by. What a healthy steriliser
// does is invented (ours): figures of cycles scatter, those of one day alike, now and
// then one lies far off, and recorders round. The generator is PCG (math/rand/v2) with
// the number of the year and a number for the kind of year.

// years is how many years are simulated: enough for a look, or, with HOLDPROOF_LONG
// set, for figures to quote.
func years(short int) int {
	if os.Getenv("HOLDPROOF_LONG") != "" {
		return 20 * short
	}
	return short
}

var (
	opened  = time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC) // a Monday
	steamHi = 1.2                                         // K: 2 K less U, which is at most 0.8 K
	steamLo = -1.2
	eqHi    = 15.0
	leakHi  = 0.13
)

// machine is how an invented steriliser behaves.
type machine struct {
	perWeek    int     // loads, on five days
	steam      float64 // K, where its steam_mean_k lies
	sigma      float64 // K
	drift      float64 // K a week
	weather    float64 // K, standard deviation; 0: absolute pressure
	round      float64 // K, the last digit; 0: none
	leakEach   int     // days of work between leak tests
	leak       float64 // kPa/min
	leakSigma  float64
	leakGrowth float64 // kPa/min a week
	leakRound  float64
	from       float64 // weeks, where drift and growth begin
	weeks      int
}

func rounded(x, step float64) float64 {
	if step == 0 {
		return x
	}
	return math.Round(x/step) * step
}

// live returns the points of a machine: two programmes, seven loads of ten on the
// first, and its leak tests.
func (m machine) live(r *rand.Rand) []Point {
	var out []Point
	air, loads := r.NormFloat64(), 0
	for day := range m.weeks * 5 {
		at := opened.AddDate(0, 0, day/5*7+day%5)
		week := max(0, at.Sub(opened).Hours()/168-m.from)
		keep := 0.8 // of the weather, to the next day
		air = keep*air + math.Sqrt(1-keep*keep)*r.NormFloat64()
		today := r.NormFloat64() // what cycles of a day have in common: a quarter of the variance
		if m.leakEach > 0 && day%m.leakEach == 0 {
			v := max(0, m.leak+m.leakGrowth*week+m.leakSigma*r.NormFloat64())
			out = append(out, Point{Steriliser: "S1", Cycle: fmt.Sprintf("L%d", day), At: at, Of: LeakRate, Value: rounded(v, m.leakRound), High: &leakHi})
		}
		for ; loads < (day+1)*m.perWeek/5; loads++ {
			at = at.Add(40 * time.Minute)
			programme, id := "134", fmt.Sprintf("C%d", loads)
			if r.IntN(10) >= 7 {
				programme = "121"
			}
			odd := 1.0
			if r.IntN(50) == 0 {
				odd = 3 // one in fifty scatters three times as wide
			}
			noise := math.Sqrt(0.25)*today + math.Sqrt(0.75)*odd*r.NormFloat64()
			v := m.steam + m.drift*week + m.sigma*noise + m.weather*air
			out = append(out, Point{Steriliser: "S1", Programme: programme, Cycle: id, At: at, Of: SteamMean,
				Value: rounded(v, m.round), Low: &steamLo, High: &steamHi, Gauge: m.weather > 0})
			eq := -2 * (math.Log(1-r.Float64()) + math.Log(1-r.Float64())) // gamma, mean 4 s, deviation 2.8 s
			out = append(out, Point{Steriliser: "S1", Programme: programme, Cycle: id, At: at, Of: Equilibration,
				Value: rounded(eq, 1), High: &eqHi})
		}
	}
	return out
}

func chartsOf(t *testing.T, points []Point) []Chart {
	t.Helper()
	cs, err := Charts(points, nil)
	if err != nil {
		t.Fatal(err)
	}
	return cs
}

// healthy are machines of 2,000 cycles a year. Each must give at most one signal over
// all its charts in 90 % of its years.
var healthy = []struct {
	name string
	machine
}{
	{"quiet, as recorded", machine{sigma: 0.04, leakEach: 1, leak: 0.03, leakSigma: 0.006}},
	{"usual, 0.1 K steps", machine{sigma: 0.1, round: 0.1, leakEach: 1, leak: 0.024, leakSigma: 0.004, leakRound: 0.01}},
	{"noisy, weekly leak test", machine{sigma: 0.2, leakEach: 5, leak: 0.05, leakSigma: 0.015, leakRound: 0.01}},
	{"coarse", machine{sigma: 0.08, round: 0.2, leakEach: 1, leak: 0.015, leakSigma: 0.003, leakRound: 0.02}},
	{"by gauge", machine{sigma: 0.1, weather: 0.12, leakEach: 1, leak: 0.03, leakSigma: 0.006, leakRound: 0.01}},
}

func TestHealthyYears(t *testing.T) {
	for kind, m := range healthy {
		t.Run(m.name, func(t *testing.T) {
			m.perWeek, m.weeks = 40, 50
			n, quiet, of := years(60), 0, map[string]int{}
			for year := range n {
				signals := 0
				for _, c := range chartsOf(t, m.live(rand.New(rand.NewPCG(uint64(year), uint64(kind))))) {
					signals += len(c.Signals)
					of[string(c.Of)+" "+c.Programme] += len(c.Signals)
				}
				if signals <= 1 {
					quiet++
				}
			}
			t.Logf("at most one signal in %d of %d years; signals %v", quiet, n, of)
			if float64(quiet) < 0.9*float64(n) {
				t.Errorf("at most one signal in %d of %d years, expected 90 %%", quiet, n)
			}
		})
	}
}

// A sensor that drifts by 0.05 K a week, up or down, from the first cycle on or later,
// is signalled before the first verdict that the drift spoils. It is in 95 of 100 runs
// at least; the others are a single odd cycle that the drift tips over early. A verdict is borderline where steam_mean_k and what
// readings scatter about it (0.3 K, invented) pass the 2 K less U, or the plateau, at
// 135.3 °C when all is well, comes as near to 134 °C or 137 °C as U = 0.5 K. The plateau
// is nearer, ten weeks down.
//
// A gauge is another matter: the weather hides the drift for longer (see [byGauge]),
// and only a signal before a drift of 1.1 K is asked for: 22 weeks.
func TestDriftingSensor(t *testing.T) {
	for kind, base := range []machine{{sigma: 0.05}, {sigma: 0.1, round: 0.1}, {sigma: 0.08, steam: 0.2}, {sigma: 0.08, round: 0.2}, {sigma: 0.1, weather: 0.12}} {
		for _, perWeek := range []int{10, 20, 40} {
			n, seen, worst := 0, 0, 0.0
			for _, from := range []float64{0, 12} { // drifting from the first cycle, or later
				for _, drift := range []float64{0.05, -0.05} {
					m := base
					m.perWeek, m.weeks, m.from, m.drift = perWeek, 60, from, drift
					for year := range years(10) {
						r := rand.New(rand.NewPCG(uint64(year), uint64(1000+100*kind+10*perWeek)+uint64(from)))
						good, spoiled := m.untilSpoiled(r)
						first := firstSignal(chartsOf(t, good), drift > 0)
						n++
						if first < spoiled {
							seen++
							worst = max(worst, first-from)
						}
					}
				}
			}
			t.Logf("%+v, %d a week: signalled in time in %d of %d, at the latest after %.1f weeks", base, perWeek, seen, n, worst)
			if float64(seen) < 0.95*float64(n) {
				t.Errorf("%+v, %d a week: signalled in time in %d of %d", base, perWeek, seen, n)
			}
		}
	}
}

// untilSpoiled returns the figures of a machine up to the first cycle that the drift
// spoils, and when that is, in weeks.
func (m machine) untilSpoiled(r *rand.Rand) ([]Point, float64) {
	const scatter, plateau, low, high = 0.3, 135.3, 134.5, 136.5
	var good []Point
	for _, p := range m.live(r) {
		if p.Of != SteamMean {
			continue
		}
		week := p.At.Sub(opened).Hours() / 168
		drifted := m.drift * max(0, week-m.from)
		tc := plateau + drifted + 0.05*r.NormFloat64()
		borderline := math.Abs(p.Value)+scatter > steamHi || tc-scatter < low || tc+scatter > high
		if m.weather > 0 {
			borderline = math.Abs(drifted) > 1.1
		}
		if borderline {
			return good, week
		}
		good = append(good, p)
	}
	return good, math.Inf(1)
}

// firstSignal is when the first signal of a direction came, in weeks.
func firstSignal(charts []Chart, up bool) float64 {
	first := math.Inf(1)
	for _, c := range charts {
		for _, s := range c.Signals {
			if s.Up == up {
				first = min(first, c.Points[s.First].At.Sub(opened).Hours()/168)
			}
		}
	}
	return first
}

// A seal that leaks more each week is signalled before the first test that fails.
func TestLeakingSeal(t *testing.T) {
	kind := uint64(200)
	for _, m := range []machine{
		{leakEach: 5, leak: 0.03, leakSigma: 0.006, leakRound: 0.01, leakGrowth: 0.002, from: 25},
		{leakEach: 5, leak: 0.03, leakSigma: 0.006, leakRound: 0.01, leakGrowth: 0.005, from: 25},
		{leakEach: 5, leak: 0.03, leakSigma: 0.006, leakRound: 0.01, leakGrowth: 0.01, from: 25},
		{leakEach: 5, leak: 0.06, leakSigma: 0.01, leakGrowth: 0.005, from: 25},
		{leakEach: 1, leak: 0.03, leakSigma: 0.006, leakRound: 0.01, leakGrowth: 0.005},
		{leakEach: 1, leak: 0.03, leakSigma: 0.006, leakRound: 0.02, leakGrowth: 0.02, from: 5},
		{leakEach: 1, leak: 0.05, leakSigma: 0.01, leakGrowth: 0.03, from: 12},
	} {
		m.weeks = 120
		kind++
		n, seen, left := years(20), 0, math.Inf(1)
		for year := range n {
			var good []Point
			failed := false
			for _, p := range m.live(rand.New(rand.NewPCG(uint64(year), kind))) {
				if failed = failed || p.Value > leakHi; failed {
					break
				}
				good = append(good, p)
			}
			for _, c := range chartsOf(t, good) {
				if failed && len(c.Signals) > 0 {
					seen++
					left = min(left, leakHi-c.Points[c.Signals[0].First].Value)
					break
				}
			}
		}
		t.Logf("%+v: signalled in %d of %d, at least %.3f kPa/min before the limit", m, seen, n, left)
		if seen < n {
			t.Errorf("%+v: signalled before the first failed test in %d of %d", m, seen, n)
		}
	}
}
