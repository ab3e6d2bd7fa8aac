package pdf

import (
	"bytes"
	"compress/zlib"
	"errors"
	"fmt"
	"time"

	"github.com/jung-kurt/gofpdf"
	"rsc.io/qr"

	"holdproof/report/figure"
)

// Label is what stands on the label of a load. Only ID and Name are needed.
type Label struct {
	ID       string // of the load, and what the QR code holds
	Name     string // S1 · 1042
	Began    string // date and time of the cycle, in words
	Kind     string // programme
	UseBy    string // "" is left out, as are the next three
	Packed   string // who packed
	Released string // who released
	Contents string // however long
	Surgery  string
}

// A label in mm: 62 by 29, a common size of label rolls (common practice, no source).
const (
	labelW, labelH = 62.0, 29.0
	codeAt         = 1.2  // of the code with its quiet zone, from the left and the upper edge
	codeSide       = 21.5 // of the same
	wordsAt        = 23.6 // of the words
	wordsW         = labelW - wordsAt - 1.6
)

// quiet is the least border of a QR code, in modules (ISO/IEC 18004; memory).
const quiet = 4

var (
	labelName = style{bold, 10 * mm, 4.1, figure.InkLine}
	labelUse  = style{bold, 8 * mm, 3.5, figure.InkLine}
	labelText = style{regular, 6.5 * mm, 2.8, figure.InkLine}
	labelCode = style{mono, 5.2 * mm, 2.1, figure.InkLine}
	labelSite = style{regular, 5.2 * mm, 2.1, figure.InkLine}
)

// Labels returns a PDF with a page of 62 by 29 mm for each label. Words that find no
// room go on on a further page of the same load: nothing is cut and nothing is left out.
// The same labels give the same bytes.
//
// Errors: no label; one without id or name; an id that is too long for a code.
func Labels(list []Label, made time.Time, program string) ([]byte, error) {
	if len(list) == 0 {
		return nil, errors.New("drawing labels: there is none")
	}
	s := newSheet()
	for _, l := range list {
		if l.ID == "" || l.Name == "" {
			return nil, errors.New("drawing labels: a label needs an id and a name")
		}
		if err := s.label(l); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	if err := s.pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("drawing labels: %w", err)
	}
	f, err := open(b.Bytes())
	if err != nil {
		return nil, err
	}
	return archival{file: f, part: part3, made: made, title: "Labels", program: "Holdproof " + program, used: s.letters.used, zip: zlib.NewWriter(nil)}.finish()
}

// labelLine is a line of a label and how it is set.
type labelLine struct {
	words string
	style style
}

// label draws the pages of one load.
func (s *sheet) label(l Label) error {
	code, err := qr.Encode(l.ID, qr.M)
	if err != nil {
		return fmt.Errorf("drawing labels: the id %q: %w", l.ID, err)
	}
	const least, most = 0.4, 3 // mm a module, so that any reader finds them; lines of the id (ours)
	if codeSide/float64(code.Size+2*quiet) < least || len(s.wrap(l.ID, labelCode, codeSide)) > most {
		return fmt.Errorf("drawing labels: the id %q is too long for a label", l.ID)
	}
	var lines []labelLine
	add := func(words string, st style) {
		for _, line := range s.wrap(words, st, wordsW) {
			lines = append(lines, labelLine{line, st})
		}
	}
	add(joined(l.Began, l.Kind), labelText)
	for _, line := range []struct {
		before, said string
		st           style
	}{{"Use by ", l.UseBy, labelUse}, {"Packed: ", l.Packed, labelText}, {"Released: ", l.Released, labelText}, {"", l.Contents, labelText}} {
		if line.said != "" { // what nobody entered is left out, and may be written by hand
			add(line.before+line.said, line.st)
		}
	}
	add(l.Surgery, labelSite)
	for page := 1; page == 1 || len(lines) > 0; page++ {
		s.labelPage(l, code, page)
		for len(lines) > 0 && s.y+lines[0].style.line <= labelH-1 {
			s.put(wordsAt, s.y+lines[0].style.line*0.78, lines[0].words, lines[0].style)
			s.y += lines[0].style.line
			lines = lines[1:]
		}
	}
	return nil
}

// labelPage begins a page: the code, the id below it, and the name.
func (s *sheet) labelPage(l Label, code *qr.Code, page int) {
	s.pdf.AddPageFormat("P", gofpdf.SizeType{Wd: labelW, Ht: labelH})
	s.set.any = false
	s.code(code, figure.Box{X: codeAt, Y: codeAt, W: codeSide, H: codeSide})
	for i, line := range s.wrap(l.ID, labelCode, codeSide) {
		s.put(codeAt+0.4, codeAt+codeSide+(float64(i)+0.6)*labelCode.line, line, labelCode)
	}
	s.y = 1.4
	name := l.Name
	if page > 1 {
		name += fmt.Sprintf(", page %d", page)
	}
	for _, line := range s.wrap(name, labelName, wordsW) {
		s.put(wordsAt, s.y+labelName.line*0.78, line, labelName)
		s.y += labelName.line
	}
}

// code draws a QR code with its quiet zone into b: the dark modules of a row that touch
// are one rectangle.
func (s *sheet) code(c *qr.Code, b figure.Box) {
	side := b.W / float64(c.Size+2*quiet)
	for y := range c.Size {
		for x := 0; x < c.Size; x++ {
			from := x
			for x < c.Size && c.Black(x, y) {
				x++
			}
			if x > from {
				s.Rectangle(figure.Box{X: b.X + float64(from+quiet)*side, Y: b.Y + float64(y+quiet)*side, W: float64(x-from) * side, H: side}, figure.InkLine)
			}
		}
	}
}

func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + " · " + b
}
