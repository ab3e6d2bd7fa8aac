package figure

import (
	"encoding/xml"
	"strconv"
	"strings"

	"holdproof/validate"
)

// colours are the inks on a light page, each with the class that a page's style
// sheet may give another colour. They stand as presentation attributes, which any
// style sheet overrides and a strict Content-Security-Policy allows.
var colours = [inkCount]struct{ class, light, dark string }{
	InkLine:   {"hp-line", "#1b1f23", "#ece9e2"},
	InkQuiet:  {"hp-quiet", "#5b6470", "#a9b0b8"},
	InkHair:   {"hp-hair", "#d9d5cc", "#3a3d42"},
	InkBand:   {"hp-band", "#e6ece3", "#2b352c"},
	InkPress:  {"hp-press", "#234b78", "#8fb8e8"},
	InkFailed: {"hp-failed", "#9c3018", "#f0917a"},
	InkBorder: {"hp-border", "#7a5c00", "#d9b44a"},
	InkPaper:  {"hp-paper", "#fbfaf7", "#17191c"},
}

// Light returns the red, green and blue parts of an ink on paper, 0 to 255.
func (i Ink) Light() (r, g, b int) {
	v, _ := strconv.ParseUint(colours[i].light[1:], 16, 32)
	return int(v >> 16), int(v >> 8 & 255), int(v & 255)
}

// Stylesheet gives the figures of a page their colours, light and dark, by class.
func Stylesheet() string {
	var b strings.Builder
	for _, c := range colours {
		b.WriteString("path." + c.class + "{stroke:" + c.light + "}rect." + c.class + ",text." + c.class + "{fill:" + c.light + "}\n")
	}
	b.WriteString("@media (prefers-color-scheme: dark){\n")
	for _, c := range colours {
		b.WriteString("path." + c.class + "{stroke:" + c.dark + "}rect." + c.class + ",text." + c.class + "{fill:" + c.dark + "}\n")
	}
	b.WriteString("}\n")
	return b.String()
}

// SVG returns the large figure as a picture of w by h mm, to stand alone or inside
// a page, with a text alternative that states the facts. The same cycle gives the
// same bytes.
//
// For a page that follows the pointer, data-plot on the root holds x, y, width and
// height in mm of the overview between its axes, data-from and data-to the seconds
// since the first reading at its left and right edge.
func SVG(c Cycle, w, h float64) []byte {
	d := prepare(c)
	left, _ := split(Box{0, 0, w, h})
	p, t := d.plot(left), d.all()
	data := ` data-plot="` + num(p.X) + " " + num(p.Y) + " " + num(p.W) + " " + num(p.H) + `" data-from="` + num(t.from) + `" data-to="` + num(t.to) + `"`
	s := open(c, "large", Heading(c), Words(c), data, w, h)
	Draw(s, c, Box{0, 0, w, h})
	return s.close()
}

// SmallSVG is the small figure for lists; its text alternative is one sentence.
func SmallSVG(c Cycle, w, h float64) []byte {
	s := open(c, "small", Heading(c), "", "", w, h)
	DrawSmall(s, c, Box{0.5, 0.5, w - 1, h - 1})
	return s.close()
}

// MarkSVG returns the proof mark of an outcome as a picture of d mm. It is hidden
// from a reader's voice, since its word stands beside it.
func MarkSVG(o validate.Outcome, d float64) []byte {
	s := &svg{}
	s.add(`<svg xmlns="http://www.w3.org/2000/svg" class="hp-mark" aria-hidden="true" focusable="false" viewBox="0 0 `, num(d), " ", num(d), `" width="`, num(d), `mm" height="`, num(d), `mm">`, "\n")
	Mark(s, o, Point{d / 2, d / 2}, d*0.96)
	return s.close()
}

// svg is the surface of a screen.
type svg struct{ b strings.Builder }

func open(c Cycle, size, title, desc, data string, w, h float64) *svg {
	return openAs("hp-"+size+"-"+identifier(c.Record.ID()), title, desc, data, w, h)
}

