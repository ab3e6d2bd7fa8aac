package pdf

import (
	"bytes"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"codeberg.org/go-fonts/dejavu/dejavusansbold"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
)

// face is one of the fonts of a record. The spare ones hold letters that the Go
// fonts lack, such as those of Vietnamese names; they are only loaded if needed.
type face int

const (
	regular face = iota
	bold
	mono
	spare
	spareBold
	faces
)

// faceInfo names a face in the file and knows its bytes.
var faceInfo = [faces]struct {
	name string
	ttf  []byte
	next face // where a missing letter is looked for; itself: nowhere
}{
	regular:   {"goregular", goregular.TTF, spare},
	bold:      {"gobold", gobold.TTF, spareBold},
	mono:      {"gomono", gomono.TTF, spare},
	spare:     {"sparesans", dejavusans.TTF, spare},
	spareBold: {"sparesansbold", dejavusansbold.TTF, spareBold},
}

// parsed are the fonts as sfnt reads them; nothing of a document is kept there.
var parsed = func() (out [faces]func() *sfnt.Font) {
	for f := range faces {
		out[f] = sync.OnceValue(func() *sfnt.Font {
			p, err := sfnt.Parse(faceInfo[f].ttf)
			if err != nil {
				panic("a font of the program cannot be read: " + err.Error())
			}
			return p
		})
	}
	return out
}()

// standIn is printed for a letter that no font has: seen, and not left out.
const standIn = '\uFFFD'

// letters measures text and finds the face of each letter, for one document.
type letters struct {
	buf    sfnt.Buffer
	widths [faces]map[rune]float64 // of the em; -1: not in the font
	used   [faces]map[rune]bool
}

func newLetters() *letters {
	l := &letters{}
	for f := range faces {
		l.widths[f] = map[rune]float64{}
		l.used[f] = map[rune]bool{}
	}
	return l
}

// width is that of a letter in em, false if the face does not have it. Letters
// above U+FFFF are in no face, since the drawing library cannot write them.
func (l *letters) width(f face, r rune) (float64, bool) {
	w, known := l.widths[f][r]
	if !known {
		w = l.look(f, r)
		l.widths[f][r] = w
	}
	return w, w >= 0
}

func (l *letters) look(f face, r rune) float64 {
	if r > 0xFFFF {
		return -1
	}
	p := parsed[f]()
	g, err := p.GlyphIndex(&l.buf, r)
	if err != nil || g == 0 {
		return -1
	}
	em := p.UnitsPerEm()
	a, err := p.GlyphAdvance(&l.buf, g, fixed.I(int(em)), font.HintingNone)
	if err != nil {
		return -1
	}
	return float64(a) / 64 / float64(em)
}

// run is a piece of text in one face.
type run struct {
	face face
	text string
	em   float64
}

// runs cuts text into pieces that one face can print. Text is composed first (NFC),
// so that a letter and its accent are one; control characters become spaces. A word
// with a letter that only the spare face has is set in the spare face as a whole.
func (l *letters) runs(f face, text string) []run {
	var out []run
	for _, word := range words(norm.NFC.String(strings.Map(printable, text))) {
		in := f
		if !l.has(f, word) && l.has(faceInfo[f].next, word) {
			in = faceInfo[f].next
		}
		piece := run{face: in}
		var b strings.Builder
		for _, r := range word {
			w, ok := l.width(in, r)
			if !ok {
				r = standIn
				w, _ = l.width(in, r)
			}
			b.WriteRune(r)
			piece.em += w * scale(in)
		}
		piece.text = b.String()
		if n := len(out); n > 0 && out[n-1].face == in {
			out[n-1].text += piece.text
			out[n-1].em += piece.em
			continue
		}
		out = append(out, piece)
	}
	return out
}

func printable(r rune) rune {
	if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
		return ' '
	}
	return r
}

// words cuts text before each space, so that the pieces together are the text.
func words(text string) []string {
	var out []string
	for from := 0; from < len(text); {
		n := strings.IndexByte(text[from+1:], ' ')
		if n < 0 {
			return append(out, text[from:])
		}
		out = append(out, text[from:from+1+n])
		from += 1 + n
	}
	return out
}

func (l *letters) has(f face, word string) bool {
	for _, r := range word {
		if _, ok := l.width(f, r); !ok {
			return false
		}
	}
	return true
}

// scale makes the spare faces, whose small letters are larger, look like the others.
func scale(f face) float64 {
	if f == spare || f == spareBold {
		return 0.95
	}
	return 1
}

// em is the width of text in em.
func (l *letters) em(f face, text string) float64 {
	sum := 0.0
	for _, r := range l.runs(f, text) {
		sum += r.em
	}
	return sum
}

// fontBytes returns a copy, since the drawing library writes into what it is given.
func fontBytes(f face) []byte { return bytes.Clone(faceInfo[f].ttf) }
