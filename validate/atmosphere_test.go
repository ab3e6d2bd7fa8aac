package validate

import (
	"math"
	"testing"

	"holdproof/parse/cycle"
	"holdproof/validate/steam"
)

// ISO 2533:1975, bar by altitude in m, from a printed table (read). The digits stay
// text; the last column is the difference that is known and allowed, in bar.
var iso2533 = []struct {
	metres float64
	bar    string
	allow  float64
}{
	{0, "1.01325", 0.000005}, {500, "0.9546", 0.0001}, {1000, "0.8988", 0.0001},
	{1500, "0.8456", 0.0001}, {2000, "0.7950", 0.0001}, {3000, "0.7012", 0.0002},
}

func TestAtmospherePrinted(t *testing.T) {
	for _, w := range iso2533 {
		p, err := Atmosphere(w.metres)
		if err != nil {
			t.Fatal(err)
		}
		if got := float64(p) / 100; math.Abs(got-number(t, w.bar)) > w.allow {
			t.Errorf("%v m: %.6f bar, printed %s", w.metres, got, w.bar)
		}
	}
}

// 120 °C needs 14.1 psi gauge at sea level and 16 psi at 1219 m (read in a printed
// table); 1 psi = 6.894757 kPa. Half of the last printed digit is allowed.
func TestAtmosphereAtAnAutoclave(t *testing.T) {
	p, err := steam.Pressure(cycle.Celsius(120).Kelvin())
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []struct {
		metres float64
		psi    string
		allow  float64
	}{{0, "14.1", 0.05}, {1219, "16", 0.5}} {
		ambient, err := Atmosphere(w.metres)
		if err != nil {
			t.Fatal(err)
		}
		if got := float64(p-ambient) / 6.894757; math.Abs(got-number(t, w.psi)) > w.allow {
			t.Errorf("%v m: %.3f psi gauge, printed %s", w.metres, got, w.psi)
		}
	}
}

func TestAtmosphereRange(t *testing.T) {
	for _, h := range []float64{-501, 6000.001, math.NaN(), math.Inf(1), math.Inf(-1)} {
		if p, err := Atmosphere(h); err == nil || p != 0 {
			t.Errorf("%v m: got %v, %v; want an error", h, p, err)
		}
	}
	last := cycle.Kilopascal(math.Inf(1))
	for h := -500.0; h <= 6000; h += 100 {
		p, err := Atmosphere(h)
		if err != nil || p >= last {
			t.Errorf("%v m: %v after %v, %v", h, p, last, err)
		}
		last = p
	}
}
