package desk

import (
	"fmt"
	"html/template"
	"regexp"
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
		"small":    d.small,
		"plural":   plural,
		"limit":    func(v float64) string { return trim(v) },
		"list":     surgery.Alternatives,
		"join":     strings.Join,
		"address":  address,
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

// findingFigures are figure, limit and uncertainty of a finding, "" without any.
func findingFigures(f surgery.ShownFinding) string {
	if f.Measured == nil {
		return ""
	}
	low, high := f.Low, f.High
	v := surgery.AtMost(*f.Measured, 3)
	if low != nil && (high == nil || *f.Measured-*low < *high-*f.Measured) {
		v = surgery.AtLeast(*f.Measured, 3)
	}
	text := "measured " + short(v)
	switch {
	case low != nil && high != nil:
		text += fmt.Sprintf(", limits %s to %s", trim(*low), trim(*high))
	case low != nil:
		text += ", at least " + trim(*low)
	case high != nil:
		text += ", at most " + trim(*high)
	}
	if f.Uncertainty != nil {
		text += ", uncertainty " + short(surgery.AtMost(*f.Uncertainty, 3))
	}
	if f.Unit != "" {
		text += " (" + f.Unit + ")"
	}
	return text
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
