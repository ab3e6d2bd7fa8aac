package parse

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

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
	row       cut      // the row that is looked at
	cells     []string // its cells, where it is no reading

	commas, points int  // decimal signs seen in the first bytes
	dec            byte // 0 while no number had one

	times    timeReader
	layout   *layout
	hints    *Hints
	stranger string // the machine that the file names, if it is not configured
	block    block
	pending  []preambleLine // lines before a heading that has not come yet
	begins   []string       // names of the lines that the first preamble began with
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

	known      *layout  // the heading understood last, as it was before readings changed it
	knownHints *Hints   // it was understood with
	asWritten  []string // the heading read last, without units that stand below it
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
// of reading on. "" with [Options.Unhashed].
func (r *Reader) SHA256() string {
	_, _ = io.Copy(io.Discard, r.source) // a file that cannot be read on was reported by Next
	return r.source.hex()
}

// SecondSHA256 returns the hash of the whole file as a second pass over it found it, ""
// if no second pass was needed. Another than that of the first means that the file
// changed while it was read.
func (r *Reader) SecondSHA256() string { return r.secondSum }

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
			r.row = r.rows.row()
			r.cells = r.row.all(r.cells)
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
	r.rows.take()
	r.asWritten = slices.Clone(r.cells)
	r.cells = r.takeUnits(r.cells)
	r.resolve(r.peekMachine())
	r.times.hint = orderUnknown
	if r.hints != nil {
		r.times.hint = order(r.hints.DateOrder)
	}
	l, bad := r.layoutOf(line)
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
	if first {
		r.begins = beginsWith(r.pending, r.delimiter)
	}
	r.newBlock("heading")
	r.repeated = 0
	if bad != nil {
		r.begin(line, "")
		r.b.problem(bad)
	}
	return nil
}

// layoutOf returns what the heading in r.cells means. One that stands before every
// cycle is understood once.
func (r *Reader) layoutOf(line int) (*layout, *Error) {
	if r.knownHeading() {
		return r.known.at(line), nil
	}
	l, bad := newLayout(r.cells, line, r.hints)
	if bad == nil {
		r.known, r.knownHints = l.at(line), r.hints
	}
	return l, bad
}

// knownHeading tells whether r.cells is the heading understood last.
func (r *Reader) knownHeading() bool {
	return r.known != nil && r.knownHints == r.hints && r.known.same(r.cells)
}

// newBlock reads the lines before the readings that come now.
func (r *Reader) newBlock(why string) {
	r.block = newBlock(r.pending, &r.times, r.delimiter)
	r.pending = nil
	r.timing = timing{start: r.timing.at()}
	r.splitWhy = why
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
				Remedy: "Ask the lead to correct " + keyDecimal + ", the decimal sign, in holdproof.yaml: configuration and file contradict each other.", Key: keyDecimal}
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
	r.row = r.rows.row()
	if !r.skipping {
		if st, ok, err := r.readTime(); ok {
			if r.isReading() {
				return r.reading(st, line, err)
			}
			r.cells = r.row.all(r.cells)
			if !r.eventLine() {
				return r.ragged(line)
			}
			r.footer(line)
			return Cycle{}, false
		}
	}
	r.cells = r.row.all(r.cells)
	return r.odd(line)
}

// onHeading ends the cycle before a heading, unless the same heading is repeated
// among its readings: then the next reading decides.
func (r *Reader) onHeading(line int) (Cycle, bool) {
	if r.b.open {
		if len(r.pending) > 0 || r.skipping || !slices.Equal(r.cells, r.asWritten) {
			return r.finish(), true
		}
		r.repeated = line
		r.rows.take()
		r.takeUnits(r.cells)
		return Cycle{}, false
	}
	if bad := r.heading(line); bad != nil {
		r.b.problem(bad)
	}
	return Cycle{}, false
}
