package seal

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"holdproof/report/seal/pdffile"
)

// long is set for the full run: every bit instead of a spread of them.
func long() bool { return os.Getenv("HOLDPROOF_LONG") != "" }

// sound returns a record of two signatures with whom to trust.
func sound(t testing.TB) ([]byte, Trust, house) {
	h := newHouse(t)
	pdf := h.twice(t)
	trust := Trust{Roots: h.roots()}
	if r := Verify(pdf, trust); !r.Trusted {
		t.Fatal(r.Problems)
	}
	return pdf, trust, h
}

func TestEveryBitCounts(t *testing.T) {
	pdf, trust, _ := sound(t)
	var structure []int // bytes of the two later revisions but for the padding of the signatures
	f := must(pdffile.Read(pdf))
	for i := f.Revisions[1].Start; i < len(pdf); i++ {
		if !bytes.HasPrefix(pdf[i:], bytes.Repeat([]byte("0"), 32)) {
			structure = append(structure, i)
		}
	}
	flip := func(place, bit int) {
		pdf[place] ^= 1 << bit
		if r := Verify(pdf, trust); r.OK || len(r.Problems) == 0 {
			t.Errorf("bit %d of byte %d changed and nobody noticed", bit, place)
		}
		pdf[place] ^= 1 << bit
	}
	random := rand.New(rand.NewPCG(1, 2))
	tried := 0
	if long() {
		for _, place := range structure {
			for bit := range 8 {
				flip(place, bit)
				tried++
			}
		}
		for range 10_000 {
			flip(random.IntN(len(pdf)), random.IntN(8))
		}
	} else {
		for i := range 500 {
			flip(structure[i*len(structure)/500], i%8)
		}
		for range 100 {
			flip(random.IntN(len(pdf)), random.IntN(8))
		}
	}
	t.Logf("%d bytes of structure, %d bits of them in the long run", len(structure), tried)
}

// A record cut short is refused; only the cut right behind the first signature leaves a
// record: that of the first signature, waiting for the second.
func TestTruncated(t *testing.T) {
	pdf, trust, _ := sound(t)
	f := must(pdffile.Read(pdf))
	cuts := map[int]bool{}
	for _, r := range f.Revisions {
		for _, n := range r.Numbers {
			for i := range f.Revisions {
				if o := f.ObjectAt(i, n); o != nil {
					cuts[o.Start], cuts[o.End], cuts[o.End+1] = true, true, true
				}
			}
		}
		cuts[r.Start], cuts[r.Table], cuts[r.End-1] = true, true, true
	}
	random := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		cuts[random.IntN(len(pdf))] = true
	}
	once := f.Revisions[1].End
	for cut := range cuts {
		r := Verify(pdf[:cut], trust)
		if cut == once {
			if !r.OK || !r.Waiting || len(r.Signatures) != 1 {
				t.Errorf("cut behind the first signature: %+v", r)
			}
		} else if r.OK {
			t.Errorf("cut at %d of %d and nobody noticed", cut, len(pdf))
		}
	}
	if r := Verify(pdf[:once], trust); !r.Waiting {
		t.Error("the first signature's record does not wait for the second")
	}
}

// extend writes a further revision that puts the given objects.
func extend(pdf []byte, objects map[int]string) []byte {
	f := must(pdffile.Read(pdf))
	u := f.Update()
	for n := 1; n < 100; n++ {
		if text, ok := objects[n]; ok {
			for n >= f.Size() && u.Reserve() < n {
			}
			u.Put(n, []byte(text))
		}
	}
	return must(u.Finish([16]byte{1}))
}

func TestLaterRevisionsRefused(t *testing.T) {
	pdf, trust, h := sound(t)
	once := pdf[:must(pdffile.Read(pdf)).Revisions[1].End]
	other := "<< /Type /Page /Parent 2 0 R /Resources << >> /Contents 4 0 R /Annots [12 0 R 14 0 R] >>"
	text := "<< /Length 3 >>\nstream\nq Q\nendstream"
	for _, row := range []struct {
		why string
		pdf []byte
	}{
		{"a page replaced after both signatures", extend(pdf, map[int]string{3: other})},
		{"a page replaced after the first", extend(once, map[int]string{3: other})},
		{"a page's contents replaced", extend(pdf, map[int]string{4: text})},
		{"the catalog replaced", extend(once, map[int]string{1: "<< /Type /Catalog /Pages 2 0 R >>"})},
		{"an attachment replaced", extend(pdf, map[int]string{7: text})},
		{"the field's block replaced and nothing signed", extend(once, map[int]string{15: text})},
		{"an object added and used by nobody", extend(pdf, map[int]string{30: "null"})},
		{"an empty revision", extend(pdf, nil)},
		{"junk at the end", append(bytes.Clone(pdf), "junk"...)},
		{"white space at the end", append(bytes.Clone(pdf), '\n')},
		{"junk with an end of file of its own", append(bytes.Clone(pdf), "startxref\n0\n%%EOF\n"...)},
		{"the whole record twice", append(bytes.Clone(pdf), pdf...)},
		{"the base alone", smallPDF()},
	} {
		if r := Verify(row.pdf, trust); r.OK {
			t.Errorf("%s: not noticed", row.why)
		} else {
			t.Logf("%s: %s", row.why, r.Problems[0])
		}
	}
	_, err := Countersign(extend(once, map[int]string{3: other}), h.lead, leadSays(), nil)
	refused(t, err, "cannot be countersigned")
}

