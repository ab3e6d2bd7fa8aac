package parse

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"holdproof/parse/cycle"
)

// isReading tells whether the row has the cells of a reading.
func (r *Reader) isReading() bool {
	n := r.row.len()
	if n < r.layout.needed {
		return false
	}
	for i := len(r.layout.columns); i < n; i++ {
		if trim(r.row.cell(i)) != "" {
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
	if r.knownHeading() || isHeading(r.cells, r.hintsFor()) {
		return r.onHeading(line)
	}
	if r.skipping {
		r.keepOpening(line)
		r.rows.take()
		return Cycle{}, false
	}
	k, _ := keyOf(r.cells, r.delimiter)
	switch {
	case len(r.pending) > 0 || r.opens(k, r.cells):
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
	if k, _ := keyOf(r.cells, r.delimiter); len(r.pending) > 0 || r.opens(k, r.cells) {
		r.keep(line)
	}
}

// opens tells whether a line is the first of a preamble. Operator,
// site or a largest temperature may as well be a footer; they count only if the
// file's own preamble began with them.
func (r *Reader) opens(k key, cells []string) bool {
	return k.opens() && (k != keyIgnored || slices.Contains(r.begins, keyName(cells)))
}

// keyName returns what stands before the value in a line.
func keyName(cells []string) string {
	name, _, _ := strings.Cut(shorten(trim(cells[0])), ":")
	return fold(name)
}

// beginsWith returns the names of the lines of a preamble that stand before the
// first one that says something of the cycle.
func beginsWith(lines []preambleLine, delimiter string) []string {
	var names []string
	for _, l := range lines {
		k, _ := keyOf(l.cells, delimiter)
		if k.opens() && k != keyIgnored {
			break
		}
		names = append(names, keyName(l.cells))
	}
	return names
}

func (r *Reader) hintsFor() *Hints {
	if r.hints != nil {
		return r.hints
	}
	return r.anyHints(r.cells)
}

// badTime tells whether a row without a time looks like a reading. A line of dashes
// does not.
func (r *Reader) badTime() bool {
	at := r.layout.time
	if at < 0 {
		at = r.layout.elapsed
	}
	numbers, others := 0, 0
	for i, c := range r.cells {
		c = trim(c)
		if strings.Trim(c, "-") == "" || i == at || i == r.layout.date {
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
		dashes := strings.Trim(cell, "-") == ""
		if startsLikeReading(cell) && !dashes && (numbers > 0 || others == 0) {
			return true
		}
		if dashes || !anyLetter(cell) {
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
