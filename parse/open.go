package parse

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"time"
)

// mostPreamble is how far into a file its heading is looked for, in bytes: far
// enough to meet a line that is too long.
const mostPreamble = mostLine + 64<<10

// probe is what the first bytes of a file tell about it.
type probe struct {
	enc     charset
	comma   byte
	heading int  // line
	blanks  bool // between a delimiter and a quotation mark
}

// Open looks at an export and makes ready to read its cycles. It reads src from
// its start; name is how the person calls the file.
//
// The error is an *[Error]: the file cannot be read at all, because it is empty,
// no text, no table, or its heading names no time or no temperature.
func Open(name string, src io.ReadSeeker, o Options) (*Reader, error) {
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	size, err := src.Seek(0, io.SeekEnd)
	if err == nil {
		_, err = src.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, &Error{File: name, Found: "something that is no file: " + err.Error(), Want: "a CSV export", Remedy: "Choose the exported file itself, not a folder or a device."}
	}
	r := &Reader{file: name, src: src, size: size, options: o, source: newSource(src)}
	if o.Unhashed {
		r.source.sum = nil
	}
	if bad := r.openFile(); bad != nil {
		bad.File = name
		return nil, bad
	}
	return r, nil
}

// openFile reads as much of the file as it takes to find the heading.
func (r *Reader) openFile() *Error {
	var head []byte
	for want := 64 << 10; ; want = min(4*want, mostPreamble) {
		more, err := io.ReadAll(io.LimitReader(r.source, int64(want-len(head))))
		head = append(head, more...)
		if err != nil {
			return &Error{Found: "a file that cannot be read: " + err.Error(), Want: "a CSV export", Remedy: "Choose the exported file itself, not a folder, and look whether you may open it."}
		}
		end := len(head) < want
		if bad := signature(head); bad != nil {
			return bad
		}
		p, cells, bad := r.probe(head, end)
		if bad != nil && (end || len(head) >= mostPreamble || bad.Line > 0 && bad.Key == "") {
			return bad
		}
		if bad == nil {
			return r.prepare(p, head, cells)
		}
	}
}

// signature refuses files that are something else by their first bytes.
func signature(head []byte) *Error {
	const csvRemedy = "On the recorder's program choose export as CSV, and give that file."
	if len(bytes.TrimSpace(head)) == 0 {
		return &Error{Found: "an empty file", Want: "a table with readings", Remedy: "Export the cycle again; this file holds nothing."}
	}
	for _, s := range []struct{ start, what string }{
		{"%PDF", "a PDF document"}, {"PK\x03\x04", "a Zip archive or a spreadsheet"}, {"PK\x05\x06", "an empty Zip archive"},
		{"\x1f\x8b", "a compressed file"}, {"7z\xbc\xaf", "a compressed file"}, {"Rar!", "a compressed file"},
		{"\x89PNG", "a picture"}, {"\xff\xd8\xff", "a picture"}, {"GIF8", "a picture"}, {"\xd0\xcf\x11\xe0", "a spreadsheet or document of an office program"},
		{"SQLite format 3", "a database"}, {"\x7fELF", "a program"}, {"MZ\x90", "a program"}, {"{\\rtf", "a text document"}, {"<?xml", "an XML document"}, {"<html", "a web page"}, {"<!DOCTYPE", "a web page"},
	} {
		if bytes.HasPrefix(head, []byte(s.start)) {
			return &Error{Line: 1, Found: s.what, Want: "a CSV export, which is a table as text", Remedy: csvRemedy}
		}
	}
	return nil
}

// encodingOf tells the encoding by the byte order mark, by the zero bytes of
// UTF-16 without one, or by what is valid.
func encodingOf(head []byte) charset {
	switch {
	case bytes.HasPrefix(head, []byte("\xff\xfe")):
		return utf16LE
	case bytes.HasPrefix(head, []byte("\xfe\xff")):
		return utf16BE
	}
	var zeros [2]int
	n := min(len(head), 4096)
	for i, c := range head[:n] {
		if c == 0 {
			zeros[i%2]++
		}
	}
	switch {
	case zeros[1] > n/4 && zeros[0] == 0:
		return utf16LE
	case zeros[0] > n/4 && zeros[1] == 0:
		return utf16BE
	case bytes.HasPrefix(head, []byte("\uFEFF")):
		return utf8Text
	}
	return asciiText // until a byte beyond ASCII is met
}

