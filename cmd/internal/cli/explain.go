package cli

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// explanation is the long form: how each export was understood and every check. It
// is as long as there are cycles, so it waits in a spool.
type explanation struct {
	spool surgery.Spool
	page  *page
}

func newExplanation(like *page) *explanation {
	e := &explanation{}
	p := *like
	p.out = bufio.NewWriterSize(&e.spool, 64<<10)
	e.page = &p
	return e
}

func (e *explanation) Close() error { return e.spool.Close() }

func (e *explanation) copyTo(p *page) error {
	if err := e.page.flush(); err != nil {
		return err
	}
	r, err := e.spool.Reader()
	if err != nil {
		return err
	}
	_, err = io.Copy(p.out, r)
	return err
}

// file says how an export was understood.
func (e *explanation) file(f surgery.FileRead) {
	p := e.page
	p.line(span{"  How " + f.Name + " was understood", strong})
	p.gap()
	for _, l := range f.Reading() {
		p.para("    ", l, plain)
	}
	p.gap()
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
	if v.Programme.Name != "" {
		p.para("    ", fmt.Sprintf("Programme %s (%s): %s to %s °C for %s s. %s; band: %s. For %s.", v.Programme.Name, v.ProgrammeBy,
			short(float64(v.Programme.Sterilising)), short(float64(v.Programme.Sterilising)+v.Programme.Band), short(v.Programme.Hold),
			sourceOf(v.Programme.Source.Text, v.Programme.Source.Sure.String()),
			sourceOf(v.Programme.BandSource.Text, v.Programme.BandSource.Sure.String()), v.Programme.Machines), plain)
		p.gap()
	}
	for _, f := range v.Findings {
		e.finding(f)
	}
	for _, r := range v.Remarks {
		p.para("    ", "Remark: "+r, plain)
	}
	for _, l := range v.Limitations {
		p.para("    ", "Limitation: "+l, plain)
	}
	if m := v.Measured; m.F0.Known {
		p.para("    ", "F0 "+strconv.FormatFloat(m.F0.Value, 'f', 1, 64)+" min (Tref 121.1 °C, z 10 K), for information only.", plain)
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
	add("measured", f.Measured, func(v float64) string { return surgery.Rounded(f, v) })
	add("at least", f.Low, short)
	add("at most", f.High, short)
	add("uncertainty", f.Uncertainty, func(v float64) string { return surgery.AtMost(v, 3) })
	if f.At.Known {
		at := "at " + short(f.At.Value) + " s"
		if f.Line > 0 {
			at += fmt.Sprintf(" (line %d)", f.Line)
		}
		parts = append(parts, at)
	}
	return strings.Join(parts, ", ")
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func sourceOf(text, sure string) string { return text + " (" + sure + ")" }
