package cli

import (
	"fmt"
	"path/filepath"
	"strings"
	"unicode"

	"holdproof/cmd/internal/surgery"
)

// who names a cycle as people do, S1 · 1042; one that says neither, by its file.
func who(j surgery.Judged) string {
	s, n := j.Header.Steriliser, j.Header.Number
	switch {
	case s != "" && n != "":
		return s + " · " + n
	case s != "":
		return s
	case n != "":
		return n
	}
	return filepath.Base(j.File)
}

// about says when, what kind and, of a load, which programme.
func about(j surgery.Judged) string {
	parts := []string{j.Header.Start.Format("2 Jan 2006 15:04")}
	if kind := j.Verdict.Kind.String(); kind != "" {
		parts = append(parts, kind)
	}
	if name := j.Verdict.Programme.Name; name != "" && !j.Test() {
		parts = append(parts, name)
	}
	return strings.Join(parts, " · ")
}

// result is the one figure of a cycle that conforms, rounded so that it never flatters.
func result(j surgery.Judged) string {
	m := j.Verdict.Measured
	switch {
	case m.Leak.Known:
		return "leak " + surgery.AtMost(m.Leak.Value, 3) + " kPa/min"
	case m.Hold.Known:
		return "held " + lasting(m.Hold.Value)
	}
	return j.Outcome().String()
}

// lasting writes a length of time in whole seconds, never rounded up: 3 min 34 s.
func lasting(seconds float64) string {
	n := int(seconds + 1e-9)
	if n < 60 {
		return fmt.Sprintf("%d s", n)
	}
	if n%60 == 0 {
		return fmt.Sprintf("%d min", n/60)
	}
	return fmt.Sprintf("%d min %d s", n/60, n%60)
}

// reasons are the messages of the findings that made the outcome.
func reasons(j surgery.Judged) []string {
	var out []string
	more := 0
	for _, f := range j.Verdict.Findings {
		switch {
		case f.Outcome != j.Outcome():
		case len(out) == maxReasons:
			more++
		default:
			out = append(out, f.Message)
		}
	}
	if more > 0 {
		out = append(out, fmt.Sprintf("and %d more, see --explain", more))
	}
	return out
}

// sentence gives a message its capital and its full stop.
func sentence(text string) string {
	if text == "" {
		return text
	}
	text = sentenceCase(text)
	if strings.HasSuffix(text, ".") || strings.HasSuffix(text, "?") {
		return text
	}
	return text + "."
}

// sentenceCase gives a text its capital, unless it begins with a name such as pH or F0.
func sentenceCase(text string) string {
	first := []rune(text)
	if len(first) < 2 || !unicode.IsLower(first[1]) && first[1] != ' ' {
		return text
	}
	return strings.ToUpper(string(first[0])) + string(first[1:])
}

// several joins names, at most ten of them.
func several(names []string) string {
	if len(names) > 10 {
		return strings.Join(names[:10], ", ") + fmt.Sprintf(" and %d more", len(names)-10)
	}
	return surgery.Alternatives(names)
}
