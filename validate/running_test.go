package validate_test

import (
	"math"
	"testing"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
)

// How the machine runs, against what the invented cycle was made with: the pump leaves
// of the difference to 12 kPa the share exp(-t/14 s), so 50 kPa is reached
// 5 s + 14 s · ln((101.3 - 12)/(50 - 12)) = 16.96 s after the start (computed), and with
// a lowest pressure of 30 kPa after 5 + 14 ln(71.3/20) = 22.79 s; the model writes at the
// end of its first step of 1 s as time 0, so both are recorded 1 s sooner.
func TestHowItRuns(t *testing.T) {
	judged := func(c fixtures.Cycle, change ...func(*draft)) validate.Measured {
		d := invent(c)
		for _, f := range change {
			f(d)
		}
		return validate.Judge(d.record(t), rules(t, "en", "134")).Measured
	}
	near := func(what string, got validate.Figure, want, allow float64) {
		t.Helper()
		if !got.Known || math.Abs(got.Value-want) > allow {
			t.Errorf("%s: %+v, expected %v ± %v", what, got, want, allow)
		}
	}
	usual := judged(fixtures.Cycle{})
	near("time to vacuum", usual.Vacuum, 15.96, 0.3)
	near("with a weaker pump", judged(fixtures.Cycle{Low: 30}).Vacuum, 21.79, 0.3)
	near("plateau mean", usual.PlateauMean, 135.3, 0.1)
	near("plateau mean", judged(fixtures.Cycle{Above: 1.9}).PlateauMean, 135.9, 0.1)
	near("slower by a minute", judged(fixtures.Cycle{Heat: 210}).Heating, usual.Heating.Value+60, 8)
	if usual.GaugeScale {
		t.Error("an absolute pressure is called a gauge's")
	}
	inVacuum := func(d *draft) {
		for _, c := range d.columns() {
			*c = (*c)[20:]
		}
		d.lines = d.lines[20:]
	}
	if m := judged(fixtures.Cycle{}, inVacuum); m.Vacuum.Known {
		t.Errorf("a record that begins in vacuum took %+v to get there", m.Vacuum)
	}
	if m := judged(fixtures.Cycle{}, func(d *draft) { d.kpa = nil }); m.Vacuum.Known || m.GaugeScale {
		t.Errorf("without a pressure: %+v", m)
	}
	if m := judged(fixtures.Cycle{Pulses: -1}); m.Vacuum.Known {
		t.Errorf("without a pulse: %+v", m.Vacuum)
	}
}

// The pressure of a gauge is said to be one, since the weather is in what is made of it.
func TestGaugeIsSaid(t *testing.T) {
	d := invent(fixtures.Cycle{})
	for i := range d.kpa {
		d.kpa[i] -= 101.3
	}
	d.ref = cycle.Gauge
	r := rules(t, "en", "134")
	r.Site.Ambient = validate.Known(101.3)
	m := validate.Judge(d.record(t), r).Measured
	if !m.GaugeScale || !m.SteamMean.Known {
		t.Errorf("%+v", m)
	}
}
