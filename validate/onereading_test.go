package validate_test

import (
	"testing"
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// One reading proves nothing, hot or cold: neither that a load failed nor that it held.
func TestOneReading(t *testing.T) {
	for _, c := range []cycle.Celsius{20, 135} {
		rec, err := cycle.New(cycle.Header{Start: time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)}, cycle.Readings{
			Seconds: []float64{0}, Lines: []int{2},
			Channels: []cycle.Channel{{Role: cycle.Chamber, Heading: "chamber", Celsius: []cycle.Celsius{c}}},
			Pressure: &cycle.Pressure{Reference: cycle.Absolute, Heading: "pressure", KPa: []float64{313}},
		})
		if err != nil {
			t.Fatal(err)
		}
		v := validate.Judge(rec, rules(t, "en", ""))
		if v.Outcome() != validate.NotProven || found(v, "sensor-reading").Remedy != "Export the record again." || v.Measured.Hold.Known {
			t.Errorf("%v °C: %v, %+v", c, v.Outcome(), v.Findings)
		}
	}
}
