package validate

import (
	"math"
	"slices"
	"testing"
)

// lines makes conditions of quantities that must stay within 0 to 10, one reading at
// each of the times, with an uncertainty of 1.
func lines(t []float64, gap float64, quantities ...[]float64) *conditions {
	c := newConditions(t, gap, new(workspace))
	for _, q := range quantities {
		c.add(quantity{inBand, q, 0, 10}, 1)
	}
	return &c
}

var nan = math.NaN()

func TestHolds(t *testing.T) {
	each := []float64{0, 1, 2, 3, 4, 5}
	for _, c := range []struct {
		why                                string
		t                                  []float64
		gap                                float64
		q                                  [][]float64
		h, bridged, guardedHold, longestIf float64
		intervals                          int
	}{
		{"all the time", each, 2, [][]float64{{5, 5, 5, 5, 5, 5}}, 5, 5, 5, 5, 1},
		{"never", each, 2, [][]float64{{-5, -5, -5, -5, -5, -5}}, 0, 0, 0, 0, 0},
		{"crossings", each, 2, [][]float64{{-1, 1, 5, 5, 9, 11}}, 4, 4, 3, 5, 1},
		{"ends are included", each, 2, [][]float64{{0, 10, 0, 10, 0, 10}}, 5, 5, 0, 5, 1},
		{"within the guard", each, 2, [][]float64{{1, 9, 1, 9, 1, 9}}, 5, 5, 5, 5, 1},
		{"an interruption", each, 2, [][]float64{{5, 5, 15, 5, 5, 5}}, 2.5, 2.5, 2, 3, 2},
		{"through the band between two readings", each, 2, [][]float64{{-10, -10, -10, 30, 30, 30}}, 0.25, 0.25, 0, 0, 1},
		{"through the band from either side", each, 2, [][]float64{{-10, -10, -10, 30, 30, 30}, {20, 20, 20, -20, -20, -20}}, 0.25, 0.25, 0, 0, 1},
		{"in the band never together", each, 2, [][]float64{{-10, -10, -10, 30, 30, 30}, {-50, -50, -50, 14, 14, 14}}, 0, 0, 0, 0, 0},
		{"a gap", []float64{0, 1, 2, 12, 13, 14}, 2, [][]float64{{5, 5, 5, 5, 5, 5}}, 2, 14, 2, 2, 2},
		{"a gap beside a single reading", []float64{0, 1, 11, 21, 22, 23}, 2, [][]float64{{-5, -5, 5, -5, -5, -5}}, 0, 10, 0, 0, 1},
		{"a gap and a crossing", []float64{0, 1, 2, 12, 13, 14}, 2, [][]float64{{-5, 5, 5, 5, 5, -5}}, 1.5, 13, 1, 2, 2},
		{"missing at one reading", each, 2, [][]float64{{5, 5, nan, 5, 5, 5}}, 2, 2, 2, 3, 2},
		{"two quantities", each, 2, [][]float64{{-1, 1, 5, 5, 5, 5}, {5, 5, 5, 9, 11, 13}}, 3, 3, 2, 4, 1},
		{"one reading", []float64{0}, 2, [][]float64{{5}}, 0, 0, 0, 0, 1},
		{"no reading", nil, 2, [][]float64{nil}, 0, 0, 0, 0, 0},
	} {
		k := lines(c.t, c.gap, c.q...)
		spans := k.spans(nil, inBand, false)
		got := []float64{longest(spans).length(), longest(k.spans(nil, inBand, true)).length(), k.guarded(inBand), k.possible(inBand)}
		want := []float64{c.h, c.bridged, c.guardedHold, c.longestIf}
		for i := range got {
			if math.Abs(got[i]-want[i]) > 1e-8 {
				t.Errorf("%s: h, b, g, x are %v, want %v", c.why, got, want)
				break
			}
		}
		if len(spans) != c.intervals {
			t.Errorf("%s: intervals %v, want %d", c.why, spans, c.intervals)
		}
	}
}

// 18 readings at 10 s prove 170 s, not 180 s.
func TestGuardedHoldCountsReadings(t *testing.T) {
	var at, q []float64
	for i := range 20 {
		at, q = append(at, 10*float64(i)), append(q, 5)
	}
	q[0], q[19] = -5, -5
	if g := lines(at, 18, q).guarded(inBand); g != 170 {
		t.Errorf("got %v s", g)
	}
}

// A start at the first reading, or at the first after a gap, may have been earlier.
func TestStartsAtAnEdge(t *testing.T) {
	var got []bool
	for _, s := range lines([]float64{0, 1, 2, 3, 13, 14, 15}, 2, []float64{5, 15, 5, 5, 5, 15, 5}).spans(nil, inBand, false) {
		got = append(got, s.atEdge)
	}
	if want := []bool{true, false, true, false}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Each comparison allows 1e-9, and so do crossings.
func TestLimitsAllowTheTolerance(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want float64
	}{{-0.9e-9, 1}, {-1.1e-9, 0}, {10 + 0.9e-9, 1}, {10 + 1.1e-9, 0}} {
		if got := longest(lines([]float64{0, 1}, 2, []float64{c.v, c.v}).spans(nil, inBand, false)).length(); got != c.want {
			t.Errorf("%v: held %v, want %v", c.v, got, c.want)
		}
	}
	if g := lines([]float64{0, 1}, 2, []float64{1 - 0.9e-9, 9 + 0.9e-9}).guarded(inBand); g != 1 {
		t.Errorf("guarded %v s", g)
	}
	if from := lines([]float64{0, 1}, 2, []float64{-1, 1}).spans(nil, inBand, false)[0].from; math.Abs(from-(0.5-0.5e-9)) > 1e-15 {
		t.Errorf("the crossing lies at %v", from)
	}
}

