package parse

import (
	"strings"

	"holdproof/parse/cycle"
)

// key is what a line `key: value` before the readings is about.
type key int

const (
	keyNone    key = iota // no key of the table
	keyIgnored            // site, operator, software: known, and of no use here
	keyLate               // end, duration: known, and never before the readings
	keyResult
	keyFault
	keySteriliser
	keySerial
	keyNumber
	keyProgramme
	keyDate
	keyTime
	keyStart
)

// opens tells whether a line with this key belongs to the cycle that follows it.
func (k key) opens() bool { return k == keyIgnored || k >= keySteriliser }

// keyOf reads a line of the form key: value, key;value, key,value or with a tab.
func keyOf(cells []string, delimiter string) (key, string) {
	first := trim(cells[0])
	if first == "" || len(first) > 1000 || startsLikeReading(first) {
		return keyNone, ""
	}
	if name, value, ok := strings.Cut(first, ":"); ok {
		value = strings.TrimSpace(strings.Join(append([]string{value}, cells[1:]...), delimiter))
		value = strings.TrimRight(value, delimiter+" ")
		k := keyNamed(name, value)
		if len(cells) == 1 && (k == keyNone || valueBefore(name)) {
			if other, rest := otherDelimiter(first); other != keyNone {
				return other, rest
			}
		}
		if k != keyNone || len(cells) == 1 {
			return k, value
		}
	}
	rest := cells[1:]
	for len(rest) > 0 && trim(rest[len(rest)-1]) == "" {
		rest = rest[:len(rest)-1]
	}
	if len(rest) == 0 {
		return otherDelimiter(first)
	}
	value := trim(strings.Join(rest, delimiter))
	return keyNamed(first, value), value
}

// valueBefore tells whether the value begins before the colon: Start,08:14:03.
func valueBefore(name string) bool {
	i := strings.LastIndexAny(name, "\t;,")
	return i >= 0 && startsLikeReading(name[i+1:])
}

// otherDelimiter reads a line whose delimiter is not that of the table.
func otherDelimiter(line string) (key, string) {
	for _, d := range []string{"\t", ";", ","} {
		if name, value, ok := strings.Cut(line, d); ok {
			value = trim(strings.TrimRight(value, d))
			if k := keyNamed(name, value); k != keyNone && value != "" {
				return k, value
			}
		}
	}
	return keyNone, ""
}

// keyNamed finds the key that a name stands for. A name with an unknown word or a
// number is no key: "Fault 12: 0" is a line that says fault.
func keyNamed(name, value string) key {
	if len(name) > longestHeading {
		return keyNone
	}
	p := takeApart(name)
	switch {
	case p.has("fault") && p.has("earlier"):
		return keyIgnored
	case p.unknown > 0 || p.digits || len(p.roles) == 0:
		return keyNone
	case p.has("fault") && len(p.roles) == 1 && !strings.ContainsAny(name, "0123456789"):
		return keyFault
	case p.has("fault"): // Aborted at step: the whole line speaks
		return keyNone
	case p.has("end", "elapsed"):
		return keyLate
	case p.has("earlier", "phase", "other", "temperature", "pressure"):
		return keyIgnored
	case p.has("result"):
		return keyResult
	case p.has("serial"):
		return keySerial
	case p.has("cycle number"), p.has("load or cycle number") && !p.has("start") && strings.ContainsAny(value, "0123456789"):
		return keyNumber
	case p.has("programme") && p.has("negation"): // Programme No: the name says more
		return keyIgnored
	case p.has("programme"):
		return keyProgramme
	case p.has("start"), p.has("date") && p.has("time"):
		return keyStart
	case p.has("note"):
		return keyIgnored
	case p.has("date"):
		return keyDate
	case p.has("time"):
		return keyTime
	case p.has("cycle"):
		return cycleKey(value)
	case p.has("steriliser"):
		return keySteriliser
	}
	return keyNone
}

// cycleKey tells whether "Cycle" names the number or the programme, by its value.
func cycleKey(value string) key {
	if strings.ContainsAny(value, "0123456789") && !strings.ContainsAny(value, " °") && unitLetter(pieces(value), 1) == "" {
		return keyNumber
	}
	return keyProgramme
}

// preambleLine is a line before a heading.
type preambleLine struct {
	line  int
	cells []string
	first int // index of the first cell in its line
}

// block is what stands before a heading: of the cycles under it.
type block struct {
	steriliser string // as written; the serial number if no name is written
	serial     string
	number     string
	programme  string
	progLine   int
	date       int64 // days since 1970-01-01
	hasDate    bool
	dateErr    *Error
	clock      int64 // of the start, since midnight
	hasClock   bool
	zone       int64 // nanoseconds to add for UTC
	fixed      bool  // the start was written with an offset
	statements []cycle.Statement
}

