// Package pdf draws a day of a surgery on paper: a [daily.Day] becomes a PDF/A-3b
// with its exports and its day.json attached.
//
// The first page answers an inspector at a glance. Then follow all cycles in the
// order of their numbers, those that do not conform with a large figure and their
// findings, then duties, sources, limits and cautions. The same Day gives the same
// bytes. The package signs nothing: it leaves room for two signatures and says
// where, see [Blocks].
package pdf

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"holdproof/report/daily"
	"holdproof/report/figure"
)

// Parts is what a record needs beside the Day.
type Parts struct {
	// Figures holds, by cycle id, what each cycle's figure is drawn from. A cycle
	// without one is printed without a figure, and the record says so.
	Figures map[string]figure.Cycle
	// Sources holds, by SHA-256, the bytes of every source the Day names.
	Sources map[string][]byte
	// Twin asks for the same pages as a PDF/A-1b (ISO 19005-1), without attachments: a
	// twin for validators that know no other part. It is no record.
	Twin bool
	// Preview asks for pages that say on each of them that nobody signed them.
	Preview bool
}

// part is the part of ISO 19005 that a file conforms to.
type part int

const (
	part3 part = 3 // PDF/A-3b, with attachments
	part1 part = 1 // PDF/A-1b, without: a twin for validators that know no other
)

// Draw returns the record of a day as a PDF/A-3b (ISO 19005-3).
//
// Errors: whatever [daily.Day.Check] says of the Day; a source whose bytes are
// missing or are not those that the Day names; a figure drawn from another verdict
// than the Day's.
func Draw(d daily.Day, p Parts) ([]byte, error) {
	if p.Twin {
		return draw(d, p, part1)
	}
	return draw(d, p, part3)
}

func draw(d daily.Day, p Parts, as part) ([]byte, error) {
	data, err := d.Marshal()
	if err != nil {
		return nil, err
	}
	files, err := attachments(d, p.Sources, data)
	if err != nil {
		return nil, err
	}
	for _, c := range d.Cycles {
		if f, ok := p.Figures[c.ID]; ok && f.Verdict.Outcome() != c.Result() {
			return nil, fmt.Errorf("drawing a record: the figure of %s is of a cycle that is %s, the day says %s", c.ID, f.Verdict.Outcome(), c.Result())
		}
	}
	made, err := time.Parse(time.RFC3339, d.Record.Made)
	if err != nil {
		return nil, fmt.Errorf("drawing a record: %w", err)
	}
	r := &record{sheet: newSheet(), d: d, figures: p.Figures, preview: p.Preview}
	r.front()
	r.cycles()
	r.lists()
	r.feet()
	var b bytes.Buffer
	if err := r.pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("drawing a record: %w", err)
	}
	f, err := open(b.Bytes())
	if err != nil {
		return nil, err
	}
	a := archival{file: f, part: as, made: made, title: r.title(), program: "Holdproof " + d.Program, used: r.letters.used, zip: zlib.NewWriter(nil)}
	if as == part3 {
		a.files = files
	}
	return a.finish()
}

// attachments checks the bytes of the sources against the Day and adds day.json.
func attachments(d daily.Day, sources map[string][]byte, data []byte) ([]attachment, error) {
	files := []attachment{{name: "day.json", mime: "application/json", relation: "Data", about: "This record as data", data: data}}
	taken := map[string]bool{"day.json": true}
	for _, s := range d.Sources {
		b, ok := sources[s.SHA256]
		if !ok {
			return nil, fmt.Errorf("drawing a record: the bytes of %s are missing", s.Name)
		}
		if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != s.SHA256 || int64(len(b)) != s.Bytes {
			return nil, fmt.Errorf("drawing a record: the bytes of %s are not those that were judged", s.Name)
		}
		name := unique(s.Name, taken)
		files = append(files, attachment{name: name, mime: mimeOf(name), relation: "Source", about: "Export as it was read", data: b})
	}
	return files, nil
}

// Block is room for a signature in the units of a PDF: points from the lower left
// corner of the page.
type Block struct {
	Page       int // from 1
	X, Y, W, H float64
}

// Where the two blocks stand, in mm from the upper left corner of page 1.
const (
	blockTop, blockW, blockH = 235.0, 82.0, 29.0
	blockGap                 = column - 2*blockW
)