// An object listed at another place: the old one still stands in the file, unseen.
func TestShadowedObjects(t *testing.T) {
	h := newHouse(t)
	base := smallPDF()
	for _, row := range []struct {
		why, old, new, want string
	}{
		{"an object no table lists", "xref\n", "4 0 obj\nnull\nendobj\nxref\n", "belong to no listed object"},
		{"a comment at the end", "xref\n", "% hidden\nxref\n", "belong to no listed object"},
		{"a key twice", "/Producer (by hand)", "/Producer (by hand) /Producer (by hand)", "twice"},
		{"a key twice, once in disguise", "/Producer (by hand)", "/Producer (by hand) /#50roducer (by hand)", "twice"},
		{"another generation", "0000000015 00000 n", "0000000015 00001 n", "generation 0"},
	} {
		bad := bytes.Replace(base, []byte(row.old), []byte(row.new), 1)
		if bytes.Equal(bad, base) {
			t.Fatal(row.why, ": nothing changed")
		}
		// Put the table's own place right again, so only the fault itself is left.
		grown := len(bad) - len(base)
		place := bytes.LastIndex(base, []byte("xref\n0 "))
		bad = bytes.Replace(bad, fmt.Appendf(nil, "startxref\n%d", place), fmt.Appendf(nil, "startxref\n%d", place+grown), 1)
		_, err := Sign(bad, h.nurse, nurseSays(), places(), nil)
		refused(t, err, row.want)
	}
}

func TestSignatureMovedToAnotherRecord(t *testing.T) {
	pdf, trust, h := sound(t)
	other := bytes.Replace(smallPDF(), []byte("2 November"), []byte("3 November"), 1)
	otherOnce := must(Sign(other, h.nurse, nurseSays(), places(), nil))
	moved := append(bytes.Clone(other), pdf[len(other):]...) // same length, so every place fits
	if r := Verify(moved, trust); r.OK || !strings.Contains(r.Problems[0], "not what was signed") {
		t.Errorf("%+v", r)
	}
	second := append(bytes.Clone(otherOnce), pdf[len(otherOnce):]...)
	if r := Verify(second, trust); r.OK {
		t.Errorf("%+v", r)
	}
}

func TestNamesakeOfAnotherAuthority(t *testing.T) {
	_, trust, h := sound(t)
	stranger := newHouse(t) // the same names all the way up
	pdf := must(Sign(smallPDF(), stranger.nurse, nurseSays(), places(), nil))
	r := Verify(pdf, trust)
	if r.OK || !strings.Contains(r.Problems[0], "does not lead to an authority you trust") {
		t.Errorf("%+v", r)
	}
	pdf = must(Countersign(must(Sign(smallPDF(), h.nurse, nurseSays(), places(), nil)), stranger.lead, leadSays(), nil))
	if r := Verify(pdf, trust); r.OK || r.Trusted {
		t.Errorf("%+v", r)
	}
	// The stranger's certificate with our authority put above it.
	mixed := &Key{append(stranger.nurse.chain[:1:1], h.authority.chain...), stranger.nurse.private}
	_, err := Sign(smallPDF(), mixed, nurseSays(), places(), nil)
	refused(t, err, "not issued by the next one")
}

func TestNotYetValidAtSigning(t *testing.T) {
	h := newHouse(t)
	late := must(h.authority.Issue("Dana Reed", signingDay.AddDate(0, 0, 7)))
	_, err := Sign(smallPDF(), late, nurseSays(), places(), nil)
	refused(t, err, "not at the time of signing")
	// Signed in its time, but the logbook saw it before.
	s := nurseSays()
	s.Time = signingDay.AddDate(0, 0, 8)
	pdf := must(Sign(smallPDF(), late, s, places(), nil))
	r := Verify(pdf, Trust{Roots: h.roots(), Times: map[string]time.Time{Prepared: signingDay}})
	if r.OK || !strings.Contains(r.Problems[0], "not at the time of signing") {
		t.Errorf("%+v", r)
	}
}
