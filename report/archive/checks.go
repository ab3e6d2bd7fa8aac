package archive

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"holdproof/report/daily"
	"holdproof/validate"
)

// dayPage is what the template of a day is given.
type dayPage struct {
	DayPage
	Style template.CSS
	Cited []Cited
}

// Cited is where a limit stands, and how sure that is. A page lists each once, since every
// cycle of a day is held to the same.
type Cited struct{ Source, Sure string }

// citedBy lists the sources of the findings of a day in the order of its cycles.
func citedBy(d daily.Day) []Cited {
	var out []Cited
	for _, c := range d.InOrder() {
		for _, f := range c.Findings {
			if s := (Cited{f.Source, f.Sure}); s.Source != "" && !slices.Contains(out, s) {
				out = append(out, s)
			}
		}
	}
	return out
}

// worstFirst is the order in which checks stand.
var worstFirst = []validate.Outcome{validate.Failed, validate.NotProven, validate.Borderline, validate.Conforms, validate.NotAssessed}

// Checks writes every check of a cycle, the worst first: what was found, what it was held
// to, how wrong the figure may be, and the number of the source under Cited. It is written
// by hand since a template takes ten times as long; every text passes HTMLEscapeString.
func (p dayPage) Checks(c daily.Cycle) template.HTML {
	list := slices.Clone(c.Findings)
	slices.SortStableFunc(list, func(x, y daily.Finding) int {
		return cmp.Compare(slices.Index(worstFirst, x.Result()), slices.Index(worstFirst, y.Result()))
	})
	var b strings.Builder
	b.WriteString(`<ul class="findings">`)
	for _, f := range list {
		b.WriteString("\n<li>" + string(mark(f.Result())) + " " + template.HTMLEscapeString(sentence(capital(f.Message))) +
			` <span class="small">` + template.HTMLEscapeString(held(f)))
		if n := slices.Index(p.Cited, Cited{f.Source, f.Sure}) + 1; n > 0 {
			fmt.Fprintf(&b, ` <a href="#source-%d">Source %d</a>`, n, n)
		}
		b.WriteString("</span></li>")
	}
	b.WriteString("</ul>")
	return template.HTML(b.String())
}

// held says in figures what a check came to: holding-time: conforms. Found 214.6 s, at
// least 180 s, uncertainty 3.6 s.
func held(f daily.Finding) string {
	var parts []string
	if f.Measured != nil {
		parts = append(parts, "found "+found(f))
	}
	switch {
	case f.Low != nil && f.High != nil:
		parts = append(parts, "limits "+figureText(*f.Low)+" to "+withUnit(figureText(*f.High), f.Unit))
	case f.Low != nil:
		parts = append(parts, "at least "+withUnit(figureText(*f.Low), f.Unit))
	case f.High != nil:
		parts = append(parts, "at most "+withUnit(figureText(*f.High), f.Unit))
	}
	if f.Uncertainty != nil {
		parts = append(parts, "uncertainty "+withUnit(validate.AtMost(*f.Uncertainty, digits(f.Unit)), f.Unit))
	}
	text := f.Check + ": " + f.Outcome + "."
	if len(parts) > 0 {
		text += " " + capital(strings.Join(parts, ", ")) + "."
	}
	return text
}

// found is the figure, rounded away from what would look better: towards the limit that is
// nearer.
func found(f daily.Finding) string {
	x := *f.Measured
	if f.Unit == "" {
		return figureText(x) // so many pulses, gaps
	}
	up := f.High != nil && (f.Low == nil || *f.High-x < x-*f.Low)
	if up {
		return withUnit(validate.AtMost(x, digits(f.Unit)), f.Unit)
	}
	return withUnit(validate.AtLeast(x, digits(f.Unit)), f.Unit)
}

// digits after the point that people are shown (ours): one, and three for a leak rate.
func digits(unit string) int {
	if unit == "kPa/min" {
		return 3
	}
	return 1
}

// figureText writes a limit as short as it is, without what a sum of binary fractions
// leaves behind the ninth decimal.
func figureText(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e9)/1e9+0, 'f', -1, 64)
}

func withUnit(figure, unit string) string { return strings.TrimSpace(figure + " " + unit) }
