package logbook

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// exportLines makes an export of about 110 kB, that of 2,400 readings a second apart.
const exportLines = 3100

// BenchmarkImport keeps one cycle with its 110 kB: bytes, import, verdict, on the
// disk when it returns.
func BenchmarkImport(b *testing.B) {
	book := newSite(b)
	configure(b, book)
	all := make([][]byte, 50)
	for i := range all {
		all[i] = export(i, exportLines)
	}
	b.SetBytes(int64(len(all[0])))
	b.ResetTimer()
	n := 0
	for b.Loop() {
		// Other bytes each time, at the price of a few copied ones.
		data := append([]byte(time.Duration(n).String()+"\n"), all[n%len(all)]...)
		if _, err := keep(book, n, data); err != nil {
			b.Fatal(err)
		}
		n++
	}
	b.StopTimer()
	info, err := os.Stat(book.Path())
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(info.Size())/float64(n)/1000, "kB-kept/op")
}

// BenchmarkCompress is the part of BenchmarkImport outside the transaction.
func BenchmarkCompress(b *testing.B) {
	data := export(1, exportLines)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		o := NewOriginal()
		if _, err := io.Copy(o, bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
		o.Finish()
		o.Discard()
	}
}

// The limits stand for ten years kept: 20,000 cycles. A short run keeps fewer.
func tenYears(b *testing.B, lines int) *Book {
	book := newSite(b)
	configure(b, book)
	var some [][]byte
	for i := range 50 {
		some = append(some, export(i, lines))
	}
	for i := 0; i < times(2000, 20_000); i += 100 { // a hundred to a transaction, to be ready sooner
		if _, err := book.Write(ctx, func(w *Batch) error {
			for j := i; j < i+100; j++ {
				o := NewOriginal()
				defer o.Discard()
				fmt.Fprintln(o, j)
				if _, err := o.Write(some[j%50]); err != nil {
					return err
				}
				sum, size, err := o.Finish()
				if err == nil {
					err = keepIn(w, j, o, sum, size)
				}
				if err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			b.Fatal(err)
		}
	}
	return book
}

// BenchmarkAudit audits all, against SHA-256 and gunzip of the same bytes and
// nothing else, on one processor.
func BenchmarkAudit(b *testing.B) {
	book := tenYears(b, exportLines)
	var least time.Duration
	for b.Loop() {
		b.StopTimer()
		start := time.Now()
		leastWork(b, book)
		least += time.Since(start)
		b.StartTimer()
		a, err := book.Audit(ctx, AuditOptions{})
		if err != nil || !a.OK() {
			b.Fatal(err, a.Problems)
		}
	}
	b.ReportMetric(float64(b.Elapsed())/float64(least), "times-hash+gunzip")
}

func leastWork(b *testing.B, book *Book) {
	rows, err := book.r.Query(`SELECT sha256, gzip FROM original_parts`)
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	gz := new(gzip.Reader)
	for rows.Next() {
		var sum string
		var p []byte
		if err := rows.Scan(&sum, &p); err != nil {
			b.Fatal(err)
		}
		if err := gz.Reset(bytes.NewReader(p)); err != nil {
			b.Fatal(err)
		}
		h := sha256.New()
		if _, err := io.Copy(h, gz); err != nil {
			b.Fatal(err)
		}
		if hex.EncodeToString(h.Sum(nil)) != sum {
			b.Fatal(sum)
		}
	}
}

func BenchmarkQuestions(b *testing.B) {
	book := tenYears(b, 30)
	last := times(2000, 20_000) - 1
	for _, q := range []struct {
		name string
		ask  func() (int, error)
	}{
		{"day", func() (int, error) {
			c, err := book.Cycles(ctx, CycleFilter{From: dayOf(last - 8), To: dayOf(last - 8), Verdicts: true})
			return len(c), err
		}},
		{"waiting", func() (int, error) {
			c, err := book.Cycles(ctx, CycleFilter{Waiting: true, Limit: 100})
			return len(c), err
		}},
		{"recalled", func() (int, error) { c, err := book.Cycles(ctx, CycleFilter{Recalled: true}); return len(c) + 1, err }},
		{"number", func() (int, error) {
			c, err := book.Cycles(ctx, CycleFilter{Steriliser: "S1", Number: "1500"})
			return len(c), err
		}},
		{"failed in a year", func() (int, error) {
			c, err := book.Cycles(ctx, CycleFilter{Outcome: "failed", From: "2027-01-01", To: "2027-03-31"})
			return len(c), err
		}},
		{"month of days", func() (int, error) { d, err := book.Days(ctx, "2027-01-01", "2027-01-31"); return len(d), err }},
		{"history of a cycle", func() (int, error) {
			h, err := Find[entry.Body](ctx, book.View, Filter{Cycle: keyOf(last), Superseded: true})
			return len(h), err
		}},
		{"imports of a day", func() (int, error) {
			h, err := Find[entry.Import](ctx, book.View, Filter{From: dayOf(last), To: dayOf(last)})
			return len(h), err
		}},
	} {
		b.Run(q.name, func(b *testing.B) {
			for b.Loop() {
				if n, err := q.ask(); err != nil || n == 0 {
					b.Fatal(n, err)
				}
			}
		})
	}
}
