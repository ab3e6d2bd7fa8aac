package parse

import (
	"fmt"
	"io"
	"strings"
)

// stamp is the time of one reading, on the recorder's clock or since the start.
type stamp struct {
	ns     int64 // see [second]
	fixed  bool  // an offset was written: ns is UTC
	noDate bool  // a time of day alone, or a time since the start
	since  bool  // a time since the start
}

// timeReader reads the cells of time and date. It remembers the date read last.
type timeReader struct {
	last    string
	lastDay int64
	hint    order
	found   order  // settled by the file
	why     string // how the order was settled, for people
	used    order  // the order of a date that needed one
	search  func() (order, *Error)
	failed  *Error // why the order cannot be settled
}

// day returns the day of a date as written, in days since 1970-01-01.
// An *Error is returned only if day and month cannot be told apart.
func (t *timeReader) day(s string) (int64, bool, *Error) {
	if s == t.last && s != "" {
		return t.lastDay, true, nil
	}
	d, ok := scanDate(s)
	if !ok {
		return 0, false, nil
	}
	o, err := t.orderOf(d)
	if err != nil {
		return 0, true, err
	}
	n, ok := d.days(o)
	if ok {
		t.last, t.lastDay = strings.Clone(s), n
	}
	return n, ok, nil
}

// orderOf settles day and month of a date: by its form, the configuration, or
// the other readings of the file. Never by guessing.
func (t *timeReader) orderOf(d date) (order, *Error) {
	switch {
	case d.order != orderUnknown:
		return d.order, nil
	case t.hint != orderUnknown:
		if o := d.evidence(); o != orderUnknown && o != t.hint {
			return orderUnknown, &Error{Want: fmt.Sprintf("a date in the order %s, as the configuration or the heading says", t.hint),
				Remedy: "Ask the lead to correct the order of day and month in holdproof.yaml: " + keyDateOrder + ".", Key: keyDateOrder}
		}
		t.used, t.why = t.hint, "configuration or heading"
		return t.hint, nil
	case t.found != orderUnknown:
		if o := d.evidence(); o != orderUnknown && o != t.found {
			return orderUnknown, &Error{Want: fmt.Sprintf("a date in the order %s, as other dates of the file have it", t.found),
				Remedy: "Export the cycles before and after the recorder's date format was changed apart."}
		}
		return t.found, nil
	case t.failed != nil:
		return orderUnknown, t.failed
	}
	if o := d.evidence(); o != orderUnknown {
		t.found, t.used, t.why = o, o, "a date of the file that can be read in one way only"
		return o, nil
	}
	if d.a == d.b && d.a <= 12 && !d.short {
		return dmy, nil // 04/04/2026 is one day in either order
	}
	o, err := t.search()
	if err != nil {
		t.failed = err
		return orderUnknown, err
	}
	t.found, t.used, t.why = o, o, "a date elsewhere in the file that can be read in one way only"
	return o, nil
}

// splitStamp cuts a cell into date and time of day: 2026-11-02T08:14:03, 02.11.2026 08:14.
func splitStamp(s string) (date, clock string) {
	if len(s) > 10 && (s[10] == 'T' || s[10] == ' ') && s[9] <= '9' { // the last of a date is a digit
		return s[:10], strings.TrimLeft(s[11:], " ")
	}
	if _, n := namedDate(s); n > 0 {
		return s[:n], strings.TrimLeft(s[n:], " ,T")
	}
	i := strings.IndexAny(s, " Tt")
	if i < 0 {
		return s, ""
	}
	return strings.TrimRight(s[:i], ","), strings.TrimLeft(s[i+1:], " ")
}

// read reads date and time of day, from one cell or two. It returns false if
// that is no time.
func (t *timeReader) read(dateCell, timeCell string) (stamp, bool, *Error) {
	dateText, clockText := dateCell, timeCell
	if dateCell == "" || len(timeCell) > 8 {
		if d, c := splitStamp(timeCell); c != "" && !strings.Contains(d, ":") {
			dateText, clockText = d, c
		}
	}
	if i := strings.IndexByte(dateText, ' '); i > 0 { // a spreadsheet's 02.11.2026 00:00
		if _, n := namedDate(dateText); n > 0 {
			i = n
		}
		dateText = dateText[:i]
	}
	var st stamp
	if n := len(clockText); n != 8 {
		rest, east, has := offset(clockText)
		if has {
			clockText, st.fixed = rest, true
			st.ns = -int64(east) * second
		}
	}
	ns, _, ok := clock(clockText)
	if !ok {
		return stamp{}, false, nil
	}
	st.ns += ns
	if dateText == "" {
		st.noDate = true
		return st, !st.fixed, nil
	}
	d, ok, err := t.day(dateText)
	st.ns += d * day
	return st, ok, err
}

// settle looks through a whole file for a date that can be read in one way only.
//
// It returns the SHA-256 of what it read, so that a file that changes is found out.
func settle(src io.ReadSeeker, enc charset, like *rows, dateCells []int) (order, string, *Error) {
	seen := map[order]bool{}
	sum, err := again(src, enc, like, func(cells []string) {
		look := func(cell string) {
			text, _ := splitStamp(trim(cell))
			if d, ok := scanDate(text); ok && d.order == orderUnknown {
				if o := d.evidence(); o != orderUnknown {
					seen[o] = true
				}
			}
		}
		for _, i := range dateCells {
			if i < len(cells) {
				look(cells[i])
			}
		}
		if k, value := keyOf(cells, string(like.csv.Comma)); k == keyDate || k == keyStart {
			look(value)
		}
	})
	switch {
	case err != nil:
		return orderUnknown, sum, err
	case seen[dmy] && !seen[mdy]:
		return dmy, sum, nil
	case seen[mdy] && !seen[dmy]:
		return mdy, sum, nil
	case seen[dmy]:
		return orderUnknown, sum, &Error{Found: "dates with the day first and dates with the month first", Want: "one order of day and month in a file",
			Remedy: "Ask the lead to set the order of day and month in holdproof.yaml: " + keyDateOrder + ".", Key: keyDateOrder}
	}
	return orderUnknown, sum, &Error{Want: "a date of which day and month can be told apart",
		Remedy: "Ask the lead to set the order of day and month in holdproof.yaml: " + keyDateOrder + ".", Key: keyDateOrder}
}
