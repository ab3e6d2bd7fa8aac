package validate_test

import (
	"testing"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// BenchmarkJudge judges an invented cycle of 2,400 readings.
func BenchmarkJudge(b *testing.B) {
	rec := lengthened(b, readSimple(b, "a01-good.csv"), 2400)
	rules := rulesFor(b, "")
	b.ReportAllocs()
	for b.Loop() {
		if v := validate.Judge(rec, rules); v.Outcome() != validate.Conforms {
			b.Fatal(v.Outcome())
		}
	}
}

// lengthened stretches a record to n readings: those in the middle of its plateau are
// repeated there.
func lengthened(b *testing.B, rec *cycle.Record, n int) *cycle.Record {
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
