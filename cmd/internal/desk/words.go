package desk

import (
	"fmt"
	"html/template"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"holdproof/cmd/internal/surgery"
	"holdproof/report/figure"
)

// words are what templates can say.
func (d *Desk) words() template.FuncMap {
	marks := map[surgery.Outcome]template.HTML{}
	for _, o := range []surgery.Outcome{surgery.NotProven, surgery.Conforms, surgery.Borderline, surgery.Failed, surgery.NotAssessed} {
		marks[o] = template.HTML(figure.MarkSVG(o, 3)) // our own drawing; no text of a user is in it
	}
	return template.FuncMap{
		"asset":    func(name string) string { return "/assets/" + d.assets[name].name },
		"mark":     func(o surgery.Outcome) template.HTML { return marks[o] },
		"needs":    func(o surgery.Outcome) bool { return o != surgery.Conforms && o != surgery.NotAssessed },
		"failed":   func(o surgery.Outcome) bool { return o == surgery.Failed },
		"sentence": sentence,
		"capital":  capital,
		"day":      dayWords,
		"clock":    func(t time.Time) string { return t.Format("15:04") },
		"acted":    actedAt,
		"moment":   func(t time.Time) string { return t.In(d.records.Zone()).Format("2 Jan 2006 15:04") },
		"iso":      func(t time.Time) string { return t.Format(time.RFC3339) },
		"stamp":    d.stamp,
		"row":      rowOf,
		"unflag":   unflagged,
		"lasting":  lasting,
		"held":     held,
		"margin":   margin,
		"figures":  findingFigures,
		"checked":  func(check string) string { return capital(strings.ReplaceAll(check, "-", " ")) },
		"small":    d.small,
		"once":     once, "plural": plural,
		"limit":   func(v float64) string { return trim(v) },
		"list":    surgery.Alternatives,
		"join":    strings.Join,
		"address": address,
	}
}

var (
	flagAside = regexp.MustCompile(`\s*\(--[a-z-]+\)`)
	flagTail  = regexp.MustCompile(`[;,][^;,]*--[a-z-]+[^;,]*`)
)

// unflagged leaves out of a text of the help what only helps at a terminal.
func unflagged(text string) string {
	return flagTail.ReplaceAllString(flagAside.ReplaceAllString(text, ""), "")
}

// stamp writes a time of a record as people do; what is no time stays as it is.
func (d *Desk) stamp(text string) string {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return text
	}
	return t.In(d.records.Zone()).Format("2 Jan 15:04")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// dayWords writes a date as people do: Mon 2 Nov 2026.
func dayWords(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.Format("2 Jan 2006")
}

// lasting writes a length of time in whole seconds, never rounded up: 3 min 34 s.
func lasting(seconds float64) string {
	n := int(seconds + 1e-9)
	switch {
	case n < 60:
		return fmt.Sprintf("%d s", n)
	case n%60 == 0:
		return fmt.Sprintf("%d min", n/60)
	}
	return fmt.Sprintf("%d min %d s", n/60, n%60)
}

// held is the one figure of a cycle: how long it held, or how much it leaked.
func held(s surgery.Shown) string {
	switch m := s.Figures; {
	case m.Leak != nil:
		return "leak " + surgery.AtMost(*m.Leak, 3) + " kPa/min"
	case m.Hold != nil:
		return "held " + lasting(*m.Hold)
	}
	return "no figure"
}

// margin is how far that figure is from its limit, never rounded to look better.
func margin(s surgery.Shown) string {
	for _, f := range s.Findings {
		switch {
		case f.Measured == nil:
		case f.Check == "holding-time" && f.Low != nil:
			if over := *f.Measured - *f.Low; over >= 0 {
				return lasting(over) + " to spare"
			} else {
				return lasting(-over+0.999999) + " short"
			}
		case f.Check == "air-leakage" && f.High != nil:
			if *f.Measured > *f.High {
				return surgery.AtMost(*f.Measured-*f.High, 3) + " over the limit"
			}
			return "limit " + trim(*f.High)
		}
	}
	return ""
}

// digitsOf is how many digits after the point a figure of that unit has for people.
var digitsOf = map[string]int{"s": 1, "°C": 1, "K": 1, "kPa": 1, "kPa/min": 3}

// findingFigures are figure, limit and uncertainty of a finding, "" without any. They have
// the digits that people read and their messages have, more only where these would hide on which side of a
// limit the figure lies. Rounding never looks better than what was measured.
func findingFigures(f surgery.ShownFinding) string {
	if f.Measured == nil {
		return ""
	}
	digits, known := digitsOf[f.Unit]
	if !known {
		digits = 3
	}
	for digits < 3 && !tells(f, digits) {
		digits++
	}
	unit := f.Unit
	if unit != "" {
		unit = " " + unit
	}
	v, u := rounded(f, digits)
	text := "measured " + v + unit
	switch {
	case f.Low != nil && f.High != nil:
		text += fmt.Sprintf(", limits %s to %s", trim(*f.Low), trim(*f.High))
	case f.Low != nil:
		text += ", at least " + trim(*f.Low)
	case f.High != nil:
		text += ", at most " + trim(*f.High)
	}
	if u != "" {
		text += ", uncertainty " + u + unit
	}
	return text
}

// rounded are a figure and its uncertainty, towards the limit that is nearer,
// down where there is none.
func rounded(f surgery.ShownFinding, digits int) (v, u string) {
	v = surgery.AtMost(*f.Measured, digits)
	if f.High == nil || f.Low != nil && *f.Measured-*f.Low < *f.High-*f.Measured {
		v = surgery.AtLeast(*f.Measured, digits)
	}
	if f.Uncertainty != nil {
		u = short(surgery.AtMost(*f.Uncertainty, digits))
	}
	return short(v), u
}

// tells whether a figure rounded so lies where the figure lies: within its limits or not,
// by itself and with its uncertainty.
func tells(f surgery.ShownFinding, digits int) bool {
	v, u := rounded(f, digits)
	m, err := strconv.ParseFloat(v, 64)
	if err != nil {
		return false
	}
	by, real := 0.0, 0.0
	if f.Uncertainty != nil {
		real = *f.Uncertainty
		if by, err = strconv.ParseFloat(u, 64); err != nil {
			return false
		}
	}
	within := func(x, by float64) bool {
		return (f.Low == nil || x-by >= *f.Low) && (f.High == nil || x+by <= *f.High)
	}
	return within(m, 0) == within(*f.Measured, 0) && within(m, by) == within(*f.Measured, real)
}

func trim(v float64) string { return short(fmt.Sprintf("%.3f", v)) }

// short leaves out the zeros that end a decimal.
func short(s string) string {
	if !strings.Contains(s, ".") {
		return s
	}
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// sentence gives a message its capital and its full stop.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = capital(text)
	if strings.HasSuffix(text, ".") || strings.HasSuffix(text, "?") {
		return text
	}
	return text + "."
}

// capital gives a text its capital, unless it begins with a name such as pH or F0.
func capital(text string) string {
	first := []rune(text)
	if len(first) < 2 || !unicode.IsLower(first[0]) || !unicode.IsLower(first[1]) && first[1] != ' ' {
		return text
	}
	return string(unicode.ToUpper(first[0])) + string(first[1:])
}

// actedAt is when something was done about a cycle: the time of day, and the date where it
// is not that of the cycle.
func actedAt(began, at time.Time) string {
	if began.Format(time.DateOnly) == at.Format(time.DateOnly) {
		return at.Format("15:04")
	}
	return at.Format("2 Jan 2006, 15:04")
}
