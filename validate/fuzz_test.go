package validate_test

import (
	"encoding/binary"
	"math"
	"reflect"
	"testing"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
)

// packed writes every n-th reading of a draft as FuzzJudge reads them.
func packed(d *draft, n int) []byte {
	var out []byte
	for i := 0; i < len(d.t); i += n {
		load := math.NaN()
		if len(d.loads) > 0 {
			load = d.loads[0][i]
		}
		for _, v := range []float64{float64(n), d.chamber[i], load, d.kpa[i]} {
			out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(v)))
		}
	}
	return out
}

// FuzzJudge: any readings are judged without panic, the verdict is that of its worst
// finding and there is one, every finding has a check, a source and a sentence, no
// figure is a number that is none, and judging again gives the same.
func FuzzJudge(f *testing.F) {
	for i, c := range []fixtures.Cycle{
		{}, {Hold: 100}, {Leak: &fixtures.Leak{Rate: 0.05}}, {Faults: fixtures.Faults{GapAt: 90, Gap: 40}},
		{Faults: fixtures.Faults{Overshoot: 3}}, {Faults: fixtures.Faults{StuckAt: 500}}, {Ts: 121, Hold: 950},
	} {
		f.Add(packed(invent(c), 10), uint16(i*37))
	}
	f.Add([]byte{}, uint16(0))
	f.Add(make([]byte, 16), uint16(0xffff))
	f.Fuzz(func(t *testing.T, data []byte, switches uint16) {
		rec, r := unpack(t, data, switches)
		if rec == nil {
			return
		}
		v := validate.Judge(rec, r)
		if len(v.Findings) == 0 {
			t.Fatal("no finding")
		}
		worst := validate.Conforms
		for _, x := range v.Findings {
			if x.Check == "" || x.Source.Text == "" || x.Message == "" || validate.Requirement(x.Check) == "" {
				t.Errorf("incomplete: %+v", x)
			}
			if x.Outcome != validate.NotAssessed && worse(x.Outcome, worst) {
				worst = x.Outcome
			}
			for _, g := range []validate.Figure{x.Measured, x.Low, x.High, x.Uncertainty, x.At} {
				if math.IsNaN(g.Value) || math.IsInf(g.Value, 0) || !g.Known && g.Value != 0 {
					t.Errorf("%s: a figure that is none: %+v", x.Check, x)
				}
			}
		}
		if v.Outcome() == validate.Conforms && worst != validate.Conforms {
			t.Errorf("conforms, but a finding is %s", worst)
		}
		for name, g := range figures(v.Measured) {
			if math.IsNaN(g.Value) || math.IsInf(g.Value, 0) {
				t.Errorf("%s is %v", name, g.Value)
			}
		}
		if again := validate.Judge(rec, r); !reflect.DeepEqual(v, again) {
			t.Errorf("judged again, the verdict is %s, not %s", again.Outcome(), v.Outcome())
		}
	})
}

// unpack makes a record of any bytes: 16 a reading, time since the one before,
// chamber, load, pressure. The switches say what else the record and the rules have.
func unpack(t *testing.T, data []byte, switches uint16) (*cycle.Record, validate.Rules) {
	on := func(bit int) bool { return switches>>bit&1 == 1 }
	h := cycle.Header{Steriliser: "S1"}
	if on(0) {
		h.Label = cycle.Label{Text: "134", Numbers: []cycle.Number{{Value: 134}}, Durations: []float64{210}}
	}
	h.Label.Kind = cycle.Kind(switches >> 1 & 7 % 5)
	in := cycle.Readings{Pressure: &cycle.Pressure{Reference: cycle.Reference(switches >> 4 & 3 % 3)}}
	in.Channels = []cycle.Channel{{Role: cycle.Chamber, Heading: "chamber"}, {Role: cycle.LoadProbe, Heading: "load"}}
	if on(6) {
		in.Channels[1].Role = cycle.Unknown
	}
	if on(7) {
		in.Channels[0].Role = cycle.LoadProbe
	}
	at := 0.0
	for i := 0; i+16 <= len(data) && i < 16*3000; i += 16 {
		value := func(k int) float64 {
			return float64(math.Float32frombits(binary.LittleEndian.Uint32(data[i+4*k:])))
		}
		if i > 0 {
			at += value(0)
		}
		in.Seconds = append(in.Seconds, at)
		in.Lines = append(in.Lines, i/16+2)
		in.Channels[0].Celsius = append(in.Channels[0].Celsius, cycle.Celsius(value(1)))
		in.Channels[1].Celsius = append(in.Channels[1].Celsius, cycle.Celsius(value(2)))
		in.Pressure.KPa = append(in.Pressure.KPa, value(3))
	}
	if on(8) {
		in.Pressure = nil
	}
	rec, err := cycle.New(h, in)
	if err != nil {
		return nil, validate.Rules{}
	}
	sets := validate.LimitSets()
	r := validate.Rules{Set: sets[int(switches>>9)%len(sets)]}
	if on(12) {
		r.Site.Ambient = validate.Known(100)
	}
	if on(13) {
		r.Machine.Type = "B"
	}
	if on(14) {
		r.Machine.DefaultProgramme = r.Set.Programmes[0].Name
		r.Machine.ReferenceHold = &validate.Tolerance{At: 200, Within: 20}
		r.Machine.Pulses, r.Machine.PulsesBelow, r.Machine.DryingBelow, r.Machine.DryingMinutes = 3, 20, 20, 5
	}
	return rec, r
}
