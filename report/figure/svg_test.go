package figure

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// The picture is well-formed, says what it is to a reader's voice, holds no script,
// no style and no address that anything would fetch, and is the same every time.
func TestSVG(t *testing.T) {
	c := invented(t, 150, func(r *cycle.Readings) { r.Channels[2].Heading = `</text><script>alert("&")` })
	for what, picture := range map[string][]byte{"large": SVG(c, 170, 72), "small": SmallSVG(c, 42, 9), "mark": MarkSVG(validate.Borderline, 3), "leak": SVG(leakTest(t, 0.2), 170, 60)} {
		dec := xml.NewDecoder(bytes.NewReader(picture))
		for {
			tok, err := dec.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", what, err)
			}
			if e, ok := tok.(xml.StartElement); ok {
				switch e.Name.Local {
				case "svg", "path", "rect", "text", "title", "desc":
				default:
					t.Errorf("%s: element %s", what, e.Name.Local)
				}
				for _, a := range e.Attr {
					if a.Name.Local == "style" || strings.HasPrefix(a.Name.Local, "on") || a.Name.Local == "href" {
						t.Errorf("%s: attribute %s", what, a.Name.Local)
					}
				}
			}
		}
		if regexp.MustCompile(`[0-9]\.[0-9]{3}|NaN|Inf|e[+-][0-9]|"-0\.00`).Match(bytes.ReplaceAll(picture, []byte("0.200 kPa"), nil)) {
			t.Errorf("%s: a length is not written with two decimals", what)
		}
	}
	if !bytes.Contains(SVG(c, 170, 72), []byte(`role="img"`)) || !bytes.Contains(SVG(c, 170, 72), []byte("<title id=\"hp-large-S1-20261102-081403-t\">S1 · 1042, failed</title>")) {
		t.Error("the picture does not say what it is")
	}
	if !bytes.Equal(SVG(c, 170, 72), SVG(c, 170, 72)) {
		t.Error("two drawings of one cycle differ")
	}
}

// Every ink has a class and a colour of its own on both pages, dark enough to read:
// words 4.5 : 1, WCAG 2.2 success criterion 1.4.3 (memory; the formula is that of
// its definition of contrast ratio).
func TestInksCanBeRead(t *testing.T) {
	luminance := func(hex string) float64 {
		v, err := strconv.ParseUint(hex[1:], 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		part := func(c uint64) float64 {
			x := float64(c&255) / 255
			if x <= 0.04045 {
				return x / 12.92
			}
			return math.Pow((x+0.055)/1.055, 2.4)
		}
		return 0.2126*part(v>>16) + 0.7152*part(v>>8) + 0.0722*part(v)
	}
	contrast := func(a, b string) float64 {
		x, y := luminance(a), luminance(b)
		return (max(x, y) + 0.05) / (min(x, y) + 0.05)
	}
	for _, i := range []Ink{InkLine, InkQuiet, InkPress, InkFailed, InkBorder} {
		for _, on := range []Ink{InkPaper, InkBand} {
			if c := contrast(colours[i].light, colours[on].light); c < 4.5 {
				t.Errorf("%s on light %s: %.2f : 1", colours[i].class, colours[on].class, c)
			}
			if c := contrast(colours[i].dark, colours[on].dark); c < 4.5 {
				t.Errorf("%s on dark %s: %.2f : 1", colours[i].class, colours[on].class, c)
			}
		}
	}
	for i := range inkCount {
		if !strings.Contains(Stylesheet(), "path."+colours[i].class+"{stroke:"+colours[i].dark+"}") {
			t.Errorf("the style sheet has no dark %s", colours[i].class)
		}
	}
}
