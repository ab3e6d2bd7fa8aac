package parse

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"
)

// manyCycles prints n cycles of 2,400 readings, told apart by a column of cycle
// numbers: about 111 kB each. The figures are invented and mean nothing.
func manyCycles(n int) string {
	var b strings.Builder
	b.WriteString("Cycle,Date/Time,Chamber temp [°C],Load temp [°C],Pressure [kPa abs]\n")
	at := time.Date(2026, 3, 11, 8, 0, 0, 0, time.UTC)
	for c := range n {
		for i := range 2400 {
			fmt.Fprintf(&b, "%d,%s,%.1f,%.1f,%.1f\n", 1000+c, at.Format("2006-01-02 15:04:05"), 20+float64(i%1150)/10, 19+float64(i%1140)/10, 101+float64(i%2200)/10)
			at = at.Add(time.Second)
		}
		at = at.Add(time.Hour)
	}
	return b.String()
}

var benchCycles = sync.OnceValue(func() string { return manyCycles(100) })

// BenchmarkRead and BenchmarkEncodingCSV read the same bytes; their ratio in one
// run is what reading costs beyond taking the rows apart.
func BenchmarkRead(b *testing.B) {
	benchText := benchCycles()
	b.SetBytes(int64(len(benchText)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := Open("bench.csv", strings.NewReader(benchText), Options{})
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for {
			c, err := r.Next()
			if err == io.EOF {
				break
			}
			if err != nil || c.Record == nil {
				b.Fatal(err, c.Problems)
			}
			n++
		}
		if n != 100 || r.SHA256() == "" {
			b.Fatal(n)
		}
	}
}

func BenchmarkEncodingCSV(b *testing.B) {
	benchText := benchCycles()
	b.SetBytes(int64(len(benchText)))
	b.ReportAllocs()
	for b.Loop() {
		r := csv.NewReader(strings.NewReader(benchText))
		r.ReuseRecord = true
		for {
			if _, err := r.Read(); err == io.EOF {
				break
			} else if err != nil {
				b.Fatal(err)
			}
		}
	}
}