// newBlock reads the lines before a heading.
func newBlock(lines []preambleLine, t *timeReader, delimiter string) block {
	var b block
	for _, l := range lines {
		k, value := keyOf(l.cells, delimiter)
		b.take(k, strings.Clone(value), l, t, delimiter)
		// Serial No;0417;Cycle No;73: more pairs on one line.
		if len(l.cells) >= 4 && len(l.cells)%2 == 0 && k > keyFault {
			b.pairs(l, t, delimiter)
		}
	}
	return b
}

func (b *block) pairs(l preambleLine, t *timeReader, delimiter string) {
	for i := 2; i+1 < len(l.cells); i += 2 {
		if trim(l.cells[i]) == "" || strings.Contains(l.cells[0], ":") {
			return
		}
		if keyNamed(l.cells[i], trim(l.cells[i+1])) == keyNone {
			return
		}
	}
	for i := 0; i+1 < len(l.cells); i += 2 {
		value := trim(l.cells[i+1])
		b.take(keyNamed(l.cells[i], value), strings.Clone(value), preambleLine{l.line, l.cells[i : i+2], i}, t, delimiter)
	}
}

func (b *block) take(k key, value string, l preambleLine, t *timeReader, delimiter string) {
	switch k {
	case keySteriliser:
		b.steriliser = value
	case keySerial:
		b.serial = value
	case keyNumber:
		b.number = value
	case keyProgramme:
		b.programme, b.progLine = value, l.line
	case keyDate, keyTime, keyStart:
		b.start(value, l, t)
	case keyResult, keyFault, keyNone:
		if s, ok := lineStatement(k, value, l, delimiter); ok && (k != keyNone || s.Says == cycle.SaysFault) {
			b.statements = append(b.statements, s)
		}
	}
}

// start reads date, time of day, or both, in either order: 11.03.2026 / 08:14:03.
func (b *block) start(value string, l preambleLine, t *timeReader) {
	whole := value
	for i := range value {
		if i > 0 && value[i-1] != ' ' && value[i-1] != ',' {
			continue
		}
		if _, n := namedDate(value[i:]); n > 0 { // 2 Nov 2026, which has blanks in it
			b.day(value[i:i+n], whole, l, t)
			value = value[:i] + value[i+n:]
			break
		}
	}
	fields := strings.FieldsFunc(value, func(r rune) bool { return r == ' ' || r == ',' || r == ';' || r == '\t' || r == '\n' || r == '\u00a0' })
	for i := 0; i < len(fields); i++ {
		f := fields[i]
		if d, c := splitStamp(f); c != "" && d != f { // 2026-03-11T08:14:03
			b.day(d, whole, l, t)
			f = c
		}
		if i+1 < len(fields) {
			if _, h := half(f + fields[i+1]); h != 0 {
				f += fields[i+1]
			}
		}
		if !strings.Contains(f, ":") {
			b.day(f, whole, l, t)
			continue
		}
		rest, east, fixed := offset(f)
		if ns, _, ok := clock(rest); ok {
			b.clock, b.hasClock, b.fixed, b.zone = ns, true, fixed, -int64(east)*second
		}
	}
}

// day reads the date of the start.
func (b *block) day(text, value string, l preambleLine, t *timeReader) {
	d, ok, err := t.day(text)
	switch {
	case err != nil:
		b.dateErr = err.at(l.line, 1, quote(value))
		if !strings.Contains(l.cells[0], ":") {
			b.dateErr.Column = l.first + 2
		}
	case ok:
		b.date, b.hasDate, b.dateErr = d, true, nil
	}
}

// at returns the error with a place and what was found there.
func (e *Error) at(line, column int, found string) *Error {
	c := *e
	c.Line, c.Column = line, column
	if c.Found == "" {
		c.Found = found
	}
	return &c
}

// lineStatement reads a line before or after the readings as a statement of the
// recorder. Unknown is true to the record: a line that the table does not know.
func lineStatement(k key, value string, l preambleLine, delimiter string) (cycle.Statement, bool) {
	whole := strings.TrimRight(strings.Join(l.cells, delimiter), delimiter+" \t\n")
	s := cycle.Statement{Line: l.line, Text: strings.Clone(shorten(trim(whole)))}
	if fold(s.Text) == "" {
		return s, false
	}
	switch k {
	case keyFault:
		s.Says = cycle.SaysCompleted
		if faultValue(value) {
			s.Says = cycle.SaysFault
		}
	case keyResult:
		s.Says, _ = says(value)
	default:
		s.Says, _ = says(whole)
	}
	return s, true
}

func shorten(text string) string {
	if r := []rune(text); len(r) > 200 {
		return string(r[:200]) + "…"
	}
	return text
}
