package parse

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"holdproof/parse/cycle"
)

// reading takes a row of readings, or ends the cycle before it.
func (r *Reader) reading(st stamp, line int, bad *Error) (Cycle, bool) {
	if len(r.pending) > 0 {
		if r.b.open && r.announced() != nil { // a new cycle under the old headings
			return r.finish(), true
		}
		if r.b.open {
			r.demote() // lines among the readings that no heading followed
		} else {
			r.newBlock("preamble")
		}
	}
	if bad != nil { // day and month cannot be told apart, in the whole file
		r.fatal, r.done = bad.at(line, bad.Column, ""), true
		r.fatal.File = r.file
		if !r.b.open {
			return Cycle{}, false
		}
		r.b.problem(r.fatal)
		r.fatal = nil
		return r.finish(), true
	}
	if r.b.open {
		if why := r.boundary(st); why != "" {
			c := r.finish()
			r.splitWhy = why
			return c, true
		}
	} else {
		r.begin(line, r.splitWhy)
	}
	r.add(st, line)
	r.rows.take()
	return Cycle{}, false
}

// cell returns a cell of the row, "" where the column or the cell is not there.
func (r *Reader) cell(i int) string {
	if i < 0 || i >= r.row.len() {
		return ""
	}
	return trim(r.row.cell(i))
}

// boundary tells why the row begins a new cycle, "" if it does not.
func (r *Reader) boundary(st stamp) string {
	l, b, t := r.layout, &r.b, &r.timing
	if n := r.cell(l.number); n != "" && n != b.number && (b.byNumber || b.whole > 0 && b.number == "") {
		if !r.countsReadings(n) {
			return "cycle number column"
		}
	}
	if m := r.cell(l.steriliser); m != "" && b.machine != "" && m != b.machine {
		return "steriliser column"
	}
	if !t.have || t.how == unset || !b.started {
		return ""
	}
	at, hour := r.advance(t.written(st))
	step := at - (t.raw - t.shift)
	if r.repeated > 0 && hour == 0 {
		if step < 0 || step > max(3*t.step, 10*second) {
			return "heading"
		}
	}
	if step > pause && l.number < 0 && hour == 0 && !r.blockForm() {
		return "a pause of more than 10 min"
	}
	return ""
}

// countsReadings tells whether a column that looks like cycle numbers goes up by
// one with the second reading: then it counts the readings, and is left alone.
func (r *Reader) countsReadings(n string) bool {
	b, l := &r.b, r.layout
	before, err1 := strconv.Atoi(b.number)
	now, err2 := strconv.Atoi(n)
	if b.whole != 1 || r.count > 0 || l.columns[l.number].configured || err1 != nil || err2 != nil || now != before+1 {
		return false
	}
	c := &l.columns[l.number]
	b.remark(l.line, fmt.Sprintf("column %d, %s, counts the readings and was not taken for the cycle number; if it is, set %s", c.n, quote(c.heading), keyColumns))
	c.use, c.why = useIgnored, "it counts the readings"
	l.number = -1
	b.number, b.byNumber = b.preamble, false
	return true
}

// blockForm tells whether the file has a preamble and a heading for each cycle:
// then a pause is a gap and no new cycle. The file is searched once.
func (r *Reader) blockForm() bool {
	if r.blocks || r.looked {
		return r.blocks
	}
	r.looked = true
	opened := false
	bad := skim(r.src, r.text.enc, r.rows, func(cells []string, line int, reading bool) bool {
		switch {
		case line <= r.layout.line:
		case reading:
			opened = false
		case isHeading(cells, r.hints):
			r.blocks = opened
			return !opened
		default:
			k, _ := keyOf(cells, r.delimiter)
			opened = opened || r.opens(k, cells)
		}
		return true
	})
	if bad != nil {
		r.late = bad
		r.late.File = r.file
	}
	return r.blocks
}

