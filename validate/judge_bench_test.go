package validate_test

import (
	"math"
	"testing"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// BenchmarkJudge judges invented cycles of 2,400 readings: 20 min at two readings a
// second with a hold of 4 min, and 40 min at one with a hold of 24 min.
func BenchmarkJudge(b *testing.B) {
	good := readSimple(b, "a01-good.csv")
	for _, c := range []struct {
		name string
		rec  *cycle.Record
	}{
		{"hold=4min", doubled(b, good, 2400)},
		{"hold=24min", lengthened(b, good, 2400)},
	} {
		b.Run(c.name, func(b *testing.B) {
			rules := rulesFor(b, "")
			b.ReportAllocs()
			for b.Loop() {
				if v := validate.Judge(c.rec, rules); v.Outcome() != validate.Conforms {
					b.Fatal(v.Outcome())
				}
			}
		})
	}
}

// doubled puts a reading half way between any two, rounded as the others are, and
// keeps the first n.
func doubled(b testing.TB, rec *cycle.Record, n int) *cycle.Record {
	b.Helper()
	r := rec.Readings()
	half := func(i int, value func(int) float64) float64 {
		if i%2 == 0 {
			return value(i / 2)
		}
		return math.Round(5*(value(i/2)+value(i/2+1))) / 10
	}
	out := cycle.Readings{Pressure: &cycle.Pressure{Reference: r.Pressure.Reference}}
	for _, c := range r.Channels {
		out.Channels = append(out.Channels, cycle.Channel{Role: c.Role, Heading: c.Heading, Column: c.Column})
	}
	for i := range n {
		out.Seconds = append(out.Seconds, float64(i)/2)
		out.Lines = append(out.Lines, i+2)
		out.Pressure.KPa = append(out.Pressure.KPa, half(i, func(k int) float64 { return r.Pressure.KPa[k] }))
		for k, c := range r.Channels {
			t := half(i, func(k int) float64 { return float64(c.Celsius[k]) })
			out.Channels[k].Celsius = append(out.Channels[k].Celsius, cycle.Celsius(t))
		}
	}
	twice, err := cycle.New(rec.Header(), out)
	if err != nil {
		b.Fatal(err)
	}
	return twice
}

// lengthened stretches a record to n readings: those in the middle of its plateau are
// repeated there.
func lengthened(b testing.TB, rec *cycle.Record, n int) *cycle.Record {
	b.Helper()
	r := rec.Readings()
	const from, to = 500, 680 // readings of the plateau of a01-good.csv
	var order []int
	for i := range r.Seconds {
		order = append(order, i)
		for k := from; i == to && len(order)+len(r.Seconds)-1-i < n; k++ {
			order = append(order, from+k%(to-from))
		}
	}
	out := cycle.Readings{Pressure: &cycle.Pressure{Reference: r.Pressure.Reference}}
	for _, c := range r.Channels {
		out.Channels = append(out.Channels, cycle.Channel{Role: c.Role, Heading: c.Heading, Column: c.Column})
	}
	for i, from := range order {
		out.Seconds = append(out.Seconds, float64(i))
		out.Lines = append(out.Lines, i+2)
		out.Pressure.KPa = append(out.Pressure.KPa, r.Pressure.KPa[from])
		for k, c := range r.Channels {
			out.Channels[k].Celsius = append(out.Channels[k].Celsius, c.Celsius[from])
		}
	}
	long, err := cycle.New(rec.Header(), out)
	if err != nil || long.Len() != n {
		b.Fatalf("%d readings, %v", long.Len(), err)
	}
	return long
}
