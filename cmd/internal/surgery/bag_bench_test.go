package surgery

import (
	"crypto/sha256"
	"fmt"
	"io"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// keptYears is a site with ten years of invented cycles whose exports are kept, each of
// its own: 20,000, eight a day, a short run fewer. It returns the last day.
func keptYears(b testing.TB, cycles int) (r *Records, first, last string) {
	r = opened(b, emptySite(b), machines(), "")
	file, _ := manyCycles(b)
	text := read(b, file)
	text = text[:len(text)/20] // as long as one cycle
	out, _ := imported(b, r, exported(b, b.TempDir(), "a.csv", cycleAt("1", "08:00:00")))
	like, err := r.Cycle(b.Context(), out.arrivals[0].Key)
	if err != nil {
		b.Fatal(err)
	}
	at := time.Date(2016, 11, 2, 8, 0, 0, 0, time.UTC)
	first = at.Format(time.DateOnly)
	for i := 0; i < cycles; i += 100 {
		err := r.write(b.Context(), func(w *logbook.Batch) error {
			for n := i; n < i+100; n++ {
				start := at.AddDate(0, 0, n/8).Add(time.Duration(n%8) * time.Hour)
				last = start.Format(time.DateOnly)
				if err := keepLike(w, *like.Verdict, n, start, text); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	return r, first, last
}

// keepLike keeps an export of its own, and a verdict on it like another one.
func keepLike(w *logbook.Batch, v entry.Verdict, n int, start time.Time, text []byte) error {
	o := logbook.NewOriginal()
	defer o.Discard()
	fmt.Fprintln(o, "cycle:", n)
	if _, err := o.Write(text); err != nil {
		return err
	}
	sum, size, err := o.Finish()
	if err != nil {
		return err
	}
	if err := w.Keep(o); err != nil {
		return err
	}
	v.Steriliser, v.Number, v.Day = "S1", fmt.Sprint(n+1), start.Format(time.DateOnly)
	v.Start, v.End = entry.At(start), entry.At(start.Add(40*time.Minute))
	v.Cycle = v.Steriliser + start.Format("-20060102-150405")
	v.Digest = entry.Sum([]byte(v.Cycle))
	v.Sources = []entry.Source{{SHA256: sum, File: v.Cycle + ".csv", FirstLine: 2, LastLine: 2000}}
	if _, err := w.Add(entry.Draft{At: start, Body: entry.Import{SHA256: sum, File: v.Cycle + ".csv", Size: size, Via: "command",
		Modified: v.End, Readable: true, Cycles: []string{v.Cycle}, Problems: []byte("[]")}}); err != nil {
		return err
	}
	_, err = w.Add(entry.Draft{At: start, Body: v})
	return err
}

// BenchmarkBag packs ten years into a ZIP, against reading the same bytes from the store
// and hashing them: with its pages, for which every export is parsed and drawn, and
// without. BenchmarkVerifyBag checks what came out.
func BenchmarkBag(b *testing.B) {
	r, first, last := benchYears(b)
	for _, c := range []struct {
		name string
		bare bool
	}{{"pages", false}, {"bare", true}} {
		b.Run(c.name, func(b *testing.B) {
			var least time.Duration
			for b.Loop() {
				b.StopTimer()
				begun := time.Now()
				b.SetBytes(leastReading(b, r))
				least += time.Since(begun)
				out := filepath.Join(b.TempDir(), fmt.Sprint(time.Now().UnixNano(), ".zip"))
				b.StartTimer()
				if _, err := r.Bag(b.Context(), Bagging{From: first, To: last, Out: out, bare: c.bare}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed())/float64(least), "times-reading+hashing")
		})
	}
}

func benchYears(b *testing.B) (*Records, string, string) {
	if testing.Short() {
		return keptYears(b, 2000)
	}
	return keptYears(b, 20_000)
}

// leastReading reads every kept file and every entry and hashes them, and nothing else.
func leastReading(b testing.TB, r *Records) (size int64) {
	err := r.book.Read(b.Context(), func(v *logbook.View) error {
		rows, err := logbook.Find[entry.Import](b.Context(), v, logbook.Filter{})
		if err != nil {
			return err
		}
		for _, row := range rows {
			f, err := v.Original(b.Context(), row.Said.SHA256)
			if err != nil {
				return err
			}
			n, err := io.Copy(io.Discard, f) // hashed while it is read
			if err != nil {
				return err
			}
			size += n
			f.Close()
		}
		h := sha256.New()
		return v.Lines(b.Context(), 1, func(line []byte) error {
			size += int64(len(line))
			_, err := h.Write(line)
			return err
		})
	})
	if err != nil {
		b.Fatal(err)
	}
	return size
}

func BenchmarkVerifyBag(b *testing.B) {
	r, first, last := benchYears(b)
	out := filepath.Join(b.TempDir(), "bag.zip")
	if _, err := r.Bag(b.Context(), Bagging{From: first, To: last, Out: out}); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if v, err := VerifyBag(out, Trusting{}, nil); err != nil || len(v.Problems) > 1 {
			b.Fatal(v.Problems, err)
		}
	}
}

// What a bag takes of memory does not grow with the period, but for the tree and the
// names of files: measured on the heap while it is packed.
func TestBagMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("a long test")
	}
	r, first, last := keptYears(t, 2000)
	stop, peak := make(chan struct{}), make(chan uint64)
	go func() {
		var most uint64
		var m runtime.MemStats
		for {
			select {
			case <-stop:
				peak <- most
				return
			case <-time.After(20 * time.Millisecond):
				runtime.GC()
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapAlloc)
			}
		}
	}()
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := r.Bag(t.Context(), Bagging{From: first, To: last, Out: filepath.Join(t.TempDir(), "bag.zip")})
	close(stop)
	most := <-peak
	if err != nil {
		t.Fatal(err)
	}
	if more := int64(most) - int64(before.HeapAlloc); more > 24<<20 {
		t.Errorf("%d MB more in use while 2,000 cycles were packed", more>>20)
	} else {
		t.Logf("%.1f MB more in use", float64(more)/(1<<20))
	}
}
