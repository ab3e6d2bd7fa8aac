package surgery

import (
	"fmt"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/pdf"
	"holdproof/report/seal"
)

// BenchmarkSignedDay draws, signs and countersigns a day in process, from the facts of
// the day on; its parts with the logbook stand beside it.
func BenchmarkSignedDay(b *testing.B) {
	for _, n := range []int{8, 40} {
		s := signedSite(b)
		var cycles []fixtures.Cycle
		for i := range n {
			cycles = append(cycles, cycleAt(fmt.Sprint(1000+i), fmt.Sprintf("%02d:%02d:00", 1+i/3, 20*(i%3)), func(c *fixtures.Cycle) {
				c.Interval = 1
				if i%8 == 3 {
					c.Hold = 150
				}
			}))
		}
		imported(b, s.Records, exported(b, b.TempDir(), "day.csv", cycles...))
		rec, err := s.Day(b.Context(), monday)
		if err != nil || len(rec.Day.Cycles) != n || len(rec.parts.Figures) != n {
			b.Fatalf("%d cycles, %d figures, %v", len(rec.Day.Cycles), len(rec.parts.Figures), err)
		}
		lea, mara := openedKey(b, s, "lea"), openedKey(b, s, "mara")
		prepared, reviewed := pdf.Blocks()
		second := seal.Place{Page: reviewed.Page, X: reviewed.X, Y: reviewed.Y, Width: reviewed.W, Height: reviewed.H}
		places := seal.Places{Prepared: seal.Place{Page: prepared.Page, X: prepared.X, Y: prepared.Y, Width: prepared.W, Height: prepared.H}, Reviewed: &second}
		says := seal.Statement{Role: "lead", Surgery: "Tern Quay Surgery", Time: s.Now().Truncate(time.Second)}
		var last []byte
		b.Run(fmt.Sprintf("draw-sign-countersign/%d", n), func(b *testing.B) {
			for b.Loop() {
				plain, err := rec.PDF()
				if err != nil {
					b.Fatal(err)
				}
				once, err := seal.Sign(plain, lea, says, places, nil)
				if err != nil {
					b.Fatal(err)
				}
				if last, err = seal.Countersign(once, mara, says, nil); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(last))/1000, "kB")
		})
		b.Run(fmt.Sprintf("from-the-logbook/%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Day(b.Context(), monday); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("verify/%d", n), func(b *testing.B) {
			for b.Loop() {
				if v := verifyRecord(last, seal.Trust{}); !v.OK {
					b.Fatal(v.Problems)
				}
			}
			b.SetBytes(int64(len(last)))
		})
	}
}

func openedKey(t testing.TB, s *site, id string) *seal.Key {
	t.Helper()
	k, err := seal.Open(read(t, keyFile(s.dir, id)), id+" at the quay")
	if err != nil {
		t.Fatal(err)
	}
	return k
}
