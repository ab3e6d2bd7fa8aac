package surgery

import (
	"fmt"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// tenYears is a site with 20,000 cycles of two machines, eight a day and machine,
// whose verdicts all say what that of one cycle says. A short run keeps fewer.
func tenYears(b *testing.B, change ...func(i int, v *entry.Verdict)) (r *Records, lastDay string) {
	r = opened(b, emptySite(b), machines(), "")
	out, _ := imported(b, r, exported(b, b.TempDir(), "a.csv", cycleAt("1", "08:00:00")))
	c, err := r.Cycle(b.Context(), out.arrivals[0].Key)
	if err != nil {
		b.Fatal(err)
	}
	n := 20_000
	if testing.Short() {
		n = 2000
	}
	at := time.Date(2016, 11, 2, 8, 0, 0, 0, time.UTC)
	var drafts []entry.Draft
	for i := range n {
		v := *c.Verdict
		start := at.AddDate(0, 0, i/16).Add(time.Duration(i%8) * time.Hour)
		v.Steriliser = fmt.Sprintf("S%d", 1+i/8%2)
		v.Number, v.Day = fmt.Sprint(i/16*8+i%8), start.Format(time.DateOnly)
		v.Start, v.End = entry.At(start), entry.At(start.Add(40*time.Minute))
		v.Cycle = v.Steriliser + start.Format("-20060102-150405")
		v.Digest = entry.Sum([]byte(v.Cycle))
		lastDay = v.Day
		for _, f := range change {
			f(i, &v)
		}
		drafts = append(drafts, entry.Draft{At: evening, Body: v})
	}
	err = r.write(b.Context(), func(w *logbook.Batch) error { return w.AddAll(drafts) })
	if err != nil {
		b.Fatal(err)
	}
	return r, lastDay
}

// BenchmarkAcrossDay lays a day beside the two weeks before, among 20,000 cycles.
func BenchmarkAcrossDay(b *testing.B) {
	r, day := tenYears(b)
	for b.Loop() {
		if p, err := r.Across(b.Context(), day, day); err != nil || len(p.Findings) > 0 {
			b.Fatal(p, err)
		}
	}
}

// BenchmarkAcrossAll lays all of them side by side.
func BenchmarkAcrossAll(b *testing.B) {
	r, day := tenYears(b)
	for b.Loop() {
		if _, err := r.Across(b.Context(), "2016-01-01", day); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkImport keeps a file of 20 cycles of readings every second; BenchmarkCheck
// judges the same and keeps nothing.
func BenchmarkImport(b *testing.B) {
	file, size := manyCycles(b)
	b.SetBytes(size)
	for b.Loop() {
		b.StopTimer()
		r := opened(b, emptySite(b), machines(), "")
		b.StartTimer()
		imported(b, r, file)
	}
}

func BenchmarkCheck(b *testing.B) {
	file, size := manyCycles(b)
	b.SetBytes(size)
	for b.Loop() {
		if _, err := Check(b.Context(), machines(), Exports{Files: []string{file}}, &tellNothing{}); err != nil {
			b.Fatal(err)
		}
	}
}

type tellNothing struct{}

func (tellNothing) Cycle(Judged) error  { return nil }
func (tellNothing) File(FileRead) error { return nil }

func manyCycles(b testing.TB) (file string, size int64) {
	var cycles []fixtures.Cycle
	for i := range 20 {
		c := cycleAt(fmt.Sprint(i), "08:00:00", func(c *fixtures.Cycle) { c.Interval, c.Dry, c.Hold = 1, 1600, 225 })
		c.Start, c.Draw = c.Start.Add(time.Duration(i)*time.Hour), uint64(i)
		cycles = append(cycles, c)
	}
	text, err := fixtures.CSV(fixtures.Dialect{Preamble: true}, cycles...)
	if err != nil {
		b.Fatal(err)
	}
	return wrote(b, b.TempDir(), "many.csv", text), int64(len(text))
}
