package parse

import (
	"strings"

	"holdproof/parse/cycle"
)

// longestHeading is the longest heading that is looked at, in bytes; longer ones
// are texts, and taking them apart would cost the square of their length.
const longestHeading = 200

// use is what a column is for. The zero value is a column that is kept for the
// words of a recorder's fault and otherwise ignored.
type use int

const (
	useIgnored use = iota
	useTime
	useDate
	useElapsed
	useTemperature
	usePressure
	useNumber
	useProgramme
	useStatement
	useFault
	useSteriliser
)

// useNames are the words of `is:` in the configuration, in the order they are
// offered. The roles of temperatures are those of the vocabulary.
var useNames = []struct {
	name string
	use  use
	role cycle.Role
}{
	{cycle.Chamber.String(), useTemperature, cycle.Chamber},
	{cycle.Drain.String(), useTemperature, cycle.Drain},
	{cycle.LoadProbe.String(), useTemperature, cycle.LoadProbe},
	{cycle.Other.String(), useTemperature, cycle.Other},
	{cycle.NotConnected.String(), useTemperature, cycle.NotConnected},
	{"pressure", usePressure, 0},
	{"time", useTime, 0},
	{"date", useDate, 0},
	{"elapsed", useElapsed, 0},
	{"cycle number", useNumber, 0},
	{"programme", useProgramme, 0},
	{"recorder statement", useStatement, 0},
	{"steriliser", useSteriliser, 0},
	{"ignored", useIgnored, 0},
}

// column is one column of a heading line, understood.
type column struct {
	n          int // from 1
	heading    string
	use        use
	role       cycle.Role
	unit       unit
	ref        cycle.Reference
	pattern    string // of times: mm:ss, hh:mm:ss; of dates: dmy, mdy, ymd
	bare       bool   // a temperature of which the heading names no place
	doubtful   bool   // a pressure whose heading holds words nobody knows
	cycleWord  bool   // Cycle alone: the number or the programme, the values tell
	configured bool
	why        string
}

// name returns what the column is, in the words of the configuration.
func (c column) name() string {
	if c.use == useTemperature {
		return c.role.String()
	}
	if c.use == useFault {
		return "recorder statement (faults)"
	}
	for _, u := range useNames {
		if u.use == c.use {
			return u.name
		}
	}
	return ""
}

// parts is a heading taken apart.
type parts struct {
	unit    unit
	ref     cycle.Reference
	roles   map[string]bool
	unknown int  // words that no table knows
	coded   bool // letters with digits, such as X7
	digits  bool // a number of more than two digits
}

func (p parts) has(roles ...string) bool {
	for _, r := range roles {
		if p.roles[r] {
			return true
		}
	}
	return false
}

// takeApart finds the unit, the reference and the roles of the words of a heading.
func takeApart(heading string) parts {
	p := parts{roles: map[string]bool{}}
	rest := p.takeUnit(heading)
	tokens := strings.Fields(fold(strings.ReplaceAll(rest, "_", " ")))
	for i := 0; i < len(tokens); {
		if ref := longReference(tokens[i]); ref != 0 {
			p.ref = ref
			i++
			continue
		}
		role, n := words().match(tokens, i)
		if n == 0 {
			p.word(tokens[i])
			n = 1
		} else {
			p.roles[role] = true
		}
		i += n
	}
	if p.unknown > 0 && !p.coded {
		p.camel(rest)
	}
	return p
}

// longReference returns what absolute or gauge written out says; the short
// letters count behind a unit only.
func longReference(token string) cycle.Reference {
	if len(token) < 3 {
		return 0
	}
	return referenceOf(token)
}

// word takes one word that is no phrase of the table: a compound, a word with a
// number behind it, or nothing known.
func (p *parts) word(token string) {
	base := strings.TrimRight(token, "0123456789")
	switch {
	case base == "":
		p.digits = p.digits || len(token) > 2
		return
	case base != token:
		if role, ok := words().role[base]; ok {
			p.roles[role] = true
			return
		}
		p.coded = true
	}
	first, second, ok := words().compound(base)
	if !ok {
		// A single letter, or a few with a number behind, tell sensors apart: A, PT1.
		if tag := len(token) == 1 || (base != token && len(base) <= 3); !tag {
			p.unknown++
		}
		return
	}
	for _, role := range []string{first, second} {
		switch role {
		case "absolute":
			p.ref = cycle.Absolute
		case "gauge":
			p.ref = cycle.Gauge
		}
		p.roles[role] = true
	}
}

// camel tries again with a blank before inner capitals: ChamberTemp.
func (p *parts) camel(rest string) {
	split := uncamel(rest)
	if split == rest {
		return
	}
	again := takeApart(split)
	if again.unknown < p.unknown {
		again.unit, again.ref = p.unit, max(p.ref, again.ref)
		*p = again
	}
}

// takeUnit finds the unit of a heading, in brackets first, else wherever a
// spelling stands that means nothing else, else a short one at the end, and
// returns the heading without it.
func (p *parts) takeUnit(heading string) string {
	for at := 0; at < len(heading); {
		open := strings.IndexAny(heading[at:], "[({<")
		if open < 0 {
			break
		}
		open += at
		length := strings.IndexAny(heading[open:], "])}>")
		if length < 0 {
			length = len(heading) - open
		}
		inside := heading[open+1 : open+length]
		end := min(open+length+1, len(heading))
		if tokens := strings.Fields(fold(inside)); len(tokens) > 0 {
			if u, n, ref := units().at(tokens, 0); n > 0 && u.quantity != "reference" && p.accepts(u) {
				p.unit, p.ref = u, ref
				return heading[:open] + " " + strings.Join(tokens[n:], " ") + " " + heading[end:]
			}
		}
		at = open + 1
	}
	return p.looseUnit(heading)
}

