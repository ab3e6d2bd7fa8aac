package parse

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/parse/cycle"
)

// Sizes beyond which a heading is refused: no recorder of a steriliser has them,
// and memory must not follow the file. Both are ours.
const (
	mostColumns  = 500
	mostChannels = 32
)

// layout is a heading line, understood: which column is what.
type layout struct {
	line    int
	cells   []string
	columns []column

	// Indexes into columns, -1 where there is none.
	time, date, elapsed, number, programme, steriliser, pressure int

	temperatures []int // in the order of the file
	statements   []int // columns whose text is looked at, ignored ones among them
	needed       int   // cells a row of readings must have at least
	remarks      []string
}

// The keys of holdproof.yaml that settle how an export is read.
const (
	keyColumns   = "sterilisers[].export.columns"
	keyPressure  = "sterilisers[].export.pressure"
	keyDecimal   = "sterilisers[].export.decimal"
	keyDateOrder = "sterilisers[].export.date_order"
)

// isHeading tells whether a row of the file is a heading: it names a time and
// something measured.
func isHeading(cells []string, h *Hints) bool {
	if len(cells) < 2 {
		return false
	}
	times, measured := 0, 0
	for i, cell := range cells {
		if cell == "" || i >= mostColumns || startsLikeReading(cell) {
			continue
		}
		c := hinted(understand(i+1, cell), h)
		switch c.use {
		case useTime, useElapsed, useDate:
			times++
		case useTemperature, usePressure:
			measured++
		}
		if times > 0 && measured > 0 {
			return true
		}
	}
	return false
}

// startsLikeReading spares the tables from cells that start as numbers and times do.
func startsLikeReading(cell string) bool {
	c := trim(cell)
	return c != "" && (('0' <= c[0] && c[0] <= '9') || c[0] == '-' || c[0] == '+')
}

// hinted applies what the configuration says of a heading. A hint names the
// heading whole or without its unit.
func hinted(c column, h *Hints) column {
	if hint := h.column(c.heading); hint != nil {
		measured := c.use
		c.configured = true
		c.why = "configuration"
		for _, u := range useNames {
			if u.name == hint.Is {
				c.use, c.role, c.bare, c.doubtful = u.use, u.role, false, false
			}
		}
		if c.role == cycle.NotConnected && c.use == useTemperature && measured != useTemperature {
			c.use, c.role = useIgnored, 0
		}
	}
	return c
}

// column returns the hint for a heading, nil if there is none.
func (h *Hints) column(heading string) *ColumnHint {
	if h == nil || heading == "" || len(heading) > longestHeading {
		return nil
	}
	whole := fold(heading)
	var p parts
	rest := fold(p.takeUnit(heading))
	for i := range h.Columns {
		if name := fold(h.Columns[i].Heading); name == whole || (rest != "" && name == rest) {
			return &h.Columns[i]
		}
	}
	if h.SteriliserColumn != "" && fold(h.SteriliserColumn) == whole {
		return &ColumnHint{Heading: h.SteriliserColumn, Is: "steriliser"}
	}
	return nil
}

// newLayout understands a heading line. Errors: a column that is missing, twice,
// without unit, or contradicted by the configuration.
func newLayout(cells []string, line int, h *Hints) (*layout, *Error) {
	if len(cells) > mostColumns {
		return nil, &Error{Line: line, Found: fmt.Sprintf("%d columns", len(cells)), Want: fmt.Sprintf("at most %d columns", mostColumns),
			Remedy: "Export the readings of one steriliser only, as a table with one column for each sensor."}
	}
	l := &layout{line: line, time: -1, date: -1, elapsed: -1, number: -1, programme: -1, steriliser: -1, pressure: -1}
	for i, cell := range cells {
		l.cells = append(l.cells, strings.Clone(cell))
		c := understand(i+1, cell)
		before := c
		c = hinted(c, h)
		if err := l.checkHint(c, before, h); err != nil {
			return nil, err
		}
		l.columns = append(l.columns, c)
	}
	if err := l.units(h); err != nil {
		return nil, err
	}
	for i := range l.columns {
		if err := l.place(i); err != nil {
			return nil, err
		}
	}
	if err := l.complete(h); err != nil {
		return nil, err
	}
	return l, nil
}

