package validate

import (
	"math"
	"math/rand/v2"
	"testing"
)

// randomSubject is an invented exposure of two channels and a pressure, coarse enough
// that readings repeat and stand still.
func randomSubject(rnd *rand.Rand) *subject {
	n := 30 + rnd.IntN(200)
	r := &readings{work: new(workspace), t: make([]float64, n), p: make([]float64, n)}
	a, b := make([]float64, n), make([]float64, n)
	still, every := 0, []float64{1, 2, 5}[rnd.IntN(3)]
	for i := range n {
		if i > 0 {
			r.t[i] = r.t[i-1] + every
			if rnd.IntN(40) == 0 {
				r.t[i] += float64(rnd.IntN(30))
			}
			a[i], b[i], r.p[i] = a[i-1], b[i-1], r.p[i-1]
		}
		if still--; still < 0 || i == 0 {
			a[i], b[i] = 132+float64(rnd.IntN(30))/10, 131.5+float64(rnd.IntN(35))/10
			r.p[i] = 300 + float64(rnd.IntN(20))
			if i < 8 {
				a[i], b[i] = 131, 130 // heating
			}
			if i > n/4 && i < n/2 {
				a[i], b[i] = 134.5, 133.9+b[i]-math.Floor(b[i])
			}
			if rnd.IntN(25) == 0 {
				still = rnd.IntN(60)
			}
		}
	}
	r.asRead, r.ref, r.judged = r.p, a, []column{{celsius: a}, {celsius: b}}
	r.extent()
	r.pace = paceOf(r.t)
	s := &subject{readings: r, ts: 134, band: 3, uT: defaultUT, gap: 12}
	from := rnd.IntN(5)
	s.exposed = window{from, n - 1 - rnd.IntN(5)}
	return s
}

// TestShortCuts compares what is skipped for speed with doing all of it.
func TestShortCuts(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	frozen, lagged := 0, 0
	for range 3000 {
		s := randomSubject(rnd)
		want, first := -1, s.exposed.from
		for i := s.exposed.from + 1; i <= s.exposed.to && want < 0; i++ {
			if s.changed(i) {
				first = i
			}
			if i-first+1 >= 20 && atLeast(s.t[i]-s.t[first], 60) {
				want = first
			}
		}
		if got := s.standsStill(); got != want {
			t.Fatalf("stands still from reading %d, expected %d", got, want)
		}
		if want >= 0 {
			frozen++
		}

		s.bandAlone()
		s.bandSpans = s.conditions.spans(nil, inBand, false)
		s.equilibrate()
		all := newConditions(s.cut(s.t), s.gap, s.work)
		all.add(quantity{inBand, s.cut(s.judged[0].celsius), s.ts, s.ts + s.band}, 0)
		all.add(quantity{inBand, s.cut(s.judged[1].celsius), s.ts - math.Sqrt2*s.uT, s.ts + s.band}, 0)
		if low := s.lagBehind(all.spans(nil, inBand, false)); low != s.eqLow {
			t.Fatalf("with lower limits the load lagged %v, expected %v", s.eqLow, low)
		}
		if s.eqLow.Known {
			lagged++
		}

		var steps []float64
		for i := s.exposed.from; i < s.exposed.to; i++ {
			steps = append(steps, s.t[i+1]-s.t[i])
		}
		got, ok := s.interval(s.exposed.from, s.exposed.to)
		if m, _ := median(steps); !ok || got != m {
			t.Fatalf("an interval of %v s, expected %v", got, m)
		}
	}
	if frozen < 100 || frozen > 2900 || lagged < 100 {
		t.Errorf("%d stood still and %d had a lag: too few to tell", frozen, lagged)
	}
}

// bandAlone lays out the conditions of the band and no others.
func (s *subject) bandAlone() {
	s.conditions = newConditions(s.cut(s.t), s.gap, s.work)
	for _, c := range s.judged {
		s.conditions.add(quantity{inBand, s.cut(c.celsius), s.ts, s.ts + s.band}, s.uT)
	}
}

func TestWholeDegree(t *testing.T) {
	for _, x := range []float64{-20, -0.1, 0, 0.9, 107.99999999999999, 108, 133.99999999999997, 134 + limitTolerance, 200} {
		if got := wholeDegree(x); float64(got) != math.Floor(x) {
			t.Errorf("%v rounds down to %d, expected %v", x, got, math.Floor(x))
		}
	}
}

// TestRemembered: what was computed before is exactly what is computed anew, whatever
// was asked in between and lies in the same place of the table.
func TestRemembered(t *testing.T) {
	w, rnd := new(workspace), rand.New(rand.NewPCG(3, 4))
	for range 100_000 {
		p, c := underSteam+rnd.Float64()*500, float64(rnd.IntN(22000)-2000)/100
		if got, want := w.steam.at(p), new(steamTemperatures).at(p); got != want {
			t.Fatalf("%v kPa: %v °C remembered, %v computed", p, got, want)
		}
		if got, want := w.rates.of(c), math.Exp((c-121.1)*(math.Ln10/10)); got != want {
			t.Fatalf("%v °C: a lethal rate of %v remembered, %v computed", c, got, want)
		}
	}
}
