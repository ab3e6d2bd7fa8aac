package parse

import (
	"strconv"
	"strings"
	"unicode"

	"holdproof/parse/cycle"
)

// kinds maps the roles of the table to kinds of cycle. A label that says two is
// taken at the first of these.
var kinds = []struct {
	role string
	kind cycle.Kind
}{
	{"steam penetration test", cycle.PenetrationTest},
	{"air leakage test", cycle.LeakTest},
	{"control test", cycle.ControlTest},
}

// piece is a number, a word or a mark of a label.
type piece struct {
	text   string
	number bool
	value  float64
	glued  bool // no blank between it and the piece before
}

// label takes a programme label apart: numbers with the letter of their unit,
// lengths of time, and the kind of cycle by whole words of the table.
func label(text string, line int) cycle.Label {
	text = trim(text)
	if r := []rune(text); len(r) > 200 {
		text = string(r[:200])
	}
	l := cycle.Label{Text: strings.Clone(text), Line: line, Kind: kindOf(text)}
	ps := pieces(text)
	for i := 0; i < len(ps); {
		if !ps[i].number {
			i++
			continue
		}
		seconds, n := duration(ps, i)
		switch {
		case n > 0 && besideNotHolding(ps, i, i+n):
			l.Others++
		case n > 0:
			l.Durations = append(l.Durations, seconds)
		case n == 0:
			l.Numbers = append(l.Numbers, cycle.Number{Value: ps[i].value, Unit: unitLetter(ps, i+1)})
			n = 1
		}
		i += n
	}
	return l
}

// kindOf looks for a whole word that names a kind of cycle.
func kindOf(text string) cycle.Kind {
	found := map[string]bool{}
	tokens := strings.Fields(fold(text))
	for i := 0; i < len(tokens); {
		role, n := words().match(tokens, i)
		found[role] = true
		i += max(n, 1)
	}
	for _, k := range kinds {
		if found[k.role] {
			return k.kind
		}
	}
	return cycle.KindUnsaid
}

// pieces cuts a label into numbers, words and marks.
func pieces(text string) []piece {
	var ps []piece
	rs := []rune(text)
	for i := 0; i < len(rs); {
		start := i
		class := func(r rune) int {
			switch {
			case '0' <= r && r <= '9':
				return 1
			case unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.Is(unicode.Mn, r):
				return 2
			}
			return 0
		}
		switch class(rs[i]) {
		case 1:
			for i < len(rs) && (class(rs[i]) == 1 || ((rs[i] == '.' || rs[i] == ',') && i+1 < len(rs) && class(rs[i+1]) == 1)) {
				i++
			}
			digits := strings.Replace(string(rs[start:i]), ",", ".", 1)
			v, err := strconv.ParseFloat(digits, 64)
			p := piece{text: digits, number: err == nil && i-start <= 15, value: v}
			p.glued = start > 0 && class(rs[start-1]) == 2
			ps = append(ps, p)
			continue
		case 2:
			for i < len(rs) && class(rs[i]) == 2 {
				i++
			}
		default:
			i++
			if unicode.IsSpace(rs[start]) {
				continue
			}
		}
		ps = append(ps, piece{text: string(rs[start:i]), glued: start > 0 && !unicode.IsSpace(rs[start-1])})
	}
	return ps
}

// unitLetter returns C or F if the pieces from i on are the unit of a temperature.
func unitLetter(ps []piece, i int) string {
	if i < len(ps) && (ps[i].text == "°" || ps[i].text == "º" || strings.EqualFold(ps[i].text, "deg")) {
		i++
	}
	if i >= len(ps) {
		return ""
	}
	switch strings.ToLower(ps[i].text) {
	case "c", "℃", "degc", "celsius":
		return "C"
	case "f", "℉", "degf", "fahrenheit":
		return "F"
	}
	return ""
}

// duration reads a length of time that starts at a number and returns its seconds
// and how many pieces it takes, 0 if it is none: 18 min, 18', 3:30 min, 3 min 30 s.
func duration(ps []piece, i int) (seconds float64, n int) {
	if len(ps) > i+3 && ps[i+1].text == ":" && ps[i+2].number && ps[i+1].glued && timeWord(ps[i+3].text) == 60 && ps[i+2].value < 60 {
		return ps[i].value*60 + ps[i+2].value, 4
	}
	if i+1 >= len(ps) || ps[i].number && ps[i].value > 10000 {
		return 0, 0
	}
	unit := timeWord(ps[i+1].text)
	if unit == 0 || (ps[i+1].text == "s" && ps[i].value > 3600) {
		return 0, 0
	}
	seconds, n = ps[i].value*unit, 2
	if unit == 60 && i+3 < len(ps) && ps[i+2].number && timeWord(ps[i+3].text) == 1 && ps[i+2].value < 60 {
		return seconds + ps[i+2].value, 4
	}
	return seconds, n
}

// timeWord returns the seconds in a unit of time, 0 for any other word.
func timeWord(word string) float64 {
	switch word {
	case "'", "′", "’":
		return 60
	case "\"", "″", "”":
		return 1
	}
	switch words().role[fold(word)] {
	case "minutes":
		return 60
	case "seconds":
		return 1
	}
	return 0
}

// besideNotHolding tells whether a word for drying, cooling or pulses stands
// directly before the pieces from..to, or directly behind them and not before
// another number.
func besideNotHolding(ps []piece, from, to int) bool {
	if from > 0 {
		k := from - 1
		for k > 0 && !ps[k].number && fold(ps[k].text) == "" {
			k--
		}
		if notHolding(ps[k].text) {
			return true
		}
	}
	to = pastMarks(ps, to)
	if to == len(ps) || !notHolding(ps[to].text) {
		return false
	}
	next := pastMarks(ps, to+1)
	return next == len(ps) || !ps[next].number
}

// pastMarks returns the first number or word from i on.
func pastMarks(ps []piece, i int) int {
	for i < len(ps) && !ps[i].number && fold(ps[i].text) == "" {
		i++
	}
	return i
}

func notHolding(word string) bool { return words().role[fold(word)] == "not holding" }
