package parse

import (
	"errors"
	"io"
	"time"
)

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
	o, sum, err := settle(r.src, r.text.enc, r.rows, at)
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
	case r.source.size != r.size, r.secondSum != "" && !r.options.Unhashed && r.secondSum != r.source.hex():
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