// accepts tells whether a unit may replace what was found before: °C and kPa win
// over a time in the same heading.
func (p *parts) accepts(u unit) bool { return p.unit.name == "" || u.quantity != "time" }

// looseUnit finds a unit that stands in no brackets.
func (p *parts) looseUnit(heading string) string {
	tokens := strings.Fields(fold(strings.ReplaceAll(heading, "_", " ")))
	for i := range tokens {
		u, n, ref := units().at(tokens, i)
		if n == 0 || u.quantity == "reference" {
			continue
		}
		if u.short && (i+n != len(tokens) || i == 0) {
			continue
		}
		before := append(append([]string{}, tokens[:i]...), tokens[i+n:]...)
		if u.short && !agrees(before, u.quantity) {
			continue
		}
		// psi (abs): what the reference stands in does not matter.
		if ref == 0 && u.quantity == "pressure" && i+n < len(tokens) {
			ref = referenceOf(tokens[i+n])
		}
		p.unit, p.ref = u, ref
		return strings.Join(before, " ")
	}
	return heading
}

// agrees tells whether one of the words is of the quantity that a short unit needs.
func agrees(tokens []string, quantity string) bool {
	for i := range tokens {
		role, _ := words().match(tokens, i)
		switch {
		case role == quantity, quantity == "time" && role == "elapsed",
			quantity == "temperature" && (role == "chamber" || role == "load" || role == "drain"):
			return true
		}
		if first, second, ok := words().compound(tokens[i]); ok && (first == quantity || second == quantity) {
			return true
		}
	}
	return false
}

// understand says what a column is by its heading alone.
func understand(n int, heading string) column {
	c := column{n: n, heading: strings.Join(strings.Fields(heading), " ")}
	if c.heading == "" || len(heading) > longestHeading {
		return c
	}
	p := takeApart(heading)
	c.unit, c.ref = p.unit, p.ref
	switch q := p.unit.quantity; {
	case q == "temperature", q == "" && p.has("temperature") && !p.has("pressure"):
		c.temperature(p)
	case q == "pressure", q == "" && p.has("pressure") && !p.has("temperature"):
		c.pressure(p)
	case p.has("fault"):
		c.use, c.why = useFault, "a word for faults"
	case p.unknown > 0 || p.digits:
	case q == "date":
		c.use, c.pattern, c.why = useDate, p.unit.name, "the pattern of a date"
		if p.has("time") {
			c.use = useTime
		}
	case p.has("start", "end", "other"):
	case q == "time" || p.has("time", "date", "elapsed"):
		c.times(p)
	default:
		c.text(p)
	}
	return c
}

func (c *column) temperature(p parts) {
	c.use, c.role = useTemperature, cycle.Unknown
	places := 0
	for _, place := range []struct {
		word string
		role cycle.Role
	}{{"load", cycle.LoadProbe}, {"load or cycle number", cycle.LoadProbe}, {"chamber", cycle.Chamber}, {"drain", cycle.Drain}} {
		if p.has(place.word) {
			c.role = place.role
			places++
		}
	}
	// The drain of the chamber is the drain; a load in the chamber is nobody's guess.
	if places > 1 && !(places == 2 && p.has("chamber") && p.has("drain")) {
		c.role = cycle.Unknown
	}
	if p.has("other") {
		c.role = cycle.Other
	} else if p.unknown > 0 || p.digits || p.has("earlier", "start", "end", "fault", "phase", "note") {
		c.role = cycle.Unknown
	}
	c.bare = places == 0 && c.role == cycle.Unknown
	c.why = "words of the heading"
	if c.role == cycle.Unknown {
		c.why = "a temperature of which the heading names no known place"
	}
}

func (c *column) pressure(p parts) {
	if p.has("other", "load", "drain", "start", "end", "earlier") {
		c.why = "a pressure, but not the chamber's"
		return
	}
	c.use, c.why = usePressure, "words of the heading"
	c.doubtful = p.unknown > 0 || p.digits
}

func (c *column) times(p parts) {
	c.pattern = ""
	if p.unit.quantity == "time" {
		c.pattern = p.unit.name
	}
	switch {
	case p.has("elapsed"), c.pattern == "s", c.pattern == "min", c.pattern == "h", c.pattern == "ms", c.pattern == "mm:ss":
		c.use = useElapsed
	case p.has("date") && !p.has("time"):
		c.use = useDate
	default:
		c.use = useTime
	}
	c.why = "words of the heading"
}

func (c *column) text(p parts) {
	for _, t := range []struct {
		role string
		use  use
	}{
		{"serial", useSteriliser}, {"cycle number", useNumber}, {"load or cycle number", useNumber}, {"programme", useProgramme},
		{"result", useStatement}, {"cycle", useNumber}, {"steriliser", useSteriliser},
	} {
		if p.has(t.role) && !p.has("phase", "earlier") {
			c.use, c.why = t.use, "words of the heading"
			c.cycleWord = t.role == "cycle"
			return
		}
	}
}
