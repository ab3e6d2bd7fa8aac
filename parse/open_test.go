package parse

import (
	"strings"
	"testing"
)

// BenchmarkOpen finds the heading of an export with the machine in each row, for a site
// of two machines.
func BenchmarkOpen(b *testing.B) {
	text := "Steriliser;No;Programme;Time;Chamber °C;Pressure kPa abs;Result\n" + strings.Repeat("TQ-0522;17;134 quick;2026-11-02T08:14:03;134,2;304,1;passed\n", 2000)
	o := Options{Sterilisers: []Steriliser{{ID: "S1"}, {ID: "S2"}}}
	for b.Loop() {
		if _, err := Open("x.csv", strings.NewReader(text), o); err != nil {
			b.Fatal(err)
		}
	}
}
