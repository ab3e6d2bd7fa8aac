package steam

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"holdproof/parse/cycle"
)

// IAPWS R7-97(2012) Table 35 (second-hand: as printed in several public test files).
// A published table keeps its digits as text: the tolerance is what was printed.
var table35 = []struct {
	k   cycle.Kelvin
	mpa string
}{{300, "0.353658941e-2"}, {500, "0.263889776e1"}, {600, "0.123443146e2"}}

// IAPWS R7-97(2012) Table 36 (second-hand, as above).
var table36 = []struct {
	mpa float64
	k   string
}{{0.1, "0.372755919e3"}, {1, "0.453035632e3"}, {10, "0.584149488e3"}}

// The coefficients of Table 34, typed a second time from values quoted elsewhere.
var again = []string{
	"1167.0521452767", "-724213.16703206", "-17.073846940092", "12020.824702470", "-3232555.0322333",
	"14.915108613530", "-4823.2657361591", "405113.40542057", "-0.23855557567849", "650.17534844798",
}

// digits prints x the way the release prints its tables: 0.ddddddddde±n.
func digits(x float64, n int) string {
	e := int(math.Floor(math.Log10(math.Abs(x)))) + 1
	return fmt.Sprintf("%.*fe%d", n, x/math.Pow(10, float64(e)), e)
}

func TestTable35(t *testing.T) {
	for _, row := range table35 {
		p, err := Pressure(row.k)
		if err != nil {
			t.Fatal(err)
		}
		if got := digits(float64(p)/1000, 9); got != row.mpa {
			t.Errorf("%v K: got %s MPa, the table prints %s", row.k, got, row.mpa)
		}
	}
}

func TestTable36(t *testing.T) {
	for _, row := range table36 {
		k, err := Temperature(cycle.Kilopascal(row.mpa * 1000))
		if err != nil {
			t.Fatal(err)
		}
		if got := digits(float64(k), 9); got != row.k {
			t.Errorf("%v MPa: got %s K, the table prints %s", row.mpa, got, row.k)
		}
	}
}

func TestCoefficientsTypedTwice(t *testing.T) {
	for i, n := range []float64{n1, n2, n3, n4, n5, n6, n7, n8, n9, n10} {
		want, err := strconv.ParseFloat(again[i], 64)
		if err != nil || n != want {
			t.Errorf("n%d: %v and %s differ", i+1, n, again[i])
		}
	}
}

// Cengel & Boles, Thermodynamics, table A-4 (memory), kPa. IF97 gives these to 0.04 kPa.
func TestCengelBoles(t *testing.T) {
	for _, row := range []struct{ c, kpa float64 }{
		{100, 101.42}, {105, 120.90}, {110, 143.38}, {115, 169.18}, {120, 198.67}, {130, 270.28}, {135, 313.22}, {140, 361.53},
	} {
		p, err := Pressure(cycle.Celsius(row.c).Kelvin())
		if err != nil || math.Abs(float64(p)-row.kpa) > 0.045 {
			t.Errorf("%v °C: got %v kPa (%v), the table prints %v", row.c, p, err, row.kpa)
		}
	}
}

// The two equations of the release agree with each other; 1 mK is what they
// do between 60 and 150 °C (computed).
func TestThereAndBack(t *testing.T) {
	for c := cycle.Celsius(60); c <= 150; c += 0.01 {
		p, err := Pressure(c.Kelvin())
		if err != nil {
			t.Fatal(err)
		}
		if back := Celsius(p); math.Abs(float64(back-c)) > 0.001 {
			t.Fatalf("%v °C comes back as %v °C", c, back)
		}
	}
}

// The slope is the difference of two values of [Temperature] 0.1 kPa apart, which
// this test takes itself (computed; the line is straight enough to six digits).
func TestSlope(t *testing.T) {
	for _, p := range []cycle.Kilopascal{5, 101.325, 205, 304, 600} {
		a, _ := Temperature(p - 0.05)
		b, _ := Temperature(p + 0.05)
		if want := float64(b-a) / 0.1; math.Abs(Slope(p)-want) > 1e-4*want {
			t.Errorf("at %v kPa: got %v K/kPa, want %v", p, Slope(p), want)
		}
	}
	for _, p := range []cycle.Kilopascal{minPressure, maxPressure} {
		if s := Slope(p); !(s > 0) {
			t.Errorf("at %v kPa the slope is %v", p, s)
		}
	}
}

func TestOutsideTheRange(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, k := range []float64{nan, inf, -inf, 0, -5, math.Nextafter(minTemperature, 0), math.Nextafter(maxTemperature, inf)} {
		if p, err := Pressure(cycle.Kelvin(k)); err == nil || !strings.Contains(err.Error(), "outside") {
			t.Errorf("%v K gave %v, %v", k, p, err)
		}
	}
	for _, p := range []float64{nan, inf, -inf, 0, -5, math.Nextafter(minPressure, 0), math.Nextafter(maxPressure, inf)} {
		if k, err := Temperature(cycle.Kilopascal(p)); err == nil || !strings.Contains(err.Error(), "outside") {
			t.Errorf("%v kPa gave %v, %v", p, k, err)
		}
		if c := Celsius(cycle.Kilopascal(p)); !math.IsNaN(float64(c)) {
			t.Errorf("%v kPa gave %v °C", p, c)
		}
		if s := Slope(cycle.Kilopascal(p)); p != p && !math.IsNaN(s) {
			t.Errorf("%v kPa gave a slope of %v", p, s)
		}
	}
	for _, k := range []cycle.Kelvin{minTemperature, maxTemperature} {
		if _, err := Pressure(k); err != nil {
			t.Errorf("the end %v K is inside: %v", k, err)
		}
	}
}

var sink float64

func BenchmarkCelsius(b *testing.B) {
	ps := make([]cycle.Kilopascal, 1024)
	for i := range ps {
		ps[i] = cycle.Kilopascal(5 + 0.3*float64(i))
	}
	var s float64
	for i := 0; b.Loop(); i++ {
		s += float64(Celsius(ps[i&1023]))
	}
	sink = s
}
