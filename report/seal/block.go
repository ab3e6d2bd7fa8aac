package seal

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"strings"
	"sync"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/bidi"
)

// The visible block is drawn as outlines: no font is named, so any letter can stand in a
// record that must embed every font it names. Letters come from the Go fonts, others
// from DejaVu Sans; one that neither has is drawn as an empty box, never left out.
// Hebrew is put in reading order; Arabic letters are not joined.

// Colours of the page, as PDF operands in DeviceRGB.
const (
	ink      = "0.106 0.122 0.137"
	quietInk = "0.357 0.396 0.439"
)

// faces are parsed once and never change.
var faces = sync.OnceValue(func() (f struct{ regular, bold, wide *sfnt.Font }) {
	parse := func(ttf []byte) *sfnt.Font {
		face, err := sfnt.Parse(ttf)
		if err != nil {
			panic(err) // fonts built into the program
		}
		return face
	}
	f.regular, f.bold, f.wide = parse(goregular.TTF), parse(gobold.TTF), parse(dejavusans.TTF)
	return f
})

// A line of the block: text, colour, weight; top and size as parts of the block's height.
type line struct {
	text, colour string
	bold         bool
	top, size    float64
}

// filledLines says what stands in a signed block, emptyLines in the one waiting.
func filledLines(meaning, name, role, at string) []line {
	return []line{
		{text: meaning + " by", colour: quietInk, top: 0.10, size: 0.11},
		{text: name, colour: ink, bold: true, top: 0.28, size: 0.18},
		{text: role, colour: ink, top: 0.57, size: 0.12},
		{text: at, colour: ink, top: 0.76, size: 0.12},
	}
}

func emptyLines(meaning string) []line {
	return []line{
		{text: meaning + " by", colour: quietInk, top: 0.10, size: 0.11},
		{text: "not signed yet", colour: quietInk, top: 0.32, size: 0.12},
	}
}

// drawBlock returns the appearance of a block of width × height points, compressed. The
// frame around it is the page's.
func drawBlock(lines []line, width, height float64) ([]byte, error) {
	var out bytes.Buffer
	margin := 0.09 * height
	for _, l := range lines {
		fmt.Fprintf(&out, "%s rg\n", l.colour)
		l.draw(&out, margin, height, width-2*margin)
	}
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	if _, err := z.Write(out.Bytes()); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return packed.Bytes(), nil
}

// draw puts the line at left, shrunk to fit room, with an ellipsis if it would become
// smaller than half its size.
func (l line) draw(out *bytes.Buffer, left, height, room float64) {
	size := l.size * height
	run := shape(l.text, l.bold)
	for text := []rune(l.text); run.width*size/2 > room && len(text) > 0; {
		text = text[:len(text)-1]
		run = shape(strings.TrimRight(string(text), " ")+"…", l.bold)
	}
	if w := run.width * size; w > room {
		size *= room / w
	}
	baseline := height*(1-l.top) - l.size*height*0.8
	fmt.Fprintf(out, "q %.5f 0 0 %.5f %.3f %.3f cm\n", size/unit, size/unit, left, baseline)
	for _, g := range run.glyphs {
		fmt.Fprintf(out, "q 1 0 0 1 %d 0 cm\n%sQ\n", g.x, g.path)
	}
	out.WriteString("Q\n")
}

// unit is how many units an em has in a drawn run; all three fonts use it too.
const unit = 2048

type glyph struct {
	x    int    // units from the start of the run
	path string // PDF operators, y upwards
}

type run struct {
	glyphs []glyph
	width  float64 // em
}

// shape turns text into outlines, in visual order.
func shape(text string, bold bool) run {
	f := faces()
	first := f.regular
	if bold {
		first = f.bold
	}
	var r run
	var buf sfnt.Buffer
	fonts := []*sfnt.Font{first, f.wide}
	if !has(&buf, first, text) && has(&buf, f.wide, text) {
		fonts = fonts[1:] // one face for the whole line, if one has it all
	}
	x := 0
	for _, c := range visual(text) {
		path, advance := outline(&buf, c, fonts...)
		if path != "" {
			r.glyphs = append(r.glyphs, glyph{x, path})
		}
		x += advance
	}
	r.width = float64(x) / unit
	return r
}

// has reports whether the font has every letter of text.
func has(buf *sfnt.Buffer, f *sfnt.Font, text string) bool {
	for _, c := range text {
		if i, err := f.GlyphIndex(buf, c); err != nil || i == 0 {
			return false
		}
	}
	return true
}

// visual reverses the runs that are read from right to left.
func visual(text string) string {
	var p bidi.Paragraph
	if _, err := p.SetString(text, bidi.DefaultDirection(bidi.LeftToRight)); err != nil {
		return text
	}
	order, err := p.Order()
	if err != nil {
		return text
	}
	var b strings.Builder
	for i := range order.NumRuns() {
		run := order.Run(i)
		if run.Direction() == bidi.RightToLeft {
			b.WriteString(bidi.ReverseString(run.String()))
		} else {
			b.WriteString(run.String())
		}
	}
	return b.String()
}

// outline returns a letter's path and advance from the first font that has it.
func outline(buf *sfnt.Buffer, c rune, fonts ...*sfnt.Font) (path string, advance int) {
	for _, f := range fonts {
		i, err := f.GlyphIndex(buf, c)
		if err != nil || i == 0 {
			continue
		}
		em := fixed.I(unit)
		a, err := f.GlyphAdvance(buf, i, em, font.HintingNone)
		if err != nil {
			continue
		}
		segments, err := f.LoadGlyph(buf, i, em, nil)
		if err != nil {
			continue
		}
		return operators(segments), a.Round()
	}
	return "150 0 m 150 1400 l 1050 1400 l 1050 0 l h 250 100 m 950 100 l 950 1300 l 250 1300 l h f\n", 1200
}

// operators writes segments as PDF path operators; a quadratic curve becomes the cubic
// one of the same shape.
func operators(segments sfnt.Segments) string {
	if len(segments) == 0 {
		return ""
	}
	var b strings.Builder
	xy := func(p fixed.Point26_6) (float64, float64) { return float64(p.X) / 64, -float64(p.Y) / 64 }
	var x, y float64
	for i, s := range segments {
		ax, ay := xy(s.Args[0])
		bx, by := xy(s.Args[1])
		cx, cy := xy(s.Args[2])
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if i > 0 {
				b.WriteString("h\n")
			}
			fmt.Fprintf(&b, "%.0f %.0f m\n", ax, ay)
			x, y = ax, ay
		case sfnt.SegmentOpLineTo:
			fmt.Fprintf(&b, "%.0f %.0f l\n", ax, ay)
			x, y = ax, ay
		case sfnt.SegmentOpQuadTo:
			fmt.Fprintf(&b, "%.0f %.0f %.0f %.0f %.0f %.0f c\n",
				(x+2*ax)/3, (y+2*ay)/3, (bx+2*ax)/3, (by+2*ay)/3, bx, by)
			x, y = bx, by
		case sfnt.SegmentOpCubeTo:
			fmt.Fprintf(&b, "%.0f %.0f %.0f %.0f %.0f %.0f c\n", ax, ay, bx, by, cx, cy)
			x, y = cx, cy
		}
	}
	b.WriteString("h f\n")
	return b.String()
}