// begin opens a cycle at a line.
func (r *Reader) begin(line int, why string) {
	l, b := r.layout, &r.b
	channels := len(l.temperatures)
	if l.pressure >= 0 {
		channels++
	}
	b.reset(channels)
	b.open = true
	b.header.Source.FirstLine, b.lastLine = line, line
	b.number, b.preamble = r.block.number, r.block.number
	r.block.number = "" // of the first cycle only
	if l.number >= 0 && l.programme < 0 && l.columns[l.number].cycleWord && cycleKey(r.cell(l.number)) == keyProgramme {
		l.number, l.programme = -1, l.number // a column Cycle that names programmes
		l.columns[l.programme].use = useProgramme
	}
	if n := r.cell(l.number); n != "" && why != "" {
		b.number, b.byNumber = strings.Clone(n), true
	}
	if m := r.cell(l.steriliser); m != "" && why != "" {
		b.machine = strings.Clone(m)
		if bad := r.switchTo(m); bad != nil {
			b.problem(bad)
		}
	}
	if bad := r.identify(line); bad != nil {
		b.problem(bad)
	}
	b.header.Statements = append(b.header.Statements, r.block.statements...)
	r.block.statements = nil
	if r.block.programme != "" {
		b.header.Label = label(r.block.programme, r.block.progLine)
	}
	for _, text := range l.remarks {
		b.remark(l.line, text)
	}
	for len(b.said) < len(l.statements) {
		b.said = append(b.said, "")
	}
	if len(r.understood.Splits) < mostSplits && why != "" {
		r.understood.Splits = append(r.understood.Splits, Split{Line: line, Why: why})
	}
	r.splitWhy = "heading"
}

// finish closes the cycle.
func (r *Reader) finish() Cycle {
	for _, s := range r.suspect {
		r.footerLine(s)
	}
	r.suspect = nil
	c := r.b.finish(r.file, r.layout)
	r.b.open = false
	r.repeated = 0
	r.count++
	for _, p := range c.Problems {
		p.File = r.file
	}
	return c
}

// add puts the row into the cycle.
func (r *Reader) add(st stamp, line int) {
	b := &r.b
	b.whole++
	b.lastLine = line
	if r.repeated > 0 {
		b.remark(r.repeated, "the headings are repeated among the readings")
		r.repeated = 0
	}
	for _, s := range r.suspect {
		at := max(r.layout.time, 0)
		b.problem(&Error{File: r.file, Line: s.line, Column: at + 1, Found: quote(trim(s.cells[min(at, len(s.cells)-1)])), Want: "a time such as 2026-11-02 08:14:03",
			Remedy: "Export the cycle again. If the time cannot be read there either, the recorder's clock gave none."})
	}
	r.suspect = nil
	ns, ok := r.place(st, line)
	r.texts(line)
	if !ok || len(b.problems) > 0 {
		return
	}
	if len(b.ns) == mostReadings {
		b.problem(&Error{File: r.file, Line: line, Found: fmt.Sprintf("more than %d readings in one cycle", mostReadings), Want: "one cycle at a time",
			Remedy: "Export fewer days at once, or with the column of cycle numbers."})
		return
	}
	b.ns = append(b.ns, ns)
	b.lines = append(b.lines, line)
	r.measure(line)
}

// place gives the reading its time. It returns false for a cycle that is refused.
func (r *Reader) place(st stamp, line int) (int64, bool) {
	b, t := &r.b, &r.timing
	if b.stopped {
		return 0, false
	}
	if t.how == unset {
		var bad *Error
		if st, bad = r.reckon(st, line); bad != nil {
			b.stopped = true
			if bad.Key != keyDateOrder {
				b.problem(bad)
				return 0, false
			}
			b.open, r.done, r.fatal = false, true, bad // as with a date of the readings
			r.fatal.File = r.file
			return 0, false
		}
	} else if st.fixed != (t.how == fixed) || (st.since != (t.how == elapsed)) || st.noDate != (t.how == clocked || t.how == elapsed) {
		b.problem(r.timeError(line, max(r.layout.time, 0), r.cell(max(r.layout.time, 0))))
		return 0, false
	}
	ns := t.written(st)
	if !b.started {
		if t.how == elapsed && t.have && ns <= t.raw {
			b.stopped = true
			b.problem(&Error{File: r.file, Line: line, Column: max(r.layout.time, r.layout.elapsed) + 1, Found: quote(r.cell(max(r.layout.time, r.layout.elapsed))) + ", counted from a new start",
				Want: "the start of this cycle before its headings", Remedy: "Export this cycle on its own, with date and time of its start."})
			return 0, false
		}
		return r.first(ns, line), true
	}
	at, hour := r.advance(ns)
	before := t.raw - t.shift
	if hour != 0 {
		t.shift += hour
		b.remark(line, hourRemark(hour))
	}
	if at < before {
		if b.backward++; b.backward == 1 {
			b.problem(r.stepBack(line, before, at))
		}
		r.follow(ns)
		return 0, false
	}
	if at > before {
		b.under, t.step = 1, at-before
	} else if b.under++; b.under == mostUnderStamp+1 {
		b.problem(&Error{File: r.file, Line: line, Column: max(r.layout.time, r.layout.elapsed, 0) + 1, Found: fmt.Sprintf("%d readings under one time stamp", b.under),
			Want: fmt.Sprintf("at most %d", mostUnderStamp), Remedy: "Set the recorder to write the seconds of each reading, and export the cycle again."})
	}
	r.follow(ns)
	return at, true
}

