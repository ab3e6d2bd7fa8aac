package parse

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"holdproof/parse/cycle"
)

// Cycle is one cycle of an export. Record is nil for a cycle that cannot be read:
// then Problems say why, and Header holds what is known so that the cycle can be
// shown as not proven (Start may be zero).
type Cycle struct {
	Record   *cycle.Record
	Header   cycle.Header
	Problems []*Error
}

// Reader reads the cycles of one export, one at a time. Memory does not grow with
// the file. It is not safe for use by several goroutines.
type Reader struct {
	file    string
	src     io.ReadSeeker
	size    int64
	options Options

	source    *source
	text      *text
	rows      *rows
	comma     byte
	delimiter string
	cells     []string

	commas, points int  // decimal signs seen in the first bytes
	dec            byte // 0 while no number had one

	times    timeReader
	layout   *layout
	hints    *Hints
	stranger string // the machine that the file names, if it is not configured
	block    block
	pending  []preambleLine // lines before a heading that has not come yet
	timing   timing

	b        builder
	repeated int            // line of a heading that stands among the readings
	suspect  []preambleLine // rows of numbers with a word for a time
	skipping bool           // the heading could not be understood
	blocks   bool           // a second preamble and heading was found
	looked   bool           // the file was searched for one
	splitWhy string
	late     *Error // what is wrong with the file as a whole, said at its end

	secondSum  string // SHA-256 of a second pass
	understood Understood
	count      int
	fatal      *Error
	done       bool
}

// Next returns the next cycle; io.EOF after the last. Any other error is an
// *[Error] and means that the file, or the rest of it, cannot be read. If that
// happens inside a cycle, the cycle is returned first, with the error among its
// problems, and io.EOF follows.
func (r *Reader) Next() (Cycle, error) {
	for !r.done {
		line, bad, ok := r.rows.peek()
		if !ok {
			c, err, ready := r.end()
			if ready {
				return c, err
			}
			continue
		}
		if c, ready := r.step(line, bad); ready {
			return c, nil
		}
	}
	if bad := r.fatal; bad != nil {
		r.fatal = nil
		return Cycle{}, bad
	}
	return Cycle{}, io.EOF
}

// SHA256 returns the hash of the original bytes of the whole file, in lower-case
// hex. It reads what [Reader.Next] has not read: call it after io.EOF, or instead
// of reading on.
func (r *Reader) SHA256() string {
	_, _ = io.Copy(io.Discard, r.source) // a file that cannot be read on was reported by Next
	return r.source.hex()
}

// toHeading reads the lines before the first heading, so that a heading that
// cannot be understood refuses the file at once.
func (r *Reader) toHeading() *Error {
	for r.layout == nil {
		line, bad, ok := r.rows.peek()
		if !ok {
			if e := (*Error)(nil); errors.As(r.rows.err, &e) {
				return e
			}
			return &Error{Found: "no headings", Want: "a line of headings above the readings", Remedy: "Export the cycle again as CSV with headings."}
		}
		if bad == nil {
			r.cells = r.rows.cells(r.cells)
			if isHeading(r.cells, r.anyHints(r.cells)) {
				return r.heading(line)
			}
			r.keep(line)
		}
		r.rows.take()
	}
	return nil
}

// keep remembers a line before a heading.
func (r *Reader) keep(line int) {
	const most = 2000 // lines before a heading; the keys of a preamble are a dozen
	if len(r.pending) >= most {
		return
	}
	p := preambleLine{line: line}
	for i, c := range r.cells {
		if i == 40 {
			break
		}
		p.cells = append(p.cells, strings.Clone(shorten(c)))
	}
	r.pending = append(r.pending, p)
}

