package pdf

import (
	"bytes"
	"reflect"
	"testing"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// TestSlim compares every letter of the fonts, and its width, with what is left of them,
// as golang.org/x/image/font/sfnt reads both.
func TestSlim(t *testing.T) {
	for _, in := range faceInfo {
		small, err := slim(in.ttf)
		if err != nil {
			t.Fatal(in.name, err)
		}
		if len(small) >= len(in.ttf) {
			t.Errorf("%s: %d bytes of %d are left", in.name, len(small), len(in.ttf))
		}
		if sumOf(small) != 0xB1B0AFBA {
			t.Errorf("%s: the sum of the font is %X", in.name, sumOf(small))
		}
		before, err := sfnt.Parse(in.ttf)
		if err != nil {
			t.Fatal(err)
		}
		after, err := sfnt.Parse(small)
		if err != nil {
			t.Fatal(in.name, err)
		}
		same(t, in.name, before, after)
		var buf sfnt.Buffer
		mark, err := before.Name(&buf, sfnt.NameIDCopyright)
		if left, err2 := after.Name(&buf, sfnt.NameIDCopyright); err != nil || err2 != nil || left != mark || mark == "" {
			t.Errorf("%s: copyright %q, was %q (%v, %v)", in.name, left, mark, err, err2)
		}
		if _, err := after.Name(&buf, sfnt.NameIDLicense); err == nil {
			t.Errorf("%s: more than the copyright is left of the names", in.name)
		}
		again, err := slim(small)
		if err != nil || !bytes.Equal(again, small) {
			t.Errorf("%s: what is slim became slimmer (%v)", in.name, err)
		}
	}
}

func same(t *testing.T, name string, before, after *sfnt.Font) {
	t.Helper()
	if before.NumGlyphs() != after.NumGlyphs() {
		t.Fatalf("%s: %d letters, were %d", name, after.NumGlyphs(), before.NumGlyphs())
	}
	em := fixed.I(int(before.UnitsPerEm()))
	var a, b sfnt.Buffer
	drawn := 0
	for i := range sfnt.GlyphIndex(before.NumGlyphs()) {
		want, err := before.LoadGlyph(&a, i, em, nil)
		got, err2 := after.LoadGlyph(&b, i, em, nil)
		if err != nil || err2 != nil || !reflect.DeepEqual(append(sfnt.Segments{}, want...), append(sfnt.Segments{}, got...)) {
			t.Fatalf("%s: letter %d is drawn otherwise (%v, %v)", name, i, err, err2)
		}
		w, err := before.GlyphAdvance(&a, i, em, font.HintingNone)
		v, err2 := after.GlyphAdvance(&b, i, em, font.HintingNone)
		if err != nil || err2 != nil || w != v {
			t.Fatalf("%s: letter %d is %v wide, was %v", name, i, v, w)
		}
		drawn += len(want)
	}
	if drawn == 0 {
		t.Fatal("nothing was drawn")
	}
}

// TestSlimRefuses cuts a font everywhere: an error or a font, never a panic.
func TestSlimRefuses(t *testing.T) {
	whole := faceInfo[mono].ttf
	for n := 0; n < len(whole); n += 997 {
		if _, err := slim(whole[:n]); err == nil {
			t.Fatalf("a font cut at %d was taken", n)
		}
	}
	for at := 0; at < len(whole); at += 499 {
		bad := bytes.Clone(whole)
		bad[at] ^= 0xFF
		_, _ = slim(bad)
	}
}
