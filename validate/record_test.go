package validate_test

import (
	"math"
	"slices"
	"testing"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
	"holdproof/validate/steam"
)

// draft is a record in the making: an invented cycle that a test may spoil.
type draft struct {
	cycle.Header
	t       []float64
	chamber []float64
	loads   [][]float64
	kpa     []float64 // nil: no pressure
	ref     cycle.Reference
	lines   []int
	reached float64 // s, when the plateau was reached
}

// invent takes the readings of an invented cycle.
func invent(c fixtures.Cycle) *draft {
	r := c.Readings()
	d := &draft{t: r.Seconds, chamber: r.Chamber, loads: r.Loads, kpa: r.KPa, ref: cycle.Absolute, reached: r.Reached}
	for i := range d.t {
		d.lines = append(d.lines, i+2)
	}
	d.Steriliser = "S1"
	return d
}

func (d *draft) record(t testing.TB) *cycle.Record {
	t.Helper()
	r := cycle.Readings{Lines: slices.Clone(d.lines)}
	for _, at := range d.t {
		r.Seconds = append(r.Seconds, at-d.t[0])
	}
	column := func(role cycle.Role, heading string, values []float64) {
		c := cycle.Channel{Role: role, Heading: heading}
		for _, v := range values {
			c.Celsius = append(c.Celsius, cycle.Celsius(v))
		}
		r.Channels = append(r.Channels, c)
	}
	if d.chamber != nil {
		column(cycle.Chamber, "chamber", d.chamber)
	}
	for i, l := range d.loads {
		column(cycle.LoadProbe, []string{"load 1", "load 2", "load 3"}[i], l)
	}
	if d.kpa != nil {
		r.Pressure = &cycle.Pressure{Reference: d.ref, Heading: "pressure", KPa: slices.Clone(d.kpa)}
	}
	rec, err := cycle.New(d.Header, r)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

// columns are all columns of readings of the draft.
func (d *draft) columns() []*[]float64 {
	out := []*[]float64{&d.t}
	if d.chamber != nil {
		out = append(out, &d.chamber)
	}
	for i := range d.loads {
		out = append(out, &d.loads[i])
	}
	if d.kpa != nil {
		out = append(out, &d.kpa)
	}
	return out
}

// keep drops the readings for which in is false.
func (d *draft) keep(in func(at float64) bool) *draft {
	var idx []int
	for i, at := range d.t {
		if in(at) {
			idx = append(idx, i)
		}
	}
	for _, c := range d.columns() {
		var out []float64
		for _, i := range idx {
			out = append(out, (*c)[i])
		}
		*c = out
	}
	var lines []int
	for _, i := range idx {
		lines = append(lines, d.lines[i])
	}
	d.lines = lines
	return d
}

// index is the first reading at or after a time since the plateau was reached.
func (d *draft) index(sincePlateau float64) int {
	i := slices.IndexFunc(d.t, func(at float64) bool { return at >= d.reached+sincePlateau-1e-9 })
	if i < 0 {
		panic("no reading that late")
	}
	return i
}

// shape is a chamber temperature by straight lines, one reading every step seconds.
// Pressure is that of saturation off kelvins above it, so that it is not mistaken for
// one computed from the temperature; the load equals the chamber.
func shape(step, off float64, points ...[2]float64) *draft {
	d := &draft{ref: cycle.Absolute}
	last := points[len(points)-1][0]
	for i := 0; float64(i)*step <= last+1e-9; i++ {
		at := float64(i) * step
		k := 1
		for k < len(points)-1 && points[k][0] < at {
			k++
		}
		a, b := points[k-1], points[k]
		d.add(at, a[1]+(b[1]-a[1])*(at-a[0])/(b[0]-a[0]), off)
	}
	return d
}

func (d *draft) add(at, celsius, off float64) {
	p, err := steam.Pressure(cycle.Celsius(celsius + off).Kelvin())
	if err != nil {
		panic(err)
	}
	d.t = append(d.t, at)
	d.chamber = append(d.chamber, math.Round(celsius*1e6)/1e6)
	d.kpa = append(d.kpa, float64(p))
	d.lines = append(d.lines, len(d.t)+1)
}

// rules are the limits of a built-in set with a programme fixed, "" for none.
func rules(t testing.TB, set, programme string) validate.Rules {
	t.Helper()
	return validate.Rules{Set: limitSet(t, set), Machine: validate.Machine{DefaultProgramme: programme}}
}

// found is a verdict's finding of a check, the zero Finding if there is none.
func found(v validate.Verdict, check string) validate.Finding {
	for _, f := range v.Findings {
		if f.Check == check {
			return f
		}
	}
	return validate.Finding{}
}

// worse orders outcomes: conforms, borderline, not proven, failed.
func worse(a, b validate.Outcome) bool {
	order := []validate.Outcome{validate.Conforms, validate.Borderline, validate.NotProven, validate.Failed}
	return slices.Index(order, a) > slices.Index(order, b)
}

func explain(t testing.TB, v validate.Verdict) {
	t.Helper()
	for _, f := range v.Findings {
		if f.Outcome != validate.Conforms && f.Outcome != validate.NotAssessed {
			t.Logf("%s: %s: %s (%s)", f.Check, f.Outcome, f.Message, f.Key)
		}
	}
	for _, r := range v.Remarks {
		t.Log("remark:", r)
	}
}