// openAs begins a picture whose words are found by its id.
func openAs(id, title, desc, data string, w, h float64) *svg {
	s := &svg{}
	s.add(`<svg xmlns="http://www.w3.org/2000/svg" class="hp-figure" role="img" aria-labelledby="`, id, `-t`)
	if desc != "" {
		s.add(" ", id, "-d")
	}
	s.add(`"`, data, ` viewBox="0 0 `, num(w), " ", num(h), `" width="`, num(w), `mm" height="`, num(h), `mm" font-family="Go, sans-serif" font-size="`, num(small), `">`, "\n")
	s.add(`<title id="`, id, `-t">`, escaped(title), "</title>\n")
	if desc != "" {
		s.add(`<desc id="`, id, `-d">`, escaped(desc), "</desc>\n")
	}
	return s
}

func (s *svg) close() []byte {
	s.add("</svg>\n")
	return []byte(s.b.String())
}

func (s *svg) add(parts ...string) {
	for _, p := range parts {
		s.b.WriteString(p)
	}
}

func (s *svg) Polyline(points []Point, k Stroke) {
	if len(points) == 0 {
		return
	}
	c := colours[k.Ink]
	s.add(`<path class="`, c.class, `" fill="none" stroke="`, c.light, `" stroke-width="`, num(k.Width), `"`)
	if k.Round {
		s.add(` stroke-linecap="round"`)
	}
	s.add(` stroke-linejoin="round"`)
	if len(k.Dash) > 0 {
		s.add(` stroke-dasharray="`)
		for i, d := range k.Dash {
			if i > 0 {
				s.add(" ")
			}
			s.add(num(d))
		}
		s.add(`"`)
	}
	s.add(` d="`)
	for i, p := range points {
		switch i {
		case 0:
			s.add("M")
		case 1:
			s.add("L")
		default:
			s.add(" ")
		}
		s.num(p.X)
		s.b.WriteByte(' ')
		s.num(p.Y)
	}
	s.add(`"/>`, "\n")
}

func (s *svg) Rectangle(b Box, fill Ink) {
	c := colours[fill]
	s.add(`<rect class="`, c.class, `" fill="`, c.light, `" x="`, num(b.X), `" y="`, num(b.Y), `" width="`, num(b.W), `" height="`, num(b.H), `"/>`, "\n")
}

func (s *svg) Text(at Point, text string, t Type) {
	c := colours[t.Ink]
	s.add(`<text class="`, c.class, `" fill="`, c.light, `" x="`, num(at.X), `" y="`, num(at.Y), `"`)
	if t.Size != small {
		s.add(` font-size="`, num(t.Size), `"`)
	}
	if t.Bold {
		s.add(` font-weight="bold"`)
	}
	switch t.Anchor {
	case Middle:
		s.add(` text-anchor="middle"`)
	case End:
		s.add(` text-anchor="end"`)
	}
	s.add(">", escaped(text), "</text>\n")
}

// num writes a length with two decimals, never minus zero.
func num(v float64) string { return string(appendNum(nil, v)) }

// num is written for every point of every line.
func (s *svg) num(v float64) {
	var room [32]byte
	s.b.Write(appendNum(room[:0], v))
}

func appendNum(to []byte, v float64) []byte {
	t := strconv.AppendFloat(to, v, 'f', 2, 64)
	if string(t) == "-0.00" {
		return append(to, "0.00"...)
	}
	return t
}

func escaped(text string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(text)) // a strings.Builder never fails
	return b.String()
}

// identifier keeps letters and digits of a name and writes every other byte as its
// number, so that two names never give one identifier.
func identifier(name string) string {
	var b strings.Builder
	for _, c := range []byte(name) {
		if c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '-' {
			b.WriteByte(c)
		} else {
			b.WriteString("_" + strconv.FormatUint(uint64(c), 16) + "_")
		}
	}
	return b.String()
}
