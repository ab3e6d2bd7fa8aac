package seal

import (
	"crypto/sha256"
	"strings"
	"testing"
)

// record is a signed day of 1 MB in 400 objects, more than 8 cycles make.
func record(h house) (base, once, both []byte) {
	var more []string
	for range 400 {
		more = append(more, "<< /Length 2504 >>\nstream\n"+strings.Repeat("0 0 m 12 10 l S\n", 156)+"12345678\nendstream")
	}
	base = pdfOf("", "", more...)
	once = must(Sign(base, h.nurse, nurseSays(), places(), nil))
	return base, once, must(Countersign(once, h.lead, leadSays(), nil))
}

func BenchmarkSign(b *testing.B) {
	h := newHouse(b)
	base, _, _ := record(h)
	for b.Loop() {
		must(Sign(base, h.nurse, nurseSays(), places(), nil))
	}
}

func BenchmarkCountersign(b *testing.B) {
	h := newHouse(b)
	_, once, _ := record(h)
	for b.Loop() {
		must(Countersign(once, h.lead, leadSays(), nil))
	}
}

func BenchmarkVerify(b *testing.B) {
	h := newHouse(b)
	_, _, both := record(h)
	trust := Trust{Roots: h.roots()}
	b.SetBytes(int64(len(both)))
	for b.Loop() {
		if !Verify(both, trust).OK {
			b.Fatal()
		}
	}
}

// BenchmarkHashing is what any verification of both signatures must do at least.
func BenchmarkHashing(b *testing.B) {
	_, once, both := record(newHouse(b))
	b.SetBytes(int64(len(both)))
	for b.Loop() {
		sha256.Sum256(once)
		sha256.Sum256(both)
	}
}
