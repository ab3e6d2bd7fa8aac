package validate_test

import (
	"math"
	"testing"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
)

// leaking is an air leakage test: down to a pressure, then so many seconds of rise at a
// rate of so many kPa/min, then back to air.
func leaking(low, rate, seconds float64) *draft {
	d := &draft{ref: cycle.Absolute}
	d.Label = cycle.Label{Text: "Vac test", Kind: cycle.LeakTest}
	const pump = 120.0
	for at := 0.0; at <= pump+seconds+60; at++ {
		p := 101.3 + (low-101.3)*min(1, at/pump)
		if at > pump {
			p = low + rate*(at-pump)/60
		}
		if over := at - pump - seconds; over > 0 {
			p = min(101.3, low+rate*seconds/60+2*over)
		}
		d.t = append(d.t, at)
		d.chamber = append(d.chamber, 28)
		d.kpa = append(d.kpa, math.Round(p*1000)/1000)
		d.lines = append(d.lines, len(d.t)+1)
	}
	return d
}

func TestLeakBranches(t *testing.T) {
	for _, c := range []struct {
		why   string
		d     *draft
		spoil func(*draft)
		want  validate.Outcome
		rate  float64 // kPa/min, NaN for none
	}{
		{why: "tight", d: leaking(4, 0.06, 960), want: validate.Conforms, rate: 0.06},
		{why: "at the limit", d: leaking(4, 0.13, 960), spoil: grid(0.001), want: validate.Borderline, rate: 0.13},
		{why: "just above the limit", d: leaking(4, 0.1304, 960), want: validate.Failed, rate: 0.1304},
		{why: "leaks", d: leaking(4, 0.3, 960), want: validate.Failed, rate: 0.3},
		{why: "leaks so fast that it looks like air let in", d: leaking(4, 3, 960), want: validate.Failed, rate: 3},
		{why: "never low", d: leaking(25, 0.06, 960), want: validate.NotProven, rate: math.NaN()},
		{why: "not quite as low as the standard wants", d: leaking(12, 0.06, 960), want: validate.Conforms, rate: 0.06},
		{why: "as long as the start can be blurred", d: leaking(4, 0.06, 895), want: validate.Conforms, rate: 0.06},
		{why: "it starts where the pump stops", d: leaking(18.5, 0.06, 960), want: validate.Conforms, rate: 0.06},
		{why: "cut short", d: leaking(4, 0.06, 840), want: validate.NotProven, rate: math.NaN()},
		{why: "cut short, and it leaked", d: leaking(4, 0.3, 840), want: validate.Failed, rate: math.NaN()},
		{why: "cut very short, and it leaked", d: leaking(4, 0.3, 300), want: validate.NotProven, rate: math.NaN()},
		{why: "no return to air", d: leaking(4, 0.06, 960), spoil: func(d *draft) { d.keep(func(at float64) bool { return at <= 1080 }) }, want: validate.Conforms, rate: 0.06},
		{why: "a gap in the 600 s", d: leaking(4, 0.06, 960), spoil: func(d *draft) { d.keep(func(at float64) bool { return at < 700 || at > 710 }) }, want: validate.NotProven, rate: 0.06},
		{why: "a gap before the 600 s", d: leaking(4, 0.06, 960), spoil: func(d *draft) { d.keep(func(at float64) bool { return at < 300 || at > 310 }) }, want: validate.Conforms, rate: 0.06},
		{why: "nine readings in the 600 s", d: leaking(4, 0.06, 1200), spoil: every(72), want: validate.NotProven, rate: 0.06},
		{why: "the step of the recorder hides more", d: leaking(4, 0.125, 960), spoil: grid(0.1), want: validate.Borderline, rate: 0.13},
		{why: "no rise at all", d: leaking(4, 0, 960), want: validate.Borderline, rate: 0},
		{why: "hardly a rise", d: leaking(4, 0.005, 960), want: validate.Borderline, rate: 0.005},
		{why: "a small rise", d: leaking(4, 0.0055, 960), want: validate.Conforms, rate: 0.0055},
		{why: "the pump stopped late", d: leaking(4, 0.06, 960), spoil: func(d *draft) {
			for i, at := range d.t {
				if at > 120 && at <= 1080 {
					d.kpa[i] = 4 + max(0, at-780)*0.15/60
				}
			}
		}, want: validate.Borderline, rate: math.NaN()},
		{why: "the pump ran again", d: leaking(4, 0.06, 1200), spoil: func(d *draft) {
			for i, at := range d.t {
				if at > 500 && at <= 1320 {
					d.kpa[i] -= 0.9
				}
			}
		}, want: validate.Borderline, rate: 0.06},
		{why: "it warmed by 10 K", d: leaking(4, 0.06, 960), spoil: func(d *draft) {
			for i, at := range d.t {
				d.chamber[i] = 28 + 10*min(1, max(0, at-480)/570)
			}
		}, want: validate.Borderline, rate: 0.06},
		{why: "it warmed by 9.9 K", d: leaking(4, 0.06, 960), spoil: func(d *draft) {
			for i, at := range d.t {
				d.chamber[i] = 28 + 9.9*min(1, max(0, at-480)/570)
			}
		}, want: validate.Conforms, rate: 0.06},
		{why: "gauge, and the site is unknown", d: leaking(4, 0.06, 960), spoil: gauge, want: validate.NotProven, rate: math.NaN()},
		{why: "no pressure", d: leaking(4, 0.06, 960), spoil: noPressure, want: validate.NotProven, rate: math.NaN()},
		{why: "no temperature", d: leaking(4, 0.06, 960), spoil: func(d *draft) { d.chamber = nil }, want: validate.Conforms, rate: 0.06},
	} {
		t.Run(c.why, func(t *testing.T) {
			if c.spoil != nil {
				c.spoil(c.d)
			}
			v := validate.Judge(c.d.record(t), rules(t, "en", ""))
			f := found(v, "air-leakage")
			if v.Kind != cycle.LeakTest || f.Outcome != c.want || v.Outcome() != c.want {
				t.Errorf("%s, %s: %s; want %s", v.Kind, f.Outcome, f.Message, c.want)
				explain(t, v)
			}
			if rate := v.Measured.Leak; !math.IsNaN(c.rate) && (!rate.Known || math.Abs(rate.Value-c.rate) > 0.0015) {
				t.Errorf("rate %+v, want %v", rate, c.rate)
			}
			if c.want == validate.NotProven && math.IsNaN(c.rate) && v.Measured.Leak.Known {
				t.Errorf("a rate of %v where there is none", v.Measured.Leak.Value)
			}
		})
	}
}

func grid(step float64) func(*draft) {
	return func(d *draft) {
		for i, p := range d.kpa {
			d.kpa[i] = math.Round(p/step) * step
		}
	}
}

func every(n int) func(*draft) {
	return func(d *draft) { d.keep(func(at float64) bool { return int(at)%n == 0 }) }
}

// The generator's leak tests, whose rate is known.
func TestLeakOfInventedTests(t *testing.T) {
	for _, rate := range []float64{0.02, 0.1, 0.2, 1} {
		d := invent(fixtures.Cycle{Leak: &fixtures.Leak{Rate: rate}})
		d.Label.Kind = cycle.LeakTest
		v := validate.Judge(d.record(t), rules(t, "en", ""))
		want := validate.Conforms
		if rate > 0.13 {
			want = validate.Failed
		}
		if v.Outcome() != want || math.Abs(v.Measured.Leak.Value-rate) > 0.003 {
			t.Errorf("%v kPa/min: got %s, %v", rate, v.Outcome(), v.Measured.Leak.Value)
			explain(t, v)
		}
	}
}
