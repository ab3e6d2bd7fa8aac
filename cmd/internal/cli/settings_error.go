package cli

import (
	"bytes"
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// spot is where a value of the configuration stands: a line, or a variable.
type spot struct {
	line     int
	variable string
}

type settingsProblem struct {
	spot
	surgery.Fault
}

// settingsError is what in a configuration cannot be, by line.
type settingsError struct {
	file  string
	lines int // of the file
	list  []settingsProblem
}

// maxProblems of one file are printed (ours): the rest usually follow from the first.
const maxProblems = 10

func (e *settingsError) add(at spot, f surgery.Fault) {
	at.line = min(max(at.line, 1), max(e.lines, 1))
	e.list = append(e.list, settingsProblem{at, f})
}

func (e *settingsError) sorted() *settingsError {
	slices.SortStableFunc(e.list, func(a, b settingsProblem) int { return cmp.Compare(a.line, b.line) })
	return e
}

// Error names file, line and key of each problem, and what to do.
func (e *settingsError) Error() string {
	var out []string
	for i, p := range e.list {
		if i == maxProblems {
			out = append(out, fmt.Sprintf("and %d more", len(e.list)-i))
			break
		}
		at := fmt.Sprintf("%s:%d", e.file, p.line)
		if p.variable != "" {
			at = p.variable
		}
		if p.Key != "" {
			at += ": " + p.Key
		}
		out = append(out, fmt.Sprintf("%s: found %s, expected %s\n  %s", at, p.Found, p.Want, p.Remedy))
	}
	return strings.Join(out, "\n")
}

var lineOf = regexp.MustCompile(`line ([0-9]+)`)

// syntaxError puts the complaint of the YAML reader into the one form of all errors.
func syntaxError(file string, src []byte, err error) *settingsError {
	e := &settingsError{file: file, lines: lines(src)}
	line, found := 1, strings.TrimPrefix(err.Error(), "yaml: ")
	if m := lineOf.FindStringSubmatch(found); m != nil {
		line, _ = strconv.Atoi(m[1])
		found = strings.TrimPrefix(found, m[0]+": ")
	}
	found = strings.TrimPrefix(strings.Join(strings.Fields(found), " "), "found ")
	e.add(spot{line: line}, surgery.Fault{Found: found, Want: "YAML: a key, a colon, a value; what belongs to a key two spaces further in",
		Remedy: "Look at the indentation, the colons and the quotes of this line and its neighbours."})
	return e
}

// lines counts the lines of a file, at least 1.
func lines(src []byte) int {
	n := bytes.Count(src, []byte("\n"))
	if len(src) == 0 || src[len(src)-1] != '\n' {
		n++
	}
	return n
}