// delimiters are those that are tried, in this order.
var delimiters = []byte{'\t', ';', ','}

// headingLine is the line of the first heading under the first delimiter that shows one,
// or the last line there can be. No other delimiter need be tried on lines below it.
func (r *Reader) headingLine(head []byte, enc charset) int {
	for _, comma := range delimiters {
		if bytes.IndexByte(head, comma) < 0 {
			continue
		}
		lines := csv.NewReader(newText(bytes.NewReader(head), enc, comma))
		lines.Comma, lines.FieldsPerRecord = rune(comma), -1
		lines.TrimLeadingSpace = blanks(head, comma)
		for {
			cells, err := lines.Read()
			var wrong *csv.ParseError
			if err != nil && !errors.As(err, &wrong) {
				break
			}
			if err == nil && isHeading(cells, r.anyHints(cells)) {
				line, _ := lines.FieldPos(0)
				return line
			}
		}
	}
	return math.MaxInt
}

// probe tries the delimiters on the first bytes and keeps the one under which a
// heading is found first.
func (r *Reader) probe(head []byte, end bool) (probe, []string, *Error) {
	p := probe{enc: encodingOf(head)}
	var bestCells []string
	var nearest *Error
	bestScore := 0
	last := r.headingLine(head, p.enc)
	for _, comma := range delimiters {
		t := newText(bytes.NewReader(head), p.enc, comma)
		lines := csv.NewReader(t)
		lines.Comma, lines.FieldsPerRecord = rune(comma), -1
		lines.TrimLeadingSpace = blanks(head, comma)
		found := false
		var near *Error // of the row before: the last row may be cut by the end of head
		for !found {
			cells, err := lines.Read()
			var wrong *csv.ParseError
			if nearest == nil && near != nil && (end || err != io.EOF) {
				nearest = near
			}
			if err != nil && !errors.As(err, &wrong) {
				var bad *Error
				if errors.As(err, &bad) && (nearest == nil || nearest.Line == 0 || nearest.Key != "") && !truncated(bad, end) {
					nearest = bad
				}
				break
			}
			if err != nil || len(cells) == 0 {
				continue
			}
			line, _ := lines.FieldPos(0)
			if line > last {
				break
			}
			h := r.anyHints(cells)
			if !isHeading(cells, h) {
				near = almostHeading(cells, line, h)
				continue
			}
			found = true
			if bestCells == nil || line < p.heading || (line == p.heading && len(cells) > bestScore) {
				p.heading, p.comma, p.blanks, bestScore = line, comma, lines.TrimLeadingSpace, len(cells)
				bestCells = append([]string(nil), cells...)
			}
		}
	}
	if bestCells != nil {
		return p, bestCells, nil
	}
	if nearest == nil {
		nearest = &Error{Found: "no line with the headings of a table", Want: "a line such as Time;Chamber temperature [°C];Pressure [kPa abs] above the readings",
			Remedy: "Choose the export of the readings, as CSV with headings. If the headings are the recorder's own, ask the lead to name the columns in holdproof.yaml: " + keyColumns + ".", Key: keyColumns}
	}
	return p, nil, nearest
}

// blanks tells whether blanks stand between a delimiter and a quotation mark. A
// tab is a blank itself, so tables with tabs are left alone.
func blanks(head []byte, comma byte) bool {
	return comma != '\t' && bytes.Contains(head, []byte{comma, ' ', '"'})
}

// truncated tells whether an error may come from the cut after the first bytes.
func truncated(bad *Error, end bool) bool { return !end && bad.Line == 0 }

