package validate_test

import (
	"math"
	"testing"

	"holdproof/validate"
)

// held is a cycle that stays at one temperature for so many seconds, on a grid of
// 0.2 K, so that nothing but the temperature is in question.
func held(celsius, seconds float64) *draft {
	low := celsius - 0.2*180
	up := 20 + 180.0
	return shape(1, 0.3, [2]float64{0, low}, [2]float64{20, low}, [2]float64{up, celsius},
		[2]float64{up + seconds, celsius}, [2]float64{up + seconds + 180, low}, [2]float64{up + seconds + 220, low})
}

// Zentralsterilisation 1/2020, abstract, on EN 285:2015 (read): to claim 134 to 137 °C
// for 3 min, readings must lie in 134.5 to 136.5 °C.
func TestReadingsThatProve134To137(t *testing.T) {
	for _, c := range []struct {
		celsius float64
		want    validate.Outcome
	}{
		{133.9, validate.Failed},
		{134.0, validate.Borderline},
		{134.4, validate.Borderline},
		{134.5, validate.Conforms},
		{135.5, validate.Conforms},
		{136.5, validate.Conforms},
		{136.6, validate.Borderline},
		{137.0, validate.Borderline},
		{137.1, validate.Failed},
	} {
		v := validate.Judge(held(c.celsius, 180).record(t), rules(t, "en", "134"))
		if v.Outcome() != c.want {
			t.Errorf("%v °C for 3 min: got %s, want %s", c.celsius, v.Outcome(), c.want)
			explain(t, v)
		}
	}
}

// Two sensors of one chamber never agree to 0.1 K while it heats (ours).
func TestPressureTooGoodToBeMeasured(t *testing.T) {
	for _, c := range []struct {
		off  float64
		want validate.Outcome
	}{{0, validate.NotProven}, {0.09, validate.NotProven}, {0.11, validate.Conforms}, {-0.09, validate.NotProven}, {-0.11, validate.Conforms}} {
		d := held(135.5, 200)
		same := &draft{}
		for i, celsius := range d.chamber {
			same.add(d.t[i], celsius, c.off)
		}
		d.kpa = same.kpa
		if f := found(validate.Judge(d.record(t), rules(t, "en", "134")), "steam-agreement"); f.Outcome != c.want {
			t.Errorf("%v K apart: got %s (%s), want %s", c.off, f.Outcome, f.Message, c.want)
		}
	}
}

// The time runs from when the chamber first reached 134 °C, a dip of less than 2 K
// aside; a load that is late by less than an interval of readings may not be late.
func TestEquilibration(t *testing.T) {
	for _, c := range []struct {
		why  string
		step float64
		lag  int // readings
		dip  float64
		want validate.Outcome
		eq   float64
	}{
		{"soon", 1, 5, 0, validate.Conforms, 5},
		{"late", 1, 20, 0, validate.Failed, 20},
		{"late by less than an interval", 5, 4, 0, validate.Borderline, 20},
		{"a dip of 1.5 K", 1, 3, 1.5, validate.Conforms, 13},
		{"a dip of 2.5 K starts it anew", 1, 3, 2.5, validate.Conforms, 3},
	} {
		top := 134.4
		at := func(s float64) float64 { return s * c.step }
		d := shape(c.step, 0.3, [2]float64{0, 100}, [2]float64{20, 100}, [2]float64{192, top},
			[2]float64{at(192/c.step + 4), top - c.dip}, [2]float64{at(192/c.step + 8), top}, [2]float64{600, top}, [2]float64{772, 100}, [2]float64{810, 100})
		load := make([]float64, len(d.chamber))
		for i := range load {
			load[i] = d.chamber[max(0, i-c.lag)]
		}
		d.loads = [][]float64{load}
		v := validate.Judge(d.record(t), rules(t, "en", "134"))
		if f := found(v, "equilibration"); f.Outcome != c.want || math.Abs(f.Measured.Value-c.eq) > 2.5 {
			t.Errorf("%s: got %s, %v s (%s)", c.why, f.Outcome, f.Measured.Value, f.Message)
		}
	}
}

// CDC, Guideline for Disinfection and Sterilization in Healthcare Facilities, 2008,
// table 7 (read): wrapped instruments, 4 min at 132 °C with dynamic air removal, by
// gravity 30 min at 121 °C or 15 min at 132 °C.
func TestCDCTable7(t *testing.T) {
	for _, row := range []struct {
		set, programme string
		celsius        float64
		minutes        float64
	}{
		{"us-dynamic-air-removal", "132", 132, 4},
		{"us-gravity", "121", 121, 30},
		{"us-gravity", "132", 132, 15},
	} {
		for _, c := range []struct {
			seconds float64
			want    validate.Outcome
		}{{60 * row.minutes, validate.Conforms}, {60*row.minutes - 10, validate.Failed}} {
			v := validate.Judge(held(row.celsius+0.6, c.seconds).record(t), rules(t, row.set, row.programme))
			if v.Outcome() != c.want {
				t.Errorf("%s %s, %v s: got %s, want %s", row.set, row.programme, c.seconds, v.Outcome(), c.want)
				explain(t, v)
			}
			if f := found(v, "holding-time"); f.Low.Value != 60*row.minutes || f.Source.Sure != validate.Read {
				t.Errorf("%s %s: needs %v s by %+v", row.set, row.programme, f.Low.Value, f.Source)
			}
		}
	}
}

// F0 of a hold or a ramp and nothing else. Computed values at Tref 121.1 °C, z 10 K; the
// published ones at Tref 121 °C (second-hand: 15 min at 121 °C is 15, at 111 °C is 1.5)
// are converted by 10^(0.1/10).
func TestLethality(t *testing.T) {
	at121 := math.Pow(10, -0.01)
	for _, c := range []struct {
		why       string
		from, to  float64
		minutes   float64
		want      float64
		tolerance float64
	}{
		{"3 min at 134 °C", 134, 134, 3, 58.50, 0.005},
		{"10 min at 126 °C", 126, 126, 10, 30.90, 0.005},
		{"15 min at 121 °C", 121, 121, 15, 14.66, 0.005},
		{"30 min at 115 °C", 115, 115, 30, 7.36, 0.005},
		{"4 min at 132 °C", 132, 132, 4, 49.21, 0.005},
		{"15 min at 121 °C, Tref 121 °C", 121, 121, 15, 15 * at121, 1e-9},
		{"15 min at 111 °C, Tref 121 °C", 111, 111, 15, 1.5 * at121, 1e-9},
		{"a straight ramp from 100 to 134 °C in 4 min, closed form", 100, 134, 4, 9.9585, 0.00005},
		{"the rate at 110 °C is 0.077 of Tref 121.11 °C (read)", 110, 110, 1, 0.077 * math.Pow(10, 0.001), 0.0005},
	} {
		d := shape(0.1, 0.3, [2]float64{0, c.from}, [2]float64{60 * c.minutes, c.to})
		v := validate.Judge(d.record(t), rules(t, "en", "134"))
		if f := v.Measured.F0; !f.Known || math.Abs(f.Value-c.want) > c.tolerance {
			t.Errorf("%s: got %v, want %v", c.why, f.Value, c.want)
		}
	}
}
