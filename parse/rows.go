package parse

import (
	"encoding/csv"
	"errors"
	"io"

	"github.com/gocarina/gocsv"
)

// unitSeparator stands between the cells of a row while gocsv carries it. No text
// that reaches a row holds one.
const unitSeparator = 0x1f

// batch is the number of rows that gocsv carries in one call.
const batch = 512

// row is a whole row of the file as one text. gocsv is given nothing to convert:
// a blank cell stays blank, and every number is read by parse itself.
type row struct {
	Cells string `csv:"cells"`
}

// UnmarshalCSVWithFields takes the row from gocsv.
func (r *row) UnmarshalCSVWithFields(_, cells string) error {
	r.Cells = cells
	return nil
}

var rowHeading = []string{"cells"}

// rows reads a file in batches through gocsv. It is gocsv's reader: one heading,
// one cell a row.
type rows struct {
	csv   *csv.Reader
	out   []row
	n     int // rows in out
	next  int // the next of them
	lines []int
	bad   map[int]error // rows that encoding/csv could not take apart
	err   error         // why there are no more; io.EOF at the end
	given [][]string
	cell  []string
	buf   []byte
	ends  []int
}

func newRows(src io.Reader, comma byte) *rows {
	c := csv.NewReader(src)
	c.Comma = rune(comma)
	c.FieldsPerRecord = -1
	c.ReuseRecord = true
	return &rows{csv: c, out: make([]row, batch)}
}

// peek returns the next row without taking it. The text lives as long as needed.
// Its error is the row's own; ok is false at the end, where r.err says why.
func (r *rows) peek() (cells string, line int, bad error, ok bool) {
	for r.next == r.n {
		if r.err != nil {
			return "", 0, nil, false
		}
		r.fill()
	}
	return r.out[r.next].Cells, r.lines[r.next], r.bad[r.next], true
}

func (r *rows) take() { r.next++ }

// last tells whether the row that peek returns is the last of the file.
func (r *rows) last() bool {
	if r.next+1 < r.n {
		return false
	}
	if r.err != nil {
		return true
	}
	// One row is kept while the next batch is looked at.
	kept, line, bad := r.out[r.next].Cells, r.lines[r.next], r.bad[r.next]
	r.fill()
	n := r.n
	if n+1 > len(r.out) {
		r.out = append(r.out, row{})
	}
	copy(r.out[1:n+1], r.out[:n])
	r.out[0].Cells = kept
	r.lines = append([]int{line}, r.lines[:n]...)
	moved := map[int]error{}
	for i, e := range r.bad {
		moved[i+1] = e
	}
	if bad != nil {
		moved[0] = bad
	}
	r.bad, r.n, r.next = moved, n+1, 0
	return n == 0
}

func (r *rows) fill() {
	r.n, r.next = 0, 0
	r.bad = nil
	if len(r.out) > batch {
		r.out = r.out[:batch]
	}
	if err := gocsv.UnmarshalCSV(r, &r.out); err != nil && r.err == nil {
		r.err = err
	}
}

// Read is not used by gocsv.UnmarshalCSV.
func (r *rows) Read() ([]string, error) { return nil, errors.ErrUnsupported }

// ReadAll hands gocsv the heading and the next batch of rows.
func (r *rows) ReadAll() ([][]string, error) {
	r.buf, r.ends, r.lines = r.buf[:0], r.ends[:0], r.lines[:0]
	for len(r.ends) < batch && r.err == nil && len(r.buf) < 4*mostLine {
		cells, err := r.csv.Read()
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
			r.lines = append(r.lines, wrong.StartLine)
		} else {
			line, _ := r.csv.FieldPos(0)
			r.lines = append(r.lines, line)
		}
		for i, c := range cells {
			if i > 0 {
				r.buf = append(r.buf, unitSeparator)
			}
			r.buf = append(r.buf, c...)
		}
		r.ends = append(r.ends, len(r.buf))
	}
	r.n = len(r.ends)
	r.carve(string(r.buf))
	return r.given, nil
}

// carve cuts the text of a batch into rows of one cell.
func (r *rows) carve(all string) {
	if r.given == nil {
		r.given = append(r.given, rowHeading)
		r.cell = make([]string, batch)
	}
	r.given = r.given[:1]
	start := 0
	for i, end := range r.ends {
		r.cell[i] = all[start:end]
		r.given = append(r.given, r.cell[i:i+1:i+1])
		start = end
	}
}

// split cuts a row into its cells, reusing the slice.
func split(cells string, into []string) []string {
	into = into[:0]
	start := 0
	for i := 0; i < len(cells); i++ {
		if cells[i] == unitSeparator {
			into = append(into, cells[start:i])
			start = i + 1
		}
	}
	return append(into, cells[start:])
}
