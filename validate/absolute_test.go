package validate

import (
	"slices"
	"testing"
	"time"

	"holdproof/parse/cycle"
)

// Absolute pressure is handed out as recorded, gauge with the surrounding air added,
// and not at all where nobody knows it.
func TestAbsolutePressure(t *testing.T) {
	site := Site{Ambient: Known(100.9)}
	for _, c := range []struct {
		why  string
		ref  cycle.Reference
		site Site
		kpa  []float64
		want []float64
	}{
		{"absolute", cycle.Absolute, Site{}, []float64{1, 200, 2}, []float64{1, 200, 2}},
		{"gauge with the surrounding pressure", cycle.Gauge, site, []float64{1, 200, 2}, []float64{101.9, 300.9, 102.9}},
		{"gauge alone", cycle.Gauge, Site{}, []float64{1, 200, 2}, nil},
		{"unsaid, the readings tell: a return to 2 kPa is gauge", cycle.ReferenceUnsaid, site, []float64{1, 200, 2}, []float64{101.9, 300.9, 102.9}},
		{"unsaid, and the readings do not tell", cycle.ReferenceUnsaid, site, []float64{30, 40, 30}, nil},
	} {
		rec, err := cycle.New(cycle.Header{Start: time.Unix(0, 0)}, cycle.Readings{
			Seconds: []float64{0, 1, 2}, Lines: []int{1, 2, 3},
			Pressure: &cycle.Pressure{Reference: c.ref, KPa: c.kpa},
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := AbsolutePressure(rec, c.site); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.why, got, c.want)
		}
	}
}
