package validate

import (
	"math"
	"testing"
)

// JCGM 106:2012, worked examples (memory, recomputed): an upper limit of -5.40 with
// y -5.47, u 0.05, and a lower limit of 490 with y 509.7, u 8.6.
func TestConformanceExamples(t *testing.T) {
	below, err := ConformanceBelow(-5.40, -5.47, 0.05)
	if err != nil || math.Abs(below-number(t, "0.919")) > 0.0005 {
		t.Errorf("at most -5.40: %.5f, %v; printed 0.919", below, err)
	}
	above, err := ConformanceAbove(490, 509.7, 8.6)
	if err != nil || math.Abs(above-number(t, "0.989")) > 0.0005 {
		t.Errorf("at least 490: %.5f, %v; printed 0.989", above, err)
	}
}

// ILAC-G8:09/2019 (second-hand): with a guard band w = U the probability of false
// acceptance is below 2.5 %. U is 2 u; the worst accepted reading lies on the guarded
// limit. The rule this program applies: 134.5 to 136.5 °C for 134 to 137 °C.
func TestGuardKeepsFalseAcceptanceLow(t *testing.T) {
	for _, expanded := range []float64{0.1, 0.5, 0.8, 6.4} {
		low, high := Guard(134, 137, expanded)
		for y := low; y <= high; y += 0.01 {
			cold, err1 := ConformanceAbove(134, y, expanded/2)
			hot, err2 := ConformanceBelow(137, y, expanded/2)
			if err1 != nil || err2 != nil || 1-cold >= 0.025 || 1-hot >= 0.025 {
				t.Errorf("U %v, reading %v: wrong with %.4f and %.4f, %v %v", expanded, y, 1-cold, 1-hot, err1, err2)
			}
		}
	}
	if low, high := Guard(134, 137, 0.5); low != 134.5 || high != 136.5 {
		t.Errorf("guarded limits %v to %v, published 134.5 to 136.5", low, high)
	}
	// The bound is tight: a guard of 0.9 U would not keep it.
	if p, _ := ConformanceAbove(134, 134.45, 0.25); 1-p < 0.025 {
		t.Errorf("0.9 U: %.4f", 1-p)
	}
}

func TestConformanceRefuses(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, v := range [][3]float64{{0, 0, 0}, {0, 0, -1}, {0, 0, nan}, {0, 0, inf}, {nan, 0, 1}, {0, nan, 1}, {inf, 0, 1}, {0, inf, 1}, {inf, inf, 1}} {
		if p, err := ConformanceBelow(v[0], v[1], v[2]); err == nil || p != 0 {
			t.Errorf("below %v: %v, %v", v, p, err)
		}
		if p, err := ConformanceAbove(v[0], v[1], v[2]); err == nil || p != 0 {
			t.Errorf("above %v: %v, %v", v, p, err)
		}
	}
}
