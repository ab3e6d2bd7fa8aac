package figure

import (
	"math"
	"testing"
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
	"holdproof/validate/steam"
)

// invented is a load of an invented steriliser at 134 °C: three pulses of vacuum,
// heating, a plateau of hold seconds at 135 °C, release and drying. The steam is
// saturated while the pressure is above the surrounding air.
func invented(t testing.TB, hold float64, change func(*cycle.Readings)) Cycle {
	t.Helper()
	var r cycle.Readings
	p := &cycle.Pressure{Reference: cycle.Absolute, Heading: "pressure", Column: 4}
	chamber := cycle.Channel{Role: cycle.Chamber, Heading: "chamber", Column: 2}
	load := cycle.Channel{Role: cycle.LoadProbe, Heading: "load", Column: 3}
	jacket := cycle.Channel{Role: cycle.Other, Heading: "jacket", Column: 5}
	l := 60.0
	end := 700 + hold + 900
	for s := 0.0; s <= end; s++ {
		kpa := pressureAt(s, hold)
		hot := float64(steam.Celsius(cycle.Kilopascal(max(kpa, 20))))
		if s > 720+hold {
			hot = max(70, 100-(s-720-hold)/30)
		}
		l += (hot - 0.2 - l) / 5
		r.Seconds = append(r.Seconds, s)
		r.Lines = append(r.Lines, int(s)+2)
		p.KPa = append(p.KPa, kpa)
		chamber.Celsius = append(chamber.Celsius, cycle.Celsius(math.Round(hot*10)/10))
		load.Celsius = append(load.Celsius, cycle.Celsius(math.Round(l*10)/10))
		jacket.Celsius = append(jacket.Celsius, cycle.Celsius(138+math.Sin(s/40)))
	}
	r.Channels = []cycle.Channel{chamber, load, jacket}
	r.Pressure = p
	if change != nil {
		change(&r)
	}
	record, err := cycle.New(cycle.Header{
		Source:     cycle.Source{File: "invented.csv", FirstLine: 2, LastLine: len(r.Lines) + 1},
		Steriliser: "S1", Number: "1042", Start: time.Date(2026, 11, 2, 8, 14, 3, 0, time.UTC),
	}, r)
	if err != nil {
		t.Fatal(err)
	}
	c := Cycle{Record: record, Verdict: verdict(hold)}
	if r.Pressure != nil && r.Pressure.Reference == cycle.Absolute {
		c.Absolute = r.Pressure.KPa
	}
	return c
}

// pressureAt is the invented pressure in kPa absolute.
func pressureAt(s, hold float64) float64 {
	switch {
	case s < 360: // three pulses
		phase := math.Mod(s, 120)
		if phase < 70 {
			return 101.3 - 85*phase/70
		}
		return 16.3 + (150-16.3)*(phase-70)/50
	case s < 690:
		return 101.3 + (316-101.3)*(s-360)/330
	case s < 700+hold:
		return 313.5 + 1.2*math.Sin(s/9)
	case s < 730+hold:
		return 313 - (313-40)*(s-700-hold)/30
	case s < 1450+hold:
		return 12 + 28*math.Exp(-(s-730-hold)/60)
	}
	return min(101.3, 12+(s-1450-hold)*1.2)
}

func verdict(hold float64) validate.Verdict {
	v := validate.Verdict{
		Kind:      cycle.Load,
		Programme: validate.Programme{Name: "134", Sterilising: 134, Band: 3, Hold: 180},
		Measured: validate.Measured{
			Hold: validate.Known(hold + 9.4), HoldFrom: validate.Known(691.2), HoldTo: validate.Known(691.2 + hold + 9.4),
		},
	}
	f := validate.Finding{Check: "holding-time", Outcome: validate.Conforms, Measured: v.Measured.Hold, Low: validate.Known(180), Unit: "s", Message: "held long enough"}
	if hold < 180 {
		f.Outcome = validate.Failed
		f.At = validate.Known(691.2 + hold + 9.4)
		f.Message = "held 134 to 137 °C for 2 min 40 s, needs 3 min"
	}
	v.Findings = []validate.Finding{f, {Check: "equilibration", Outcome: validate.Conforms, Message: "even after 6 s"}}
	if hold < 180 {
		v.Findings = append(v.Findings, validate.Finding{Check: "sensor-reading", Outcome: validate.Borderline, At: validate.Known(640), Message: "one reading was removed"})
	}
	return v
}

// leakTest is an invented air leakage test that rises by rate kPa/min.
func leakTest(t testing.TB, rate float64) Cycle {
	t.Helper()
	var r cycle.Readings
	p := &cycle.Pressure{Reference: cycle.Absolute, Heading: "pressure", Column: 2}
	for s := 0.0; s <= 1500; s += 5 {
		kpa := 101.3 * math.Exp(-s/60)
		if s > 180 {
			kpa = 5 + 0.6*(1-math.Exp(-(s-180)/80)) + rate*(s-180)/60
		}
		if s > 1200 {
			kpa = min(101.3, kpa+(s-1200)*1.5)
		}
		r.Seconds = append(r.Seconds, s)
		r.Lines = append(r.Lines, int(s/5)+2)
		p.KPa = append(p.KPa, math.Round(kpa*100)/100)
	}
	r.Pressure = p
	record, err := cycle.New(cycle.Header{Steriliser: "S1", Number: "1041", Start: time.Date(2026, 11, 2, 7, 40, 0, 0, time.UTC)}, r)
	if err != nil {
		t.Fatal(err)
	}
	o := validate.Conforms
	if rate > 0.13 {
		o = validate.Failed
	}
	return Cycle{Record: record, Absolute: p.KPa, Verdict: validate.Verdict{
		Kind:     cycle.LeakTest,
		Measured: validate.Measured{Leak: validate.Known(rate), HoldFrom: validate.Known(590), HoldTo: validate.Known(1190)},
		Findings: []validate.Finding{{Check: "air-leakage", Outcome: o, Measured: validate.Known(rate), High: validate.Known(0.13), Unit: "kPa/min", Message: "leak"}},
	}}
}