// The uncertainty that differs from reading to reading is asked only where it decides,
// and decides as one that is asked everywhere.
func TestVaryingUncertainty(t *testing.T) {
	u := []float64{0.5, 0.6, 0.7, 0.8, 0.5, 0.8, 0.65, 0.8}
	q := []float64{1.5, 1.45, 1.25, 1.2, 2.5, -1.21, -1.35, nan}
	at := []float64{0, 1, 2, 3, 4, 5, 6, 7}
	varying, fixed := newConditions(at, 2, new(workspace)), newConditions(at, 2, new(workspace))
	asked := 0
	varying.addVarying(quantity{inSteam, q, -2, 2}, 0.5, 0.8, func(i int) float64 { asked++; return u[i] })
	for i := range q {
		one := newConditions(at[i:i+1], 2, new(workspace))
		one.add(quantity{inSteam, q[i : i+1], -2, 2}, u[i])
		fixed.unmet[i] |= one.unmet[0]
		fixed.unguarded[i] |= one.unguarded[0]
	}
	if !slices.Equal(varying.unmet, fixed.unmet) || !slices.Equal(varying.unguarded, fixed.unguarded) {
		t.Errorf("got %v %v, want %v %v", varying.unmet, varying.unguarded, fixed.unmet, fixed.unguarded)
	}
	if asked == 0 || asked == len(q) {
		t.Errorf("asked %d times", asked)
	}
}

// stuckPlainly is what stuck looks for, said without any haste.
func stuckPlainly(t, p, values []float64, width, over float64, others []float64) bool {
	for a := range values {
		lo, hi, olo, ohi := values[a], values[a], others[a], others[a]
		for b := a; b < len(values) && above(p[b], over); b++ {
			lo, hi = min(lo, values[b]), max(hi, values[b])
			olo, ohi = min(olo, others[b]), max(ohi, others[b])
			if hi-lo > width {
				break
			}
			if b-a+1 >= frozenReadings && atLeast(t[b]-t[a], frozenTime) && above(ohi-olo, moving) {
				return true
			}
		}
	}
	return false
}

// Five readings over 10 s, and no fewer, show that a sensor is stuck.
func TestHowLongIsStuck(t *testing.T) {
	for _, c := range []struct {
		n     int
		every float64
		want  bool
	}{{5, 2.5, true}, {4, 5, false}, {5, 2.4, false}, {20, 0.5, false}, {21, 0.5, true}} {
		r := &readings{work: new(workspace)}
		var values, others []float64
		for i := range c.n + 2 {
			stuck := i > 0 && i <= c.n
			r.t, r.p = append(r.t, c.every*float64(i)), append(r.p, 200)
			v := 100.0
			if !stuck {
				v = 110
			}
			values, others = append(values, v), append(others, 105+11*float64(i)/float64(c.n-1))
		}
		r.pressed = []window{{0, len(r.t) - 1}}
		got := r.stuck(values, stillWithin(frozenK, 0.1), underSteam, others, r.landmarks(others, underSteam)) >= 0
		if got != c.want || stuckPlainly(r.t, r.p, values, stillWithin(frozenK, 0.1), underSteam, others) != c.want {
			t.Errorf("%d readings every %v s: got %t", c.n, c.every, got)
		}
	}
}

// On many small records the search by landmarks finds a stuck sensor just where the
// plain search does.
func TestStuckAgreesWithThePlainSearch(t *testing.T) {
	seen := map[bool]int{}
	next := uint64(7)
	random := func(n int) float64 {
		next = next*6364136223846793005 + 1442695040888963407
		return float64(int(next>>33) % n)
	}
	for range 20000 {
		n := 6 + int(random(25))
		r := &readings{work: new(workspace)}
		values, others := make([]float64, n), make([]float64, n)
		at, v, o, slow := 0.0, 100.0, 105.0, 1+random(3)
		for i := range n {
			at += 1 + random(3)
			o += (random(7) - 3) * slow
			if random(4) == 0 {
				v += (random(5) - 2) / 10
			}
			p := 200.0
			if random(12) == 0 {
				p = 100
			}
			r.t, r.p = append(r.t, at), append(r.p, p)
			values[i], others[i] = v, o
		}
		r.pressed = []window{{0, n - 1}}
		width := stillWithin(frozenK, 0.1)
		got := r.stuck(values, width, underSteam, others, r.landmarks(others, underSteam)) >= 0
		want := stuckPlainly(r.t, r.p, values, width, underSteam, others)
		if got != want {
			t.Fatalf("got %t, want %t: %v %v %v %v", got, want, r.t, r.p, values, others)
		}
		seen[want]++
	}
	if seen[true] < 500 || seen[false] < 500 {
		t.Errorf("hardly a test: %v", seen)
	}
}

// Of two intervals of one length the first counts, whatever the last digit of a
// crossing says.
func TestLongestOfTwoAlike(t *testing.T) {
	spans := []span{{to: 10}, {from: 20, to: 30.0000000001}, {from: 40, to: 49}}
	if got := longest(spans); got != spans[0] {
		t.Errorf("got %v, want %v", got, spans[0])
	}
}