// heading starts a block: preamble, hints, columns. The row is r.cells.
func (r *Reader) heading(line int) *Error {
	first := r.layout == nil
	r.resolve(r.peekMachine())
	r.times.hint = orderUnknown
	if r.hints != nil {
		r.times.hint = order(r.hints.DateOrder)
	}
	l, bad := newLayout(r.cells, line, r.hints)
	if bad != nil {
		r.strange(bad)
		if first {
			return bad
		}
	} else {
		r.layout = l
	}
	r.skipping = bad != nil
	if bad := r.decimal(line); bad != nil && first {
		return bad
	}
	if !first {
		r.blocks = true
	}
	for _, c := range r.layout.columns {
		if c.use == useDate || c.use == useTime {
			if o := order(c.pattern); r.times.hint == orderUnknown && (o == dmy || o == mdy || o == ymd) {
				r.times.hint = o
			}
		}
	}
	r.block = newBlock(r.pending, &r.times, r.delimiter)
	r.pending = nil
	r.timing = timing{start: r.timing.at()}
	r.repeated = 0
	r.splitWhy = "heading"
	if bad != nil {
		r.begin(line, "")
		r.b.problem(bad)
	}
	r.rows.take()
	return nil
}

// decimal settles the decimal sign by the configuration or by what was seen.
func (r *Reader) decimal(line int) *Error {
	hint := ""
	if r.hints != nil {
		hint = r.hints.Decimal
	}
	switch {
	case hint != "":
		r.dec, r.understood.DecimalWhy = hint[0], "configuration"
		if (hint == "," && r.commas == 0 && r.points > 0) || (hint == "." && r.points == 0 && r.commas > 0) {
			return &Error{Line: line, Found: "numbers with the other decimal sign than " + quote(hint), Want: "the decimal sign that the configuration says",
				Remedy: "Ask the lead to correct the decimal sign in holdproof.yaml: configuration and file contradict each other.", Key: "sterilisers[].export.decimal"}
		}
	case r.commas > r.points:
		r.dec, r.understood.DecimalWhy = ',', fmt.Sprintf("%d numbers with a comma, %d with a point", r.commas, r.points)
	case r.points > 0:
		r.dec, r.understood.DecimalWhy = '.', fmt.Sprintf("%d numbers with a point, %d with a comma", r.points, r.commas)
	}
	return nil
}

// step looks at one row. It returns a cycle when the row shows that one is over;
// the row is then looked at again.
func (r *Reader) step(line int, bad error) (Cycle, bool) {
	if bad != nil {
		r.unquoted(line, bad)
		r.rows.take()
		return Cycle{}, false
	}
	r.cells = r.rows.cells(r.cells)
	if !r.skipping {
		if st, ok, err := r.readTime(); ok {
			if r.isReading() {
				return r.reading(st, line, err)
			}
			if !r.eventLine() {
				return r.ragged(line)
			}
			r.footer(line)
			return Cycle{}, false
		}
	}
	return r.odd(line)
}

// isReading tells whether the row has the cells of a reading.
func (r *Reader) isReading() bool {
	n := len(r.cells)
	if n < r.layout.needed {
		return false
	}
	for i := len(r.layout.columns); i < n; i++ {
		if trim(r.cells[i]) != "" {
			return false
		}
	}
	return true
}

// eventLine tells whether a row with a time but too few cells is a note of the
// recorder: 08:34:14;End of cycle.
func (r *Reader) eventLine() bool {
	words := false
	for i, c := range r.cells {
		if i == r.layout.time || i == r.layout.date || i == r.layout.elapsed || i == r.layout.number {
			continue
		}
		if startsLikeReading(c) {
			return false
		}
		words = words || fold(c) != ""
	}
	return words
}

// odd looks at a row that holds no time: a heading, a preamble, a footer, or a
// reading whose time cannot be read.
func (r *Reader) odd(line int) (Cycle, bool) {
	if isHeading(r.cells, r.hintsFor()) {
		return r.onHeading(line)
	}
	if r.skipping {
		r.keepOpening(line)
		r.rows.take()
		return Cycle{}, false
	}
	k, _ := keyOf(r.cells, r.delimiter)
	switch {
	case len(r.pending) > 0 || k.opens():
		r.keep(line)
		r.rows.take()
	case r.badTime():
		return r.unreadableTime(line)
	default:
		r.footer(line)
	}
	return Cycle{}, false
}

func (r *Reader) keepOpening(line int) {
	if k, _ := keyOf(r.cells, r.delimiter); len(r.pending) > 0 || k.opens() {
		r.keep(line)
	}
}

func (r *Reader) hintsFor() *Hints {
	if r.hints != nil {
		return r.hints
	}
	return r.anyHints(r.cells)
}