// Blocks returns the room for the signature of who prepared the record and of who
// reviewed it. It is empty paper inside a hairline; the second is not left out
// where the Day needs no second signature, its reason is printed there instead.
func Blocks() (prepared, reviewed Block) {
	b := Block{Page: 1, X: left / mm, Y: (pageH - blockTop - blockH) / mm, W: blockW / mm, H: blockH / mm}
	second := b
	second.X = (left + blockW + blockGap) / mm
	return b, second
}

// record is a day while it is drawn.
type record struct {
	*sheet
	d       daily.Day
	figures map[string]figure.Cycle
	preview bool
}

func (r *record) title() string {
	what := "day record"
	if r.preview {
		what = "preview of a day record, not signed"
	}
	return r.d.Surgery.Name + ", " + r.day() + ": " + what
}

// day is the date for people: Monday 2 Nov 2026.
func (r *record) day() string {
	t, err := time.Parse(time.DateOnly, r.d.Date)
	if err != nil {
		return r.d.Date
	}
	return t.Format("Monday 2 Jan 2006")
}

// clock is the time of day of an RFC 3339 time, with the date where it is another
// day than the record's.
func (r *record) clock(at string) string {
	t, err := time.Parse(time.RFC3339, at)
	if err != nil {
		return at
	}
	if t.Format(time.DateOnly) != r.d.Date {
		return t.Format("2 Jan 2006 15:04")
	}
	return t.Format("15:04")
}

// feet writes the foot of every page, now that their number is known. It ends on the
// last page, which the drawing library takes for the number of pages.
func (r *record) feet() {
	n := r.pdf.PageCount()
	for i := 1; i <= n; i++ {
		r.pdf.SetPage(i)
		r.set.any = false
		r.pdf.SetFont(r.anyFont(), "", 1) // so that the page is told its font again
		r.foot(i, n)
		if i > 1 {
			r.openRecalls()
		}
	}
}

func (r *record) anyFont() string {
	r.load(mono)
	return faceInfo[mono].name
}

func (r *record) foot(i, n int) {
	const y = 275.0
	r.rule(y)
	page := fmt.Sprintf("Page %d of %d", i, n)
	st := noteOn
	id := fmt.Sprintf("Record %s, revision %d", r.d.Record.ID, r.d.Record.Revision)
	if r.preview {
		id = "Preview, not signed. " + id
	}
	room := column - r.width(id, st) - r.width(page, st) - 12
	r.put(left, y+4, id, st)
	r.put(left+r.width(id, st)+6, y+4, r.shorten(r.d.Surgery.Name+", "+r.day(), note, room), note)
	r.put(left+column-r.width(page, st), y+4, page, st)
	before := "No record before this one."
	if p := r.d.Record.Previous; p.SHA256 != "" {
		before = p.SHA256
		r.put(left, y+7.6, "Record before", note)
		r.put(left+column-r.width(before, code), y+7.6, before, code)
		r.put(left+22, y+7.6, r.shorten(p.ID, noteOn, column-30-r.width(before, code)), noteOn)
	} else {
		r.put(left, y+7.6, before, note)
	}
	r.put(left, y+11.2, "Log", note)
	r.put(left+22, y+11.2, fmt.Sprintf("%d entries, root as a checkpoint has it", r.d.Record.LogSize), noteOn)
	root := rootWords(r.d.Record.LogRoot)
	r.put(left+column-r.width(root, code), y+11.2, root, code)
}

// rootWords writes the root of the log as checkpoints do, so that who keeps one can
// compare by eye; the Day has it in hex.
func rootWords(root string) string {
	b, err := hex.DecodeString(root)
	if err != nil {
		return root
	}
	return base64.StdEncoding.EncodeToString(b)
}

// openRecalls stand above everything else on every page; the first page has them at
// length.
func (r *record) openRecalls() {
	var names []string
	for _, c := range r.d.Recalls {
		if c.Closed == "" {
			names = append(names, r.names([]string{c.Cycle})[0])
		}
	}
	if len(names) > 0 {
		st := strong.in(figure.InkFailed)
		r.put(left, top-4, r.shorten("Recall open: "+strings.Join(names, ", "), st, column), st)
	}
}

// shorten cuts words to w mm, with a sign that something is left out.
func (s *sheet) shorten(words string, st style, w float64) string {
	if s.width(words, st) <= w {
		return words
	}
	n := s.fits(words, st, w-s.width("…", st))
	return words[:n] + "…"
}
