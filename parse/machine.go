package parse

import (
	"fmt"
	"strings"
)

// named returns the configured steriliser whose id or serial a text is.
func (r *Reader) named(text string) *Steriliser {
	for i := range r.options.Sterilisers {
		if s := &r.options.Sterilisers[i]; sameName(text, s.ID) || sameName(text, s.Serial) {
			return s
		}
	}
	return nil
}

// peekMachine returns the names of the machine in the lines before the heading.
func (r *Reader) peekMachine() []string {
	var names []string
	for _, l := range r.pending {
		if k, value := keyOf(l.cells, r.delimiter); k == keySteriliser || k == keySerial {
			names = append(names, value)
		}
		for i := 2; i+1 < len(l.cells); i += 2 {
			if k := keyNamed(l.cells[i], l.cells[i+1]); k == keySteriliser || k == keySerial {
				names = append(names, trim(l.cells[i+1]))
			}
		}
	}
	return names
}

// resolve settles whose hints count for a heading: of the one that was asked for,
// of the one that the file names, or of the only one that is configured.
func (r *Reader) resolve(names []string) {
	r.hints, r.stranger, r.understood.Steriliser = nil, "", ""
	take := func(s *Steriliser, why string) {
		r.hints, r.understood.Steriliser, r.understood.HintsWhy = &s.Hints, s.ID, why
	}
	if r.options.Only != "" {
		if s := r.named(r.options.Only); s != nil {
			take(s, "the steriliser that was asked for")
		}
		return
	}
	written := ""
	for _, n := range names {
		if s := r.named(n); s != nil {
			take(s, "named before the readings")
			return
		}
		if n != "" {
			written = n
		}
	}
	switch all := r.options.Sterilisers; {
	case written != "":
		if len(all) > 0 {
			r.stranger = written
		}
		r.understood.HintsWhy = fmt.Sprintf("none: the file names %s, which is not configured", quote(written))
	case len(all) == 1:
		take(&all[0], "the only configured steriliser")
	case len(all) == 0:
		r.understood.HintsWhy = "none: no steriliser is configured"
	default:
		r.understood.HintsWhy = "none: the file names no steriliser, and several are configured"
		r.byColumn()
	}
}

// byColumn takes the hints of the first machine whose steriliser column stands in
// the heading, to understand the heading at all. The readings say which it is.
func (r *Reader) byColumn() {
	for i := range r.options.Sterilisers {
		s := &r.options.Sterilisers[i]
		for _, c := range r.cells {
			if s.Hints.SteriliserColumn != "" && fold(c) == fold(s.Hints.SteriliserColumn) {
				r.hints, r.understood.HintsWhy = &s.Hints, "its steriliser column stands in the heading"
				return
			}
		}
	}
}

// switchTo takes the hints of the machine that a steriliser column names, and
// none if it names nobody who is configured. It understands the heading again and
// returns what is wrong with that.
func (r *Reader) switchTo(name string) *Error {
	if r.options.Only != "" {
		return nil
	}
	s := r.named(name)
	switch {
	case s == nil && (r.hints == nil || r.stranger == name):
		return nil
	case s == nil:
		s = &Steriliser{Hints: Hints{SteriliserColumn: r.hints.SteriliserColumn}}
	case r.hints == &s.Hints:
		r.understood.Steriliser = s.ID
		return nil
	}
	if r.stranger = ""; s.ID == "" {
		r.stranger = strings.Clone(name)
	}
	l, bad := newLayout(r.layout.cells, r.layout.line, &s.Hints)
	if bad != nil {
		return r.strange(bad)
	}
	r.layout, r.hints, r.times.hint = l, &s.Hints, order(s.Hints.DateOrder)
	r.understood.Steriliser, r.understood.HintsWhy = s.ID, "named by the steriliser column"
	if s.ID == "" {
		r.understood.HintsWhy = "none: the steriliser column names " + quote(name) + ", which is not configured"
	}
	return r.decimal(r.layout.line)
}

// strange adds to a refusal that a setting would settle why the settings were
// not used: the file names a machine that is not configured.
func (r *Reader) strange(bad *Error) *Error {
	bad.File = r.file
	if r.stranger != "" && strings.HasPrefix(bad.Key, "sterilisers[].export") {
		bad.Remedy += fmt.Sprintf(" The file names the steriliser %s, which is not configured: enter it as the serial.", quote(r.stranger))
	}
	return bad
}

// identify writes into the header which machine the cycle belongs to.
func (r *Reader) identify(line int) *Error {
	h := &r.b.header
	written := r.b.machine
	for _, n := range []string{r.b.machine, r.block.steriliser, r.block.serial} {
		if written == "" {
			written = n
		}
		s := r.named(n)
		if s == nil {
			continue
		}
		if r.options.Only != "" && !sameName(s.ID, r.options.Only) {
			return &Error{File: r.file, Line: line, Found: "a record of the steriliser " + quote(n), Want: "a record of " + quote(r.options.Only) + ", which was asked for",
				Remedy: "Leave the steriliser away, or choose the one that the record names."}
		}
		h.Steriliser, h.Configured = s.ID, true
		return nil
	}
	if r.options.Only != "" {
		h.Steriliser, h.Configured = r.options.Only, r.named(r.options.Only) != nil
		if written != "" && !sameName(written, r.options.Only) {
			r.b.remark(line, fmt.Sprintf("the record names the steriliser %s; it was read as one of %s", quote(written), r.options.Only))
		}
		return nil
	}
	switch {
	case written != "":
		h.Steriliser = strings.Clone(written)
	case len(r.options.Sterilisers) == 1:
		h.Steriliser, h.Configured = r.options.Sterilisers[0].ID, true
	}
	return nil
}
