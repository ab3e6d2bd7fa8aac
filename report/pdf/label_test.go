package pdf

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

var labelled = time.Date(2026, 11, 2, 9, 36, 0, 0, time.UTC)

// anyLabel is an invented label.
func anyLabel(change ...func(*Label)) Label {
	l := Label{ID: "S1-20261102-091247", Name: "S1 · 1043", Began: "2 Nov 2026 09:12", Kind: "134", UseBy: "1 May 2027", Packed: "Junie Pascombe", Released: "Tobin Averley",
		Contents: "examination sets, 8 packs", Surgery: "Tern Quay Surgery"}
	for _, f := range change {
		f(&l)
	}
	return l
}

func labels(t *testing.T, list ...Label) []byte {
	t.Helper()
	b, err := Labels(list, labelled, "0.1.0")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// long is a text of n different words, of which the last is whole only if nothing is cut.
func long(n int) string {
	var words []string
	for i := range n {
		words = append(words, fmt.Sprintf("mirror%d", i))
	}
	return strings.Join(words, " ")
}

// A code that another program reads holds the id, at the size of a label printer of 203
// dots an inch, on each page of the load.
func TestLabelCode(t *testing.T) {
	for _, id := range []string{"S1-20261102-091247", "Steri-Ä2-20261025-011403b", strings.Repeat("X", 40)} {
		path := save(t, labels(t, anyLabel(func(l *Label) { l.ID, l.Contents = id, long(60) })))
		prefix := filepath.Join(t.TempDir(), "p")
		tool(t, "pdftoppm", "-r", "203", "-png", path, prefix)
		pages, err := filepath.Glob(prefix + "*.png")
		if err != nil || len(pages) < 2 {
			t.Fatalf("%d pages, %v", len(pages), err)
		}
		for _, p := range pages {
			out := tool(t, "zbarimg", "-q", "--raw", "-Sdisable", "-Sqrcode.enable", p)
			if lines := strings.Split(strings.TrimSpace(out), "\n"); lines[len(lines)-1] != id {
				t.Errorf("%s: read %q", id, out)
			}
		}
	}
}

// Around the code four modules are blank, as its standard wants (ISO/IEC 18004; memory).
func TestLabelCodeStandsAlone(t *testing.T) {
	prefix := filepath.Join(t.TempDir(), "p")
	const perMM = 20
	tool(t, "pdftoppm", "-r", strconv.Itoa(perMM*254/10), "-png", save(t, labels(t, anyLabel())), prefix)
	pages, err := filepath.Glob(prefix + "*.png")
	if err != nil || len(pages) != 1 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	raw, err := os.ReadFile(pages[0])
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	first, last := -1, -1
	for x := range int(23.4 * perMM) {
		for y := range int(22 * perMM) {
			if r, _, _, _ := img.At(x, y).RGBA(); r < 0x8000 {
				if first < 0 {
					first = x
				}
				last = x
				break
			}
		}
	}
	module := float64(last-first+1) / 25 // a code of 18 letters and digits has 25 modules a side
	if module < 0.5*perMM || float64(first) < 4*module || float64(int(23.6*perMM)-last) < 4*module {
		t.Errorf("modules of %.2f mm from %.2f to %.2f mm", module/perMM, float64(first)/perMM, float64(last)/perMM)
	}
}

// All words are on the paper, however many they are, and inside its edges.
func TestLabelIsNeverCut(t *testing.T) {
	for _, l := range []Label{anyLabel(), anyLabel(func(l *Label) { l.Contents = long(200) }), anyLabel(func(l *Label) { l.Contents = strings.Repeat("W", 300) }),
		anyLabel(func(l *Label) { l.Packed, l.Released, l.Surgery = long(9), long(12), long(15) }), anyLabel(func(l *Label) { l.Name = "A very long name of a steriliser · 1043" }),
		anyLabel(func(l *Label) { *l = Label{ID: "x", Name: "y"} })} {
		b := labels(t, l)
		out := tool(t, "pdftotext", "-bbox", save(t, b), "-")
		d := xml.NewDecoder(strings.NewReader(out[strings.Index(out, "<doc>"):]))
		seen := ""
		for {
			token, err := d.Token()
			if err != nil {
				break
			}
			switch e := token.(type) {
			case xml.StartElement:
				at := map[string]float64{}
				for _, a := range e.Attr {
					at[a.Name.Local], _ = strconv.ParseFloat(a.Value, 64)
				}
				if e.Name.Local == "page" && (at["width"] < 175 || at["width"] > 176.5 || at["height"] < 81.5 || at["height"] > 83) {
					t.Errorf("a page of %v by %v points", at["width"], at["height"])
				}
				if e.Name.Local == "word" && (at["xMin"] < 0 || at["yMin"] < 0 || at["xMax"] > 62/mm || at["yMax"] > 29/mm) {
					t.Errorf("a word from %v, %v to %v, %v", at["xMin"], at["yMin"], at["xMax"], at["yMax"])
				}
			case xml.CharData:
				seen += string(e)
			}
		}
		bare := func(s string) string { return strings.Join(strings.Fields(s), "") }
		for _, want := range []string{l.Contents, l.Packed, l.Released} {
			for _, w := range strings.Fields(want) {
				if len(w) < 100 && !strings.Contains(bare(seen), w) {
					t.Errorf("%q is not there", w)
				}
			}
		}
		if n := strings.Count(bare(seen), "W"); len(l.Contents) == 300 && n != 300 {
			t.Errorf("%d of 300 letters", n)
		}
		if strings.Contains(bare(seen), "notentered") || l.UseBy == "" && strings.Contains(bare(seen), "Useby") {
			t.Errorf("a label names what nobody entered: %s", seen)
		}
	}
}

func TestLabelsAreTheSame(t *testing.T) {
	a, b := labels(t, anyLabel(), anyLabel(func(l *Label) { l.ID = "S1-2" })), labels(t, anyLabel(), anyLabel(func(l *Label) { l.ID = "S1-2" }))
	if !bytes.Equal(a, b) {
		t.Error("the same labels give other bytes")
	}
	if c := labels(t, anyLabel(func(l *Label) { l.ID = "S1-20261102-091248" })); bytes.Equal(labels(t, anyLabel()), c) {
		t.Error("another id gives the same label")
	}
	tool(t, "qpdf", "--check", save(t, a))
}

func TestLabelsRefused(t *testing.T) {
	for why, list := range map[string][]Label{"none": nil, "no id": {{Name: "S1"}}, "no name": {{ID: "S1"}}, "an id that no code holds": {anyLabel(func(l *Label) { l.ID = strings.Repeat("id-", 100) })},
		"an id of seven lines": {anyLabel(func(l *Label) { l.ID = strings.Repeat("ID-", 40) })}} {
		if _, err := Labels(list, labelled, "0.1.0"); err == nil {
			t.Errorf("%s passed", why)
		}
	}
}
