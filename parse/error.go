package parse

import (
	"fmt"
	"strconv"
)

// Error is a place in an export, what is there, what a good one looks like, and
// one thing to do.
type Error struct {
	File   string
	Line   int    // from 1; 0 where the whole file is meant
	Column int    // from 1, counts cells; 0 where the whole line is meant
	Found  string // as it stands in the file, shortened
	Want   string // such as `a number such as 134.2`
	Remedy string // a sentence
	Key    string // of holdproof.yaml that would settle it, "" if none would
}

// Error returns the one-line form: no capital, no full stop.
func (e *Error) Error() string {
	at := e.File
	if e.Line > 0 {
		at = fmt.Sprintf("%s:%d", at, e.Line)
		if e.Column > 0 {
			at = fmt.Sprintf("%s:%d", at, e.Column)
		}
	}
	return fmt.Sprintf("%s: found %s, expected %s", at, e.Found, e.Want)
}

// quote shortens what stands in a file to what fits in a sentence.
func quote(text string) string {
	if text == "" {
		return "nothing"
	}
	const most = 40
	if r := []rune(text); len(r) > most {
		text = string(r[:most]) + "…"
	}
	return strconv.Quote(text)
}