func hourRemark(hour int64) string {
	if hour < 0 {
		return "the clock went back by one hour here; the hour was removed"
	}
	return "the clock went forward by one hour here; the hour was removed"
}

// follow remembers the stamp that was read last.
func (r *Reader) follow(ns int64) {
	t := &r.timing
	if t.how == clocked {
		t.base = ns / day
	}
	t.raw = ns
}

// first begins the clock of a cycle at its first reading.
func (r *Reader) first(ns int64, line int) int64 {
	b, t := &r.b, &r.timing
	at, skipped := r.instant(ns, t.how)
	if skipped {
		b.remark(line, "the clock of the zone skips this hour; the start may be wrong by one hour")
	}
	if t.how == clocked {
		t.base = ns / day
	}
	t.raw, t.shift, t.start, t.from, t.have, t.step = ns, 0, at, ns, true, 0
	b.start, b.started, b.under = at, true, 1
	return ns
}

// measure reads the temperatures and the pressure of the row.
func (r *Reader) measure(line int) {
	l, b := r.layout, &r.b
	k, read := 0, false
	for _, i := range l.temperatures {
		c := &l.columns[i]
		v, ok := r.number(r.row.cell(i), 0)
		if ok {
			v, read = celsius(v, c.unit), true
		} else if c.role.Judged() {
			r.unreadable(c, r.row.cell(i), line)
		}
		b.values[k] = append(b.values[k], v)
		k++
	}
	if !read {
		r.alarm(line)
	}
	if l.pressure < 0 {
		return
	}
	c := &l.columns[l.pressure]
	v, ok := r.number(r.row.cell(l.pressure), c.unit.tens)
	if ok {
		v = kilopascal(v, c.unit)
	} else {
		r.unreadable(c, r.row.cell(l.pressure), line)
	}
	b.values[k] = append(b.values[k], v)
}

// number reads a cell; while no number of the file had a decimal sign, the first
// one settles it.
func (r *Reader) number(cell string, tens int) (float64, bool) {
	v, ok := scaled(cell, r.dec, tens)
	if ok || r.dec != 0 {
		return v, ok
	}
	for _, dec := range []byte{'.', ','} {
		if v, ok = scaled(cell, dec, tens); ok {
			r.dec, r.understood.DecimalWhy = dec, "the first number with a decimal sign"
			return v, true
		}
	}
	return math.NaN(), false
}

// alarm looks for what the recorder says in a row without a temperature, where it
// may stand in any column: 08:40:00;Alarm 12;;
func (r *Reader) alarm(line int) {
	for _, i := range r.layout.temperatures {
		cell := trim(r.row.cell(i))
		if s, _ := says(cell); s == cycle.SaysFault {
			r.b.state(cycle.Statement{Line: line, Text: strings.Clone(shorten(cell)), Says: s})
		}
	}
}

func (r *Reader) unreadable(c *column, cell string, line int) {
	if u := &r.b.header.Unreadable; len(*u) < mostUnreadable {
		*u = append(*u, cycle.Cell{Line: line, Column: c.n, Heading: c.heading, Text: strings.Clone(shorten(cell))})
	}
}

// texts looks at the columns that hold words: programme and statements.
func (r *Reader) texts(line int) {
	l, b := r.layout, &r.b
	if b.label == "" && l.programme >= 0 {
		if text := r.cell(l.programme); text != "" {
			b.label = strings.Clone(text)
			b.header.Label = label(text, line)
		}
	}
	for k, i := range l.statements {
		if i >= r.row.len() || r.row.cell(i) == b.said[k] {
			continue
		}
		b.said[k] = r.row.cell(i)
		if s, ok := cellSays(l.columns[i], r.row.cell(i)); ok {
			text := trim(r.row.cell(i))
			if h := l.columns[i].heading; h != "" {
				text = h + ": " + text
			}
			b.state(cycle.Statement{Line: line, Text: strings.Clone(shorten(text)), Says: s})
		}
	}
}
