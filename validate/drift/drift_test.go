package drift

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Worked examples of the NIST/SEMATECH e-Handbook, 6.3.2.2 to 6.3.2.4, doi
// 10.18434/M32189 (second-hand, from public transcriptions; recomputed). Digits stay
// text; what is allowed is half of the last one unless it is said.
const (
	ewmaData    = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
	ewmaPrinted = "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99"
	cusumData   = "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150 328.325 327.250 327.825 328.500 326.675 327.775 326.875 328.350"
	cusumFrom13 = "3.01 4.94 7.45 10.63 11.99 14.44 16.00 19.04"
	singleData  = "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
)

func numbers(t *testing.T, text string) []float64 {
	t.Helper()
	var out []float64
	for _, f := range strings.Fields(text) {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// near compares with printed numbers; half of the last digit and rounding of the
// binary figure are allowed.
func near(t *testing.T, what string, got []float64, printed string, allow float64) {
	t.Helper()
	want := numbers(t, printed)
	if len(got) != len(want) {
		t.Fatalf("%s: %d figures, printed %d", what, len(got), len(want))
	}
	for i, w := range want {
		if math.Abs(got[i]-w) > allow+1e-9 {
			t.Errorf("%s %d: %.6f, printed %v", what, i+1, got[i], w)
		}
	}
}

func TestEWMAExample(t *testing.T) {
	z, err := EWMA(numbers(t, ewmaData), 0.3, 50)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "EWMA", z, ewmaPrinted, 0.005)
	low, high, err := EWMALimits(0.3, 50, 2.0539, 3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "EWMA limits", []float64{high, low}, "52.5884 47.4115", 1e-4)
}

func TestCUSUMExample(t *testing.T) {
	s, err := CUSUM{Target: 325, K: 0.3175, H: 4.1959}.Run(numbers(t, cusumData))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "S_hi from 13", s.Hi[12:], cusumFrom13, 0.005)
	if s.FirstHi != 13 || s.FirstLo != -1 {
		t.Errorf("signals at groups %d and %d, printed 14 and none", s.FirstHi+1, s.FirstLo+1)
	}
}

func TestIndividualsExample(t *testing.T) {
	c, err := IndividualsOf(numbers(t, singleData))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "individuals", []float64{c.Mean}, "50.81", 0.005)
	near(t, "individuals", []float64{c.MovingRange, c.High, c.Low}, "1.8778 55.8041 45.8159", 0.00005)
	if s := c.Sigma(); math.Abs(s-c.MovingRange/(2/math.Sqrt(math.Pi))) > 0.001*s {
		t.Errorf("sigma %v", s)
	}
}

// The low side is the high side of the mirrored data.
func TestCUSUMIsSymmetric(t *testing.T) {
	x := numbers(t, cusumData)
	c := CUSUM{Target: 325, K: 0.3175, H: 4.1959}
	up, err1 := c.Run(x)
	for i := range x {
		x[i] = 650 - x[i]
	}
	down, err2 := c.Run(x)
	if err1 != nil || err2 != nil || down.FirstLo != up.FirstHi || down.FirstHi != up.FirstLo {
		t.Errorf("%v %v %v %v", err1, err2, up, down)
	}
	for i := range x {
		if math.Abs(up.Hi[i]-down.Lo[i]) > 1e-9 || math.Abs(up.Lo[i]-down.Hi[i]) > 1e-9 {
			t.Errorf("group %d: %v and %v", i+1, up.Hi[i], down.Lo[i])
		}
	}
}

// A sum on the limit is no signal; one above it is.
func TestCUSUMLimit(t *testing.T) {
	for _, c := range []struct {
		h     float64
		first int
	}{{3, -1}, {2.5, 2}} {
		s, err := CUSUM{H: c.h}.Run([]float64{1, 1, 1})
		if err != nil || s.FirstHi != c.first || s.FirstLo != -1 || !slices.Equal(s.Hi, []float64{1, 2, 3}) {
			t.Errorf("limit %v: %+v, %v", c.h, s, err)
		}
	}
}

func TestNothingIn(t *testing.T) {
	z, err := EWMA(nil, 0.3, 50)
	s, err2 := CUSUM{H: 1}.Run(nil)
	if err != nil || err2 != nil || len(z) != 0 || s.FirstHi != -1 || s.FirstLo != -1 {
		t.Errorf("%v %v %v %v", z, err, s, err2)
	}
}

func TestRefused(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, bad := range []float64{nan, inf, -inf} {
		x := []float64{1, bad, 2}
		_, e1 := EWMA(x, 0.3, 1)
		_, e2 := EWMA([]float64{1}, 0.3, bad)
		_, e3 := CUSUM{H: 1}.Run(x)
		_, e4 := CUSUM{Target: bad, H: 1}.Run([]float64{1})
		_, e5 := CUSUM{K: bad, H: 1}.Run([]float64{1})
		_, e6 := CUSUM{H: bad}.Run([]float64{1})
		_, e7 := IndividualsOf(x)
		_, _, e8 := EWMALimits(0.3, bad, 1, 3)
		_, _, e9 := EWMALimits(0.3, 1, bad, 3)
		_, _, e10 := EWMALimits(0.3, 1, 1, bad)
		for i, err := range []error{e1, e2, e3, e4, e5, e6, e7, e8, e9, e10} {
			if err == nil {
				t.Errorf("%v passed as case %d", bad, i+1)
			}
		}
	}
	for _, lambda := range []float64{0, -0.1, 1.0001, nan} {
		if _, err := EWMA(nil, lambda, 0); err == nil {
			t.Errorf("weight %v passed", lambda)
		}
		if _, _, err := EWMALimits(lambda, 0, 1, 3); err == nil {
			t.Errorf("weight %v has limits", lambda)
		}
	}
	if _, _, err := EWMALimits(0.3, 0, 0, 3); err == nil {
		t.Error("no deviation has limits")
	}
	if _, _, err := EWMALimits(0.3, 0, 1, 0); err == nil {
		t.Error("no width has limits")
	}
	for _, c := range []CUSUM{{}, {H: -1}, {K: -1, H: 1}} {
		if _, err := c.Run(nil); err == nil {
			t.Errorf("%+v ran", c)
		}
	}
	for _, x := range [][]float64{nil, {1}} {
		if _, err := IndividualsOf(x); err == nil {
			t.Errorf("%d values have ranges", len(x))
		}
	}
}