// onHeading ends the cycle before a heading, unless the same heading is repeated
// among its readings: then the next reading decides.
func (r *Reader) onHeading(line int) (Cycle, bool) {
	if r.b.open {
		if len(r.pending) > 0 || !r.layout.same(r.cells) || r.skipping {
			return r.finish(), true
		}
		r.repeated = line
		r.rows.take()
		return Cycle{}, false
	}
	if bad := r.heading(line); bad != nil {
		r.b.problem(bad)
	}
	return Cycle{}, false
}

// badTime tells whether a row without a time looks like a reading.
func (r *Reader) badTime() bool {
	at := r.layout.time
	if at < 0 {
		at = r.layout.elapsed
	}
	numbers, others := 0, 0
	for i, c := range r.cells {
		c = trim(c)
		if c == "" || i == at || i == r.layout.date {
			continue
		}
		if startsLikeReading(c) {
			numbers++
		} else {
			others++
		}
	}
	if at < len(r.cells) {
		cell := trim(r.cells[at])
		if startsLikeReading(cell) && (numbers > 0 || others == 0) {
			return true
		}
		if cell == "" || !anyLetter(cell) {
			return numbers > 0
		}
	}
	return numbers > 0 && len(r.cells) >= r.layout.needed && len(r.cells) > 2
}

func anyLetter(s string) bool { return len(fold(s)) > 0 && !startsLikeReading(s) }

// unreadableTime refuses the cycle for a reading without a time. Where a word
// stands for the time, as in a line of largest values, only a reading after it shows
// that it was no footer.
func (r *Reader) unreadableTime(line int) (Cycle, bool) {
	at := r.layout.time
	if at < 0 {
		at = r.layout.elapsed
	}
	cell := ""
	if at < len(r.cells) {
		cell = trim(r.cells[at])
	}
	if anyLetter(cell) && r.b.open && len(r.suspect) < 100 {
		r.suspect = append(r.suspect, preambleLine{line: line, cells: append([]string(nil), r.cells...)})
		r.rows.take()
		return Cycle{}, false
	}
	if !r.b.open {
		r.begin(line, "heading")
	}
	r.b.problem(r.timeError(line, at, cell))
	r.rows.take()
	return Cycle{}, false
}

func (r *Reader) timeError(line, at int, cell string) *Error {
	if r.cutOff() {
		return r.cut(line)
	}
	return &Error{File: r.file, Line: line, Column: at + 1, Found: quote(cell), Want: "a time such as 2026-11-02 08:14:03",
		Remedy: "Export the cycle again. If the time cannot be read there either, the recorder's clock gave none."}
}

// cutOff tells whether the row is the last of a file that ends without a line end.
func (r *Reader) cutOff() bool {
	return r.rows.last() && r.rows.err == io.EOF && r.source.last != '\n' && r.source.last != '\r' && r.source.last != 0
}

func (r *Reader) cut(line int) *Error {
	return &Error{File: r.file, Line: line, Found: "a row that ends in its middle, and the file with it", Want: fmt.Sprintf("%d cells", len(r.layout.columns)),
		Remedy: "Export the cycle again: this file was cut off while it was written or copied."}
}

// ragged refuses the cycle for a row with too few or too many cells.
func (r *Reader) ragged(line int) (Cycle, bool) {
	if !r.b.open {
		r.begin(line, "heading")
	}
	if r.cutOff() && len(r.cells) < len(r.layout.columns) {
		r.b.problem(r.cut(line))
	} else {
		remedy := "Export the cycle again: a cell is missing in this line."
		if len(r.cells) > len(r.layout.columns) {
			remedy = "Export the cycle again with semicolons between the cells, or with quotation marks around numbers that hold a comma."
		}
		r.b.problem(&Error{File: r.file, Line: line, Column: min(len(r.cells), len(r.layout.columns)+1), Found: fmt.Sprintf("%d cells", len(r.cells)),
			Want: fmt.Sprintf("%d cells, one for each heading", len(r.layout.columns)), Remedy: remedy})
	}
	r.rows.take()
	return Cycle{}, false
}