// anyHints returns the hints under which a row may be a heading: those of the
// file's steriliser if it is known, else all that name a heading of the row.
func (r *Reader) anyHints(cells []string) *Hints {
	for _, s := range r.options.Sterilisers {
		if r.options.Only != "" && s.ID != r.options.Only {
			continue
		}
		if r.options.Only != "" || len(r.options.Sterilisers) == 1 || isHeading(cells, &s.Hints) {
			return &s.Hints
		}
	}
	return nil
}

// almostHeading says what a row of headings lacks to be one: headings without
// time, or without anything measured.
func almostHeading(cells []string, line int, h *Hints) *Error {
	times, measured, numbers := 0, 0, 0
	for i, cell := range cells {
		if i >= mostColumns {
			return &Error{Line: line, Found: fmt.Sprintf("%d columns", len(cells)), Want: fmt.Sprintf("at most %d columns", mostColumns),
				Remedy: "Export the readings of one steriliser only, as a table with one column for each sensor."}
		}
		if startsLikeReading(cell) {
			numbers++
			continue
		}
		switch hinted(understand(i+1, cell), h).use {
		case useTime, useElapsed, useDate:
			times++
		case useTemperature, usePressure:
			measured++
		}
	}
	if numbers > 0 || len(cells) < 2 {
		return nil
	}
	missing := func(what, such string) *Error {
		return &Error{Line: line, Found: "headings without " + what, Want: "a column such as " + such,
			Remedy: "Export the readings with this column, or ask the lead to name it in holdproof.yaml: " + keyColumns + ".", Key: keyColumns}
	}
	switch {
	case measured > 1:
		return missing("a time", "Time")
	case times > 0 && len(cells) > 2:
		return missing("a temperature", "Chamber temperature [°C]")
	}
	return nil
}

// prepare builds the second, streaming pass over the same bytes.
func (r *Reader) prepare(p probe, head []byte, cells []string) *Error {
	r.comma, r.delimiter = p.comma, string(rune(p.comma))
	r.text = newText(io.MultiReader(bytes.NewReader(head), r.source), p.enc, p.comma)
	r.rows = newRows(r.text, p.comma)
	r.rows.csv.TrimLeadingSpace = p.blanks
	r.understood = Understood{File: r.file, HeadingLine: p.heading, Delimiter: delimiterName(p.comma)}
	r.sampleDecimal(head, p)
	r.times.search = r.searchOrder
	if bad := r.toHeading(); bad != nil {
		return bad
	}
	return r.inTurn(head, p)
}

func delimiterName(c byte) string {
	switch c {
	case '\t':
		return "tab"
	case ';':
		return "semicolon"
	}
	return "comma"
}

// sampleDecimal counts the decimal signs in the first bytes below the heading, in
// cells that are numbers and nothing else.
func (r *Reader) sampleDecimal(head []byte, p probe) {
	lines := csv.NewReader(newText(bytes.NewReader(head[:min(len(head), 256<<10)]), p.enc, p.comma))
	lines.Comma, lines.FieldsPerRecord, lines.ReuseRecord, lines.TrimLeadingSpace = rune(p.comma), -1, true, p.blanks
	for {
		cells, err := lines.Read()
		var wrong *csv.ParseError
		if err != nil && !errors.As(err, &wrong) {
			return
		}
		if err != nil || len(cells) == 0 {
			continue
		}
		if line, _ := lines.FieldPos(0); line <= p.heading {
			continue
		}
		for _, c := range cells {
			if _, ok := number(c, 0); ok {
				continue
			}
			if _, ok := number(c, ','); ok {
				r.commas++
			} else if _, ok := number(c, '.'); ok {
				r.points++
			}
		}
	}
}

// CannotOpen says in a sentence why a file could not be opened at all.
func CannotOpen(name string, err error) *Error {
	e := &Error{File: name, Want: "a CSV export", Found: "a file that cannot be opened: " + err.Error(), Remedy: "Look whether another program holds the file open, then try again."}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Found, e.Remedy = "no such file", "Look at the name and the folder of the file."
	case errors.Is(err, fs.ErrPermission):
		e.Found, e.Remedy = "a file that you may not open", "Copy the export to a folder of your own, or ask the lead for the permission to read it."
	}
	return e
}