// checkHint refuses a hint that contradicts the heading.
func (l *layout) checkHint(c, before column, h *Hints) *Error {
	hint := h.column(c.heading)
	if hint == nil || before.unit.name == "" {
		return nil
	}
	clash := func(said string) *Error {
		return &Error{Line: l.line, Column: c.n, Found: quote(c.heading), Want: fmt.Sprintf("a heading that agrees with the configuration, which says %s", said),
			Remedy: "Ask the lead to correct the column in holdproof.yaml, " + keyColumns + ": heading and configuration contradict each other.", Key: keyColumns}
	}
	want := ""
	switch {
	case c.use == usePressure:
		want = "pressure"
	case c.use == useTemperature && c.role != cycle.NotConnected && c.role != cycle.Other:
		want = "temperature"
	}
	if want != "" && before.unit.quantity != want && before.unit.quantity != "time" {
		return clash(quote(hint.Is))
	}
	if hint.Unit == "" {
		return nil
	}
	u, ref, ok := units().spelled(hint.Unit)
	if ok && (u.name != before.unit.name || (ref != 0 && before.ref != 0 && ref != before.ref)) {
		return clash(quote(hint.Unit))
	}
	return nil
}

// units gives every measured column its unit, and the pressure its reference.
func (l *layout) units(h *Hints) *Error {
	anyUnit, other := false, ""
	for _, c := range l.columns {
		anyUnit = anyUnit || c.unit.name != ""
		if c.unit.quantity == "temperature" && c.unit.name != "degC" {
			other = c.unit.name
		}
	}
	for i := range l.columns {
		c := &l.columns[i]
		if hint := h.column(c.heading); hint != nil && hint.Unit != "" && c.unit.name == "" {
			u, ref, ok := units().spelled(hint.Unit)
			if !ok {
				return &Error{Line: l.line, Column: c.n, Found: fmt.Sprintf("%s with the configured unit %s", quote(c.heading), quote(hint.Unit)),
					Want: "a unit such as degC or kPa", Remedy: "Ask the lead to correct the unit of the column in holdproof.yaml: " + keyColumns + ".", Key: keyColumns}
			}
			c.unit = u
			if ref != 0 {
				c.ref = ref
			}
		}
		switch {
		case c.use == useTemperature && c.unit.quantity != "temperature" && c.role != cycle.NotConnected:
			if !anyUnit || other != "" {
				return &Error{Line: l.line, Column: c.n, Found: quote(c.heading), Want: "a temperature with its unit, such as Chamber temperature [°C]",
					Remedy: "Ask the lead to set the unit of this column in holdproof.yaml: " + keyColumns + ".", Key: keyColumns}
			}
			c.unit = units().spelling["degc"]
			c.why += "; °C because another heading carries a unit"
		case c.use == usePressure && c.unit.quantity != "pressure" && !c.doubtful:
			return &Error{Line: l.line, Column: c.n, Found: quote(c.heading), Want: "a pressure with its unit, such as Pressure [kPa abs]",
				Remedy: "Ask the lead to set the unit of this column in holdproof.yaml: " + keyColumns + ".", Key: keyColumns}
		}
	}
	return nil
}

// place notes which column is what and refuses a second one.
func (l *layout) place(i int) *Error {
	c := l.columns[i]
	slot := map[use]*int{useTime: &l.time, useDate: &l.date, useElapsed: &l.elapsed, useNumber: &l.number,
		useProgramme: &l.programme, useSteriliser: &l.steriliser, usePressure: &l.pressure}[c.use]
	switch {
	case c.use == usePressure && c.doubtful:
		l.columns[i].use = useIgnored
		l.remarks = append(l.remarks, fmt.Sprintf("column %d, %s, was not taken as the pressure of the chamber: its heading holds words that are not known; if it is, set %s", c.n, quote(c.heading), keyColumns))
	case c.use == useTemperature:
		for _, k := range l.temperatures {
			if fold(l.columns[k].heading) == fold(c.heading) {
				return l.twice(l.columns[k], c)
			}
		}
		l.temperatures = append(l.temperatures, i)
	case slot == nil:
	case *slot < 0:
		*slot = i
	case c.use == useElapsed || c.use == useProgramme || c.use == useSteriliser:
		l.columns[i].use = useIgnored // the first counts
	case c.use == useNumber && !c.configured && fold(c.heading) != fold(l.columns[*slot].heading):
		l.columns[i].use = useIgnored
	default:
		return l.twice(l.columns[*slot], c)
	}
	return nil
}