// unquoted refuses the cycle for a row whose quotation marks do not match.
func (r *Reader) unquoted(line int, bad error) {
	if len(r.pending) > 0 || r.skipping {
		return
	}
	if !r.b.open {
		r.begin(line, "heading")
	}
	e := &Error{File: r.file, Line: line, Found: "a quotation mark that opens or closes no cell", Want: `cells as they are, or in quotation marks from end to end, such as "134,2"`,
		Remedy: "Export the cycle again. If this line looks the same there, tell the maker of the recorder's program."}
	var wrong *csv.ParseError
	if errors.As(bad, &wrong) && wrong.Line > wrong.StartLine {
		e.Found = fmt.Sprintf("a quotation mark that is still open on line %d", wrong.Line)
	}
	r.b.problem(e)
}

// footer takes a line that belongs to the cycle before.
func (r *Reader) footer(line int) {
	r.footerLine(preambleLine{line: line, cells: r.cells})
	r.rows.take()
}

func (r *Reader) footerLine(l preambleLine) {
	k, value := keyOf(l.cells, r.delimiter)
	if k == keyLate || k.opens() || !r.b.open {
		if s, ok := lineStatement(keyNone, value, l, r.delimiter); ok && r.b.open && s.Says == cycle.SaysFault {
			r.b.state(s)
		}
		return
	}
	if s, ok := lineStatement(k, value, l, r.delimiter); ok {
		r.b.state(s)
	}
}

// demote makes footers of lines that no heading followed.
func (r *Reader) demote() {
	for _, l := range r.pending {
		r.footerLine(l)
	}
	r.pending = nil
}

// searchOrder looks through the whole file for the order of day and month.
func (r *Reader) searchOrder() (order, *Error) {
	var at []int
	if r.layout != nil {
		for _, i := range []int{r.layout.time, r.layout.date} {
			if i >= 0 {
				at = append(at, i)
			}
		}
	}
	o, sum, err := settle(r.src, r.text.enc, r.comma, at)
	r.secondSum = sum
	if err != nil {
		r.strange(err)
	}
	return o, err
}

// end closes the last cycle and the file.
func (r *Reader) end() (Cycle, error, bool) {
	if errors.As(r.rows.err, &r.fatal) {
		r.fatal.File = r.file
		r.done = true
		if r.b.open {
			r.b.problem(r.fatal)
			r.fatal = nil
			return r.finish(), nil, true
		}
		bad := r.fatal
		r.fatal = nil
		return Cycle{}, bad, true
	}
	if r.b.open {
		rest := r.announced()
		if rest == nil {
			r.demote()
		}
		c := r.finish()
		r.pending = nil
		r.fatal = rest
		return c, nil, true
	}
	r.done = true
	return r.last()
}

// last says what is wrong with the file as a whole, once its cycles are told.
func (r *Reader) last() (Cycle, error, bool) {
	changed := &Error{File: r.file, Found: "a file that changed while it was read", Want: "a finished export",
		Remedy: "Wait until the recorder has finished writing the file, then try again."}
	switch {
	case r.fatal != nil:
		bad := r.fatal
		r.fatal = nil
		return Cycle{}, bad, true
	case r.late != nil:
		return Cycle{}, r.late, true
	case r.source.size != r.size, r.secondSum != "" && r.secondSum != r.source.hex():
		return Cycle{}, changed, true
	case r.count == 0:
		return Cycle{}, &Error{File: r.file, Line: r.understood.HeadingLine, Found: "headings without readings", Want: "readings under the headings",
			Remedy: "Export the cycle again; this file holds no reading."}, true
	}
	return Cycle{}, io.EOF, true
}

// announced says that a preamble at the end of the file names another cycle whose
// readings are not there.
func (r *Reader) announced() *Error {
	for _, l := range r.pending {
		k, value := keyOf(l.cells, r.delimiter)
		if k == keyNumber && value != r.b.number {
			return &Error{File: r.file, Line: l.line, Found: "cycle " + quote(value) + " without readings", Want: "headings and readings below",
				Remedy: "Export that cycle again: the file ends before its readings."}
		}
	}
	return nil
}

// zone returns the zone of the site.
func (r *Reader) zone() *time.Location { return r.options.Zone }
