package cli

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// explanation is the long form: how each export was understood, then every check. It
// is as long as there are cycles, so it waits in spools: what was understood is known
// after the last cycle of a file and stands before the first.
type explanation struct {
	like   *page
	whole  surgery.Spool
	checks *surgery.Spool // of the file that is being read
	page   *page          // before checks
}

func newExplanation(like *page) *explanation {
	e := &explanation{like: like}
	e.begin()
	return e
}

func (e *explanation) begin() {
	e.checks = &surgery.Spool{}
	e.page = e.like.onto(e.checks)
}

func (e *explanation) Close() error { return errors.Join(e.whole.Close(), e.checks.Close()) }

func (e *explanation) copyTo(p *page) error {
	r, err := e.whole.Reader()
	if err != nil {
		return err
	}
	_, err = io.Copy(p.out, r)
	return err
}

// file says how an export was understood, before the checks of its cycles.
func (e *explanation) file(f surgery.FileRead) error {
	p := e.like.onto(&e.whole)
	p.line(span{"  How " + f.Name + " was understood", strong})
	p.gap()
	for _, l := range f.Reading() {
		p.para("    ", l, plain)
	}
	p.gap()
	if err := e.page.flush(); err != nil {
		return err
	}
	r, err := e.checks.Reader()
	if err != nil {
		return err
	}
	if _, err := io.Copy(p.out, r); err != nil {
		return err
	}
	if err := errors.Join(p.flush(), e.checks.Close()); err != nil {
		return err
	}
	e.begin()
	return nil
}

// cycle prints every check with figure, limit, uncertainty, source and certainty.
func (e *explanation) cycle(j surgery.Judged) {
	p := e.page
	v := j.Verdict
	p.line(span{"  Every check of " + who(j), strong}, span{" · " + about(j), plain})
	if place := j.Header.Source; place.FirstLine > 0 {
		p.line(span{fmt.Sprintf("  %s, lines %d to %d", j.File, place.FirstLine, place.LastLine), plain})
	}
	p.gap()
	e.programme(j)
	for _, f := range v.Findings {
		e.finding(f)
	}
	p.gap()
	for _, r := range j.Remarks() {
		p.para("    ", "Remark: "+r+".", plain)
	}
	for _, l := range j.Limitations() {
		p.para("    ", "Limitation: "+l+".", plain)
	}
	if m := v.Measured; m.F0.Known {
		p.para("    ", "F0 "+strconv.FormatFloat(m.F0.Value, 'f', 1, 64)+" min (Tref 121.1 °C, z 10 K), for information only.", plain)
	}
	p.gap()
}

// programme says what the cycle was held to and where that is from.
func (e *explanation) programme(j surgery.Judged) {
	g := j.Verdict.Programme
	if g.Name == "" {
		return
	}
	p := e.page
	p.para("    ", fmt.Sprintf("Programme %s (%s): %s to %s °C for %s s.", g.Name, j.Verdict.ProgrammeBy,
		short(float64(g.Sterilising)), short(float64(g.Sterilising)+g.Band), short(g.Hold)), plain)
	p.para("    ", "Temperature and time: "+sourceOf(g.Source.Text, g.Source.Sure.String())+".", plain)
	p.para("    ", "Band: "+sourceOf(g.BandSource.Text, g.BandSource.Sure.String())+".", plain)
	if g.Machines != "" {
		p.para("    ", "Machines: "+g.Machines+".", plain)
	}
	if g.Differs != "" {
		p.para("    ", "Other sources: "+g.Differs+".", plain)
	}
	p.gap()
}

func (e *explanation) finding(f surgery.Finding) {
	p := e.page
	m := p.mark(f.Outcome)
	p.line(span{"  ", plain}, m, span{"  " + f.Check + ": ", plain}, span{f.Outcome.String(), m.style})
	room := p.under(m, 0)
	p.para(room, sentence(f.Message), plain)
	if text := figures(f); text != "" {
		p.para(room, text, plain)
	}
	if f.Source.Text != "" {
		p.para(room, sourceOf(f.Source.Text, f.Source.Sure.String()), plain)
	}
	if f.Remedy != "" {
		p.para(room, f.Remedy, plain)
	}
}

// figures are what was measured, the limits and the uncertainty. What was measured
// is rounded so that it never flatters.
func figures(f surgery.Finding) string {
	var parts []string
	add := func(word string, x surgery.Figure, text func(float64) string) {
		if x.Known {
			parts = append(parts, strings.TrimSpace(word+" "+text(x.Value)+" "+f.Unit))
		}
	}
	add("measured", f.Measured, func(v float64) string { return trimmed(surgery.Rounded(f, v)) })
	add("at least", f.Low, short)
	add("at most", f.High, short)
	add("uncertainty", f.Uncertainty, func(v float64) string { return trimmed(surgery.AtMost(v, 3)) })
	if f.At.Known {
		at := "at " + short(f.At.Value) + " s"
		if f.Line > 0 {
			at += fmt.Sprintf(" (line %d)", f.Line)
		}
		parts = append(parts, at)
	}
	return strings.Join(parts, ", ")
}

// trimmed takes away digits that were not measured.
func trimmed(text string) string {
	if !strings.Contains(text, ".") {
		return text
	}
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func sourceOf(text, sure string) string { return text + " (" + sure + ")" }
