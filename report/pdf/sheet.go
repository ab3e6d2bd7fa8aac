package pdf

import (
	"slices"

	"github.com/jung-kurt/gofpdf"

	"holdproof/report/figure"
)

// The page in mm, A4 upright: a column of 170 mm between margins of 20.
const (
	pageW, pageH = 210.0, 297.0
	left         = 20.0
	column       = 170.0
	top          = 18.0
	bottom       = 272.0 // the foot stands below
)

const mm = 25.4 / 72 // of a point

// The three sizes, in mm, with the height of a line of each.
const (
	sizeTitle, lineTitle = 18 * mm, 8.2
	sizeText, lineText   = 9.5 * mm, 4.7
	sizeNote, lineNote   = 7.5 * mm, 3.7
)

// style is how text is set.
type style struct {
	face face
	size float64
	line float64
	ink  figure.Ink
}

var (
	title  = style{bold, sizeTitle, lineTitle, figure.InkLine}
	date   = style{regular, sizeTitle, lineTitle, figure.InkQuiet}
	text   = style{regular, sizeText, lineText, figure.InkLine}
	strong = style{bold, sizeText, lineText, figure.InkLine}
	note   = style{regular, sizeNote, lineNote, figure.InkQuiet}
	noteOn = style{regular, sizeNote, lineNote, figure.InkLine}
	code   = style{mono, sizeNote * 0.96, lineNote, figure.InkQuiet}
)

func (s style) in(i figure.Ink) style { s.ink = i; return s }

// sheet is a document while it is drawn, and the place on its page.
type sheet struct {
	pdf     *gofpdf.Fpdf
	letters *letters
	loaded  [faces]bool
	set     struct { // what the page was last told, so that it is not told again
		stroke figure.Stroke
		face   face
		size   float64
		any    bool
	}
	y     float64 // upper edge of what comes next
	floor float64 // lower edge of the column on this page
	again func()  // draws the heading of a table that goes on
	dry   bool    // nothing is drawn, only room is taken
}

func newSheet() *sheet {
	s := &sheet{pdf: gofpdf.New("P", "mm", "A4", ""), letters: newLetters()}
	s.pdf.SetCatalogSort(true)
	s.pdf.SetCompression(false) // the finishing pass packs better
	s.pdf.SetAutoPageBreak(false, 0)
	s.pdf.SetMargins(0, 0, 0)
	return s
}

func (s *sheet) newPage() {
	s.pdf.AddPage()
	s.set.any = false
	s.y, s.floor = top, bottom
}

// room starts a new page if less than h mm are left on this one.
func (s *sheet) room(h float64) {
	if s.y+h <= s.floor {
		return
	}
	s.newPage()
	if s.again != nil {
		s.again()
	}
}

// Polyline draws on the page; with Rectangle and Text it makes a sheet the paper of
// a figure.
func (s *sheet) Polyline(points []figure.Point, k figure.Stroke) {
	if len(points) < 2 || s.dry {
		return
	}
	s.stroke(k)
	s.pdf.MoveTo(points[0].X, points[0].Y)
	for _, p := range points[1:] {
		s.pdf.LineTo(p.X, p.Y)
	}
	s.pdf.DrawPath("D")
}

func (s *sheet) stroke(k figure.Stroke) {
	o := s.set.stroke
	if s.set.any && o.Ink == k.Ink && o.Width == k.Width && o.Round == k.Round && slices.Equal(o.Dash, k.Dash) {
		return
	}
	s.pdf.SetDrawColor(k.Ink.Light())
	s.pdf.SetLineWidth(k.Width)
	s.pdf.SetDashPattern(k.Dash, 0)
	s.pdf.SetLineJoinStyle("round")
	if k.Round {
		s.pdf.SetLineCapStyle("round")
	} else {
		s.pdf.SetLineCapStyle("butt")
	}
	s.set.stroke, s.set.any = k, true
}

// Rectangle fills a part of the page.
func (s *sheet) Rectangle(b figure.Box, fill figure.Ink) {
	if s.dry {
		return
	}
	s.pdf.SetFillColor(fill.Light())
	s.pdf.Rect(b.X, b.Y, b.W, b.H, "F")
}

// Text sets a word of a figure.
func (s *sheet) Text(at figure.Point, words string, t figure.Type) {
	st := style{regular, t.Size, 0, t.Ink}
	if t.Bold {
		st.face = bold
	}
	x := at.X
	switch t.Anchor {
	case figure.Middle:
		x -= s.width(words, st) / 2
	case figure.End:
		x -= s.width(words, st)
	}
	s.put(x, at.Y, words, st)
}

func (s *sheet) width(words string, st style) float64 { return s.letters.em(st.face, words) * st.size }

// put sets words with their baseline at y and returns where they end.
func (s *sheet) put(x, y float64, words string, st style) float64 {
	if s.dry {
		return x + s.width(words, st)
	}
	s.pdf.SetFillColor(255, 255, 255) // differs from every ink, so that the ink is always told
	s.pdf.SetTextColor(st.ink.Light())
	for _, r := range s.letters.runs(st.face, words) {
		s.load(r.face)
		s.pdf.SetFont(faceInfo[r.face].name, "", st.size*scale(r.face)/mm)
		s.pdf.Text(x, y, r.text)
		for _, c := range r.text {
			s.letters.used[r.face][c] = true
		}
		x += r.em * st.size
	}
	return x
}

func (s *sheet) load(f face) {
	if !s.loaded[f] {
		s.pdf.AddUTF8FontFromBytes(faceInfo[f].name, "", fontBytes(f))
		s.loaded[f] = true
	}
}

// height is the room that body takes, found by drawing it nowhere.
func (s *sheet) height(body func()) float64 {
	y, floor := s.y, s.floor
	s.dry, s.y, s.floor = true, 0, 1e9
	body()
	h := s.y
	s.dry, s.y, s.floor = false, y, floor
	return h
}

// rule draws a hairline across the column.
func (s *sheet) rule(y float64) { s.ruleFrom(left, y, left+column) }

func (s *sheet) ruleFrom(x, y, to float64) {
	s.Polyline([]figure.Point{{X: x, Y: y}, {X: to, Y: y}}, figure.Stroke{Ink: figure.InkHair, Width: 0.2})
}
