package parse

import (
	"strings"

	"holdproof/parse/cycle"
)

// says returns what a text of the recorder amounts to, by whole words of the table.
//
// A word for a fault is not counted after no or without, nor if it is followed
// only by 0, none, no, ok or -, nor in a line that says last, since, previous or
// total; heard is then true all the same if anything of the table was said.
func says(text string) (s cycle.Says, heard bool) {
	tokens := statementWords(text)
	fault, done, past := false, false, false
	before := ""
	for i := 0; i < len(tokens); {
		role, n := words().match(tokens, i)
		if n == 0 {
			n = 1
			if first, second, ok := words().compound(tokens[i]); ok && (first == "fault" || second == "fault") {
				role = "fault"
			}
		}
		switch role {
		case "fault":
			heard = true
			fault = fault || (before != "negation" && !onlyNothing(tokens[i+n:]))
		case "completed":
			heard = true
			done = done || before != "negation"
		case "earlier":
			past = true
		}
		before = role
		i += n
	}
	switch {
	case past:
		return cycle.SaysUnknown, heard
	case fault:
		return cycle.SaysFault, true
	case done, heard:
		return cycle.SaysCompleted, true
	}
	return cycle.SaysUnknown, false
}

// statementWords folds a text and keeps a dash that stands for nothing.
func statementWords(text string) []string {
	if len(text) > 2000 {
		text = strings.ToValidUTF8(text[:2000], "")
	}
	fields := strings.FieldsFunc(text, func(r rune) bool {
		return r == ' ' || r == ':' || r == ';' || r == '=' || r == ',' || r == '\t' || r == '\n'
	})
	for i, f := range fields {
		if strings.Trim(f, "-–—") == "" {
			fields[i] = "nil"
		}
	}
	return strings.Fields(fold(strings.Join(fields, " ")))
}

// onlyNothing tells whether there is something and all of it says that there is
// nothing: 0, none, no, ok, -.
func onlyNothing(tokens []string) bool {
	for i := 0; i < len(tokens); {
		role, n := words().match(tokens, i)
		switch {
		case role == "nothing", role == "negation", tokens[i] == "ok":
		case strings.Trim(tokens[i], "0") == "":
			n = 1
		default:
			return false
		}
		i += n
	}
	return len(tokens) > 0
}

// faultValue tells whether a value under a heading for faults is one: anything
// but blank, 0, none, no, ok or -.
func faultValue(value string) bool {
	tokens := statementWords(value)
	return len(tokens) > 0 && !onlyNothing(tokens) || len(tokens) == 0 && strings.Trim(value, " -–—.\t\n") != ""
}

// cellSays returns what the cell of a column amounts to.
func cellSays(c column, value string) (cycle.Says, bool) {
	if c.use == useFault {
		if faultValue(value) {
			return cycle.SaysFault, true
		}
		return cycle.SaysCompleted, trim(value) != ""
	}
	if startsLikeReading(value) && len(value) < 12 {
		return cycle.SaysUnknown, false
	}
	s, heard := says(value)
	if c.use == useStatement {
		return s, heard
	}
	return s, s == cycle.SaysFault
}
