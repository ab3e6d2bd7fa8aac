package seal

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"holdproof/report/seal/pdffile"
)

// The two signatures of a record: names of the form fields and /Reason. What is printed
// begins with a capital.
const (
	Prepared = "prepared"
	Reviewed = "reviewed"
)

// A Statement is what a signature says beside the signer's name.
type Statement struct {
	Role    string    // the signer's, as the site has it
	Surgery string    // where
	Time    time.Time // to the second, with the site's offset; printed and judged
}

// A Place is where a visible block stands, in the units of a PDF: the page, counted from
// 1, the block's lower left corner as seen from the page's, and its size, in points
// (1/72 inch).
type Place struct {
	Page                int
	X, Y, Width, Height float64
}

// The least size of a block, points: below it nobody can read it. Ours.
const minWidth, minHeight = 60, 24

// text writes s as a PDF text string: plain letters as they are, anything else UTF-16.
func text(s string) string {
	plain := true
	for _, r := range s {
		plain = plain && ' ' <= r && r <= '~'
	}
	if plain {
		return "(" + strings.NewReplacer(`\`, `\\`, "(", `\(`, ")", `\)`).Replace(s) + ")"
	}
	var b strings.Builder
	b.WriteString("<FEFF")
	for _, u := range utf16.Encode([]rune(s)) {
		fmt.Fprintf(&b, "%04X", u)
	}
	return b.String() + ">"
}

// readText reads what text writes; ok is false for anything else.
func readText(v pdffile.Value) (s string, ok bool) {
	b, ok := v.(pdffile.String)
	if !ok {
		return "", false
	}
	utf16Text, wide := bytes.CutPrefix(b, []byte{0xfe, 0xff})
	if !wide {
		for _, c := range b {
			if c < ' ' || c > '~' {
				return "", false
			}
		}
		return string(b), true
	}
	if len(utf16Text)%2 != 0 {
		return "", false
	}
	units := make([]uint16, len(utf16Text)/2)
	for i := range units {
		units[i] = uint16(utf16Text[2*i])<<8 | uint16(utf16Text[2*i+1])
	}
	s = string(utf16.Decode(units))
	return s, utf8.ValidString(s) && !strings.ContainsRune(s, utf8.RuneError)
}

// pdfDate is the layout of a PDF date with its offset, to the second.
const pdfDate = "D:20060102150405-07'00'"

func writeDate(t time.Time) string {
	s := t.Format("D:20060102150405-0700") // an offset of whole minutes
	return "(" + s[:len(s)-2] + "'" + s[len(s)-2:] + "')"
}

// readDate reads what writeDate writes.
func readDate(v pdffile.Value) (time.Time, bool) {
	b, ok := v.(pdffile.String)
	if !ok || len(b) != len(pdfDate) {
		return time.Time{}, false
	}
	t, err := time.Parse("D:20060102150405-0700", strings.ReplaceAll(string(b), "'", ""))
	if err != nil || writeDate(t) != "("+string(b)+")" {
		return time.Time{}, false
	}
	return t, true
}

// A widget is a signature field with its annotation, one object.
type widget struct {
	meaning    string
	rect       string // as the file writes it, with brackets
	page       int    // object numbers
	appearance int
	signature  int    // 0: not signed
	contents   string // in words what the block shows
}

// text writes the widget. There is one form only, so a changed one is noticed.
func (w widget) text() string {
	s := fmt.Sprintf("<< /Type /Annot /Subtype /Widget /FT /Sig /T (%s) /TU (%s by) /F 132 /Rect %s /P %d 0 R /AP << /N %d 0 R >>",
		w.meaning, capital(w.meaning), w.rect, w.page, w.appearance)
	if w.signature != 0 {
		s += fmt.Sprintf(" /V %d 0 R", w.signature)
	}
	return s + " /Contents " + text(w.contents) + " >>"
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// words says in one line what a signed block shows.
func words(meaning, name, role string, at time.Time) string {
	return fmt.Sprintf("%s by %s, %s, %s", capital(meaning), name, role, at.Format(dayAndClock))
}

func emptyWords(meaning string) string { return capital(meaning) + " by: not signed yet" }

// putAppearance writes a block as a form XObject without resources: it can only draw paths.
func putAppearance(u *pdffile.Update, number int, lines []line, width, height float64) error {
	packed, err := drawBlock(lines, width, height)
	if err != nil {
		return err
	}
	u.PutStream(number, appearanceDict(width, height), packed)
	return nil
}

func appearanceDict(width, height float64) string {
	return fmt.Sprintf("/Type /XObject /Subtype /Form /BBox [0 0 %.3f %.3f] /Resources << >> /Filter /FlateDecode", width, height)
}

// A page is one leaf of the page tree.
type page struct {
	number int
	dict   *pdffile.Dict
	box    [4]float64 // points: left, bottom, right, top
}

// pages lists the pages in order. The tree may be maxTree deep; each node counts once.
func pages(f *pdffile.File, root *pdffile.Dict) ([]page, error) {
	const maxTree = 16
	seen := map[pdffile.Ref]bool{}
	var list []page
	var walk func(v, box pdffile.Value, depth int) error
	walk = func(v, box pdffile.Value, depth int) error {
		ref, ok := v.(pdffile.Ref)
		d := f.Dict(v)
		if !ok || d == nil || seen[ref] || depth == 0 {
			return errors.New("the PDF's page tree is broken")
		}
		seen[ref] = true
		if own := d.Get("MediaBox"); own != nil {
			box = own
		}
		if turn := d.Get("Rotate"); turn != nil && turn != pdffile.Value(pdffile.Integer(0)) {
			return errors.New("the PDF has turned pages, where a block cannot be placed")
		}
		switch d.Get("Type") {
		case pdffile.Name("Page"):
			p := page{number: int(ref), dict: d}
			if p.box, ok = rectangle(f.Resolve(box)); !ok {
				return errors.New("a page of the PDF has no size")
			}
			list = append(list, p)
			return nil
		case pdffile.Name("Pages"):
			kids, _ := f.Resolve(d.Get("Kids")).(pdffile.Array)
			for _, kid := range kids {
				if err := walk(kid, box, depth-1); err != nil {
					return err
				}
			}
			return nil
		}
		return errors.New("the PDF's page tree is broken")
	}
	return list, walk(root.Get("Pages"), nil, maxTree)
}

func rectangle(v pdffile.Value) (box [4]float64, ok bool) {
	a, _ := v.(pdffile.Array)
	if len(a) != 4 {
		return box, false
	}
	for i, v := range a {
		switch n := v.(type) {
		case pdffile.Integer:
			box[i] = float64(n)
		case pdffile.Real:
			if _, err := fmt.Sscan(string(n), &box[i]); err != nil {
				return box, false
			}
		default:
			return box, false
		}
	}
	return box, box[0] < box[2] && box[1] < box[3]
}

// on returns the place in points on its page.
func (p Place) on(list []page) (page, string, error) {
	if p.Page < 1 || p.Page > len(list) {
		return page{}, "", fmt.Errorf("there is no page %d for a signature block, the record has %d", p.Page, len(list))
	}
	pg := list[p.Page-1]
	left, bottom := pg.box[0]+p.X, pg.box[1]+p.Y
	right, top := left+p.Width, bottom+p.Height
	fits := left >= pg.box[0] && bottom >= pg.box[1] && right <= pg.box[2] && top <= pg.box[3] &&
		p.Width >= minWidth && p.Height >= minHeight // written so that NaN fails
	if !fits {
		return page{}, "", fmt.Errorf("a signature block of %.0f × %.0f points at %.0f, %.0f does not fit on page %d, or is smaller than %d × %d",
			p.Width, p.Height, p.X, p.Y, p.Page, minWidth, minHeight)
	}
	return pg, fmt.Sprintf("[%.3f %.3f %.3f %.3f]", left, bottom, right, top), nil
}