func (l *layout) twice(first, second column) *Error {
	what := second.name()
	if second.use == useTemperature {
		what = "heading"
	}
	if fold(first.heading) == fold(second.heading) {
		return &Error{Line: l.line, Column: second.n, Found: "the heading " + quote(second.heading) + " twice", Want: fmt.Sprintf("another heading than that of column %d", first.n),
			Remedy: "Give the two columns different names where the recorder's export is set up, or leave one of them out."}
	}
	return &Error{Line: l.line, Column: second.n, Found: quote(second.heading),
		Want:   fmt.Sprintf("one %s; column %d, %s, is one already", what, first.n, quote(first.heading)),
		Remedy: "Ask the lead to say in holdproof.yaml, " + keyColumns + ", which of the two columns counts; the other is not connected.", Key: keyColumns}
}

// complete looks for what is missing and settles the only temperature.
func (l *layout) complete(h *Hints) *Error {
	if l.time < 0 && l.date >= 0 && l.elapsed < 0 {
		l.time, l.date = l.date, -1 // "Date" that holds date and time; the readings tell
	}
	missing := func(what, such string) *Error {
		return &Error{Line: l.line, Found: "headings without " + what, Want: "a column such as " + such,
			Remedy: "Export the readings with this column, or ask the lead to name it in holdproof.yaml: " + keyColumns + ".", Key: keyColumns}
	}
	if l.time < 0 && l.elapsed < 0 {
		return missing("a time", "Time")
	}
	connected := 0
	for _, i := range l.temperatures {
		if l.columns[i].role != cycle.NotConnected {
			connected++
		}
	}
	if connected == 0 {
		return missing("a temperature", "Chamber temperature [°C]")
	}
	if connected > mostChannels {
		return &Error{Line: l.line, Found: fmt.Sprintf("%d columns of temperatures", connected), Want: fmt.Sprintf("at most %d", mostChannels),
			Remedy: "Export the readings of one steriliser only."}
	}
	for _, i := range l.temperatures {
		c := &l.columns[i]
		if connected == 1 && !c.configured && (c.role == cycle.Unknown || c.role == cycle.LoadProbe) {
			c.role, c.why = cycle.Chamber, "the only temperature of the file is the chamber's"
		}
	}
	return l.finish(h)
}

func (l *layout) finish(h *Hints) *Error {
	if l.pressure >= 0 {
		if err := l.reference(h); err != nil {
			return err
		}
	}
	for i, c := range l.columns {
		switch c.use {
		case useStatement, useFault, useIgnored:
			l.statements = append(l.statements, i)
		case useTime, useDate, usePressure, useTemperature, useNumber, useElapsed:
			l.needed = max(l.needed, i+1)
		}
	}
	return nil
}

// reference settles absolute or gauge by heading and configuration. Silence of
// both leaves it to the readings.
func (l *layout) reference(h *Hints) *Error {
	c := &l.columns[l.pressure]
	said := cycle.ReferenceUnsaid
	if h != nil {
		said = referenceNamed(h.Pressure)
	}
	switch {
	case said != 0 && c.ref != 0 && said != c.ref:
		return &Error{Line: l.line, Column: c.n, Found: fmt.Sprintf("%s, which says %s", quote(c.heading), c.ref),
			Want:   fmt.Sprintf("a heading that agrees with the configuration, which says pressure: %s", said),
			Remedy: "Ask the lead to correct " + keyPressure + " in holdproof.yaml: heading and configuration contradict each other.", Key: keyPressure}
	case c.ref != 0:
		c.why += "; " + c.ref.String() + " by the heading or the column's unit"
	case said != 0:
		c.ref = said
		c.why += "; " + said.String() + " by the configuration"
	default:
		c.why += "; absolute or gauge is left to the readings"
	}
	return nil
}

// at returns a copy for the same heading on another line. Readings may change the
// use of a column; that stays with one copy.
func (l *layout) at(line int) *layout {
	c := *l
	c.line, c.columns = line, slices.Clone(l.columns)
	return &c
}

// same tells whether another heading line says the same.
func (l *layout) same(cells []string) bool {
	if len(cells) != len(l.cells) {
		return false
	}
	for i, c := range cells {
		if c != l.cells[i] {
			return false
		}
	}
	return true
}
