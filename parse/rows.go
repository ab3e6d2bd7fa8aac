package parse

import (
	"bufio"
	"encoding/csv"
	"errors"
	"io"

	"github.com/gocarina/gocsv"
)

// batch is the number of rows that are read in one call of gocsv, and page the
// number that it carries in one cell: its cost is by the cell.
const (
	batch = 512
	page  = 64
)

// sheet is a page of whole rows of the file as one text, their cells one after the
// other; where each ends is kept beside it. gocsv is given nothing to convert: a
// blank cell stays blank, and every number is read by parse itself.
type sheet struct {
	Rows string `csv:"rows"`
}

// UnmarshalCSVWithFields takes the page from gocsv.
func (s *sheet) UnmarshalCSVWithFields(_, rows string) error {
	s.Rows = rows
	return nil
}

var rowHeading = []string{"rows"}

// rows reads a file in batches through gocsv. It is gocsv's reader: one heading,
// one cell a page.
type rows struct {
	csv   *csv.Reader
	out   []sheet
	n     int // rows in out
	next  int // the next of them
	lines []int
	bad   map[int]error // rows that encoding/csv could not take apart
	err   error         // why there are no more; io.EOF at the end
	given [][]string

	looked   bool // one row was read ahead
	ahead    []string
	aheadErr error
	aheadAt  int

	cell  []string
	buf   []byte
	ends  []int // of the rows, from the start of their page
	pages []int // ends of the pages in buf
	cuts  []int // of the cells, from the start of their row
	first []int // of each row in cuts, one more than rows
}

func newRows(src io.Reader, comma byte) *rows {
	c := csv.NewReader(bufio.NewReaderSize(src, 64<<10)) // encoding/csv takes over a buffer of this kind
	c.Comma = rune(comma)
	c.FieldsPerRecord = -1
	c.ReuseRecord = true
	return &rows{csv: c, out: make([]sheet, batch/page)}
}

// peek returns the line of the next row without taking it. Its error is the row's
// own; ok is false at the end, where r.err says why.
func (r *rows) peek() (line int, bad error, ok bool) {
	for r.next == r.n {
		if r.err != nil {
			return 0, nil, false
		}
		r.fill()
	}
	if r.bad != nil {
		bad = r.bad[r.next]
	}
	return r.lines[r.next], bad, true
}

// row returns the row that peek looked at.
func (r *rows) row() cut {
	start := 0
	if r.next%page > 0 {
		start = r.ends[r.next-1]
	}
	return cut{r.out[r.next/page].Rows[start:r.ends[r.next]], r.cuts[r.first[r.next]:r.first[r.next+1]]}
}

// cut is a row and where its cells end. The cells are not made before they are
// asked for: most rows are readings, of which a few cells are wanted.
type cut struct {
	text string
	ends []int
}

func (c cut) len() int { return len(c.ends) }

// cell returns a cell, which stays as it is for as long as it is held.
func (c cut) cell(i int) string {
	start := 0
	if i > 0 {
		start = c.ends[i-1]
	}
	return c.text[start:c.ends[i]]
}

// all returns every cell, reusing the slice.
func (c cut) all(into []string) []string {
	into = into[:0]
	for i := range c.ends {
		into = append(into, c.cell(i))
	}
	return into
}

func (r *rows) take() { r.next++ }

// last tells whether the row that peek looks at is the last of the file.
func (r *rows) last() bool {
	if r.next+1 < r.n || r.looked {
		return false
	}
	if r.err != nil {
		return true
	}
	more, err := r.csv.Read()
	if err == io.EOF {
		r.err = err
		return true
	}
	r.looked, r.ahead, r.aheadErr = true, append([]string(nil), more...), err
	r.aheadAt = r.lineOf(err)
	return false
}

func (r *rows) fill() {
	r.n, r.next = 0, 0
	r.bad = nil
	if err := gocsv.UnmarshalCSV(r, &r.out); err != nil && r.err == nil {
		r.err = err
	}
}

// Read is not used by gocsv.UnmarshalCSV.
func (r *rows) Read() ([]string, error) { return nil, errors.ErrUnsupported }

// ReadAll hands gocsv the heading and the next batch of rows.
func (r *rows) ReadAll() ([][]string, error) {
	r.buf, r.ends, r.pages = r.buf[:0], r.ends[:0], r.pages[:0]
	r.lines, r.cuts, r.first = r.lines[:0], r.cuts[:0], r.first[:0]
	begun := 0 // of the page, in buf
	for len(r.ends) < batch && r.err == nil && len(r.buf) < 2*mostLine {
		cells, line, err := r.read()
		if err != nil {
			var wrong *csv.ParseError
			if !errors.As(err, &wrong) {
				r.err = err
				break
			}
			if r.bad == nil {
				r.bad = map[int]error{}
			}
			r.bad[len(r.ends)] = err
		}
		r.lines = append(r.lines, line)
		r.first = append(r.first, len(r.cuts))
		start := len(r.buf)
		for _, c := range cells {
			r.buf = append(r.buf, c...)
			r.cuts = append(r.cuts, len(r.buf)-start)
		}
		r.ends = append(r.ends, len(r.buf)-begun)
		if len(r.ends)%page == 0 {
			r.pages, begun = append(r.pages, len(r.buf)), len(r.buf)
		}
	}
	if len(r.ends)%page > 0 {
		r.pages = append(r.pages, len(r.buf))
	}
	r.first = append(r.first, len(r.cuts))
	r.n = len(r.ends)
	r.carve(string(r.buf))
	return r.given, nil
}

// read returns the next row of encoding/csv, its error and its line.
func (r *rows) read() ([]string, int, error) {
	if r.looked {
		r.looked = false
		return r.ahead, r.aheadAt, r.aheadErr
	}
	cells, err := r.csv.Read()
	if err == nil {
		line, _ := r.csv.FieldPos(0)
		return cells, line, nil
	}
	return cells, r.lineOf(err), err
}

// lineOf returns the line of the row that encoding/csv read last.
func (r *rows) lineOf(err error) int {
	var wrong *csv.ParseError
	switch {
	case errors.As(err, &wrong):
		return wrong.StartLine
	case err != nil:
		return 0
	}
	line, _ := r.csv.FieldPos(0)
	return line
}

// carve cuts the text of a batch into pages of one cell.
func (r *rows) carve(all string) {
	if r.given == nil {
		r.given = append(r.given, rowHeading)
		r.cell = make([]string, batch/page)
	}
	r.given = r.given[:1]
	start := 0
	for i, end := range r.pages {
		r.cell[i] = all[start:end]
		r.given = append(r.given, r.cell[i:i+1:i+1])
		start = end
	}
}
