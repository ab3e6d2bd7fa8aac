package surgery

import (
	"bytes"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"testing"

	"holdproof/report/seal"
)

// Attacks on a record as a surgery signs it, with its exports inside: each is refused
// with a sentence. The seal's own tests try every bit of a small one.

func refusedRecord(t *testing.T, why string, data []byte) {
	t.Helper()
	v := verifyRecord(data, seal.Trust{})
	if v.OK || len(v.Problems) == 0 {
		t.Errorf("%s: accepted", why)
	}
}

// How many random places are tried; HOLDPROOF_LONG=1 tries many.
func tries(few, many int) int {
	if os.Getenv("HOLDPROOF_LONG") != "" {
		return many
	}
	return few
}

func TestRecordBitsAndCuts(t *testing.T) {
	_, file, _ := aRecord(t)
	data := read(t, file)
	draw := rand.New(rand.NewPCG(5, 0x2d))
	for range tries(150, 10_000) {
		at, bit := draw.IntN(len(data)), draw.IntN(8)
		broken := bytes.Clone(data)
		broken[at] ^= 1 << bit
		refusedRecord(t, "bit "+strconv.Itoa(bit)+" of byte "+strconv.Itoa(at), broken)
	}
	first := bytes.Index(data, []byte("%%EOF")) // of the unsigned PDF
	ends := regexp.MustCompile(`endobj\n`).FindAllIndex(data, -1)
	if len(ends) < 50 || first < 0 {
		t.Fatalf("%d objects", len(ends))
	}
	for _, e := range ends {
		refusedRecord(t, "cut at "+strconv.Itoa(e[1]), data[:e[1]])
	}
	for range tries(50, 1_000) {
		at := draw.IntN(len(data))
		if v := verifyRecord(data[:at], seal.Trust{}); v.OK && len(v.Signatures) != 1 {
			t.Errorf("cut at %d: accepted with %d signatures", at, len(v.Signatures))
		}
	}
}

// The signature of one record is put into another, in its place and of its length.
func TestSignatureMoved(t *testing.T) {
	s, file, _ := aRecord(t)
	s.clock.Time = s.clock.AddDate(0, 0, 1)
	s.prepared(t, "2026-11-03")
	other := read(t, s.countersigned(t, "2026-11-03").File)
	data := read(t, file)
	find := regexp.MustCompile(`/Contents <([0-9a-f]{1000,})>`)
	from, to := find.FindAllSubmatchIndex(data, -1), find.FindAllSubmatchIndex(other, -1)
	if len(from) != 2 || len(to) != 2 {
		t.Fatalf("%d and %d signatures", len(from), len(to))
	}
	for i := range from {
		moved := bytes.Clone(other)
		copy(moved[to[i][2]:to[i][3]], data[from[i][2]:from[i][3]])
		refusedRecord(t, "moved signature "+strconv.Itoa(i+1), moved)
	}
	// All that was put behind one record, behind another.
	plain := bytes.Index(other, []byte("%%EOF\n")) + len("%%EOF\n")
	tail := data[bytes.Index(data, []byte("%%EOF\n"))+len("%%EOF\n"):]
	refusedRecord(t, "moved updates", append(bytes.Clone(other[:plain]), tail...))
	refusedRecord(t, "one record behind another", append(bytes.Clone(other), data...))
	refusedRecord(t, "something behind", append(bytes.Clone(data), "\n% a remark\n"...))
}
