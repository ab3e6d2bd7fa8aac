package surgery

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"holdproof/parse"
	"holdproof/report/daily"
	"holdproof/report/figure"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/pdf"
	"holdproof/validate"
)

// judged lays out the cycles of the day as they were judged, with the figures that
// their kept readings give and the exports they were read from.
func (b *dayBuilder) judged() error {
	b.parts = pdf.Parts{Figures: map[string]figure.Cycle{}, Sources: map[string][]byte{}}
	var err error
	if b.period, err = b.r.across(b.ctx, b.v, b.day.Date, b.day.Date); err != nil {
		return err
	}
	if err := b.sources(); err != nil {
		return err
	}
	var drawn []string // files whose cycles have their figures
	for _, c := range b.cycles {
		if from := c.Verdict.Sources[0]; c.Readings > 0 && !slices.Contains(drawn, from.SHA256) {
			drawn = append(drawn, from.SHA256)
			if err := b.figures(from); err != nil {
				return err
			}
		}
		out, err := b.cycle(c)
		if err != nil {
			return err
		}
		b.day.Cycles = append(b.day.Cycles, out)
	}
	return nil
}

// sources gathers the exports: those of the day's cycles, and those that came in that
// day and could not be read in full.
func (b *dayBuilder) sources() error {
	var files []entry.Source
	for _, c := range b.cycles {
		files = append(files, c.Verdict.Sources...)
	}
	came, err := logbook.Find[entry.Import](b.ctx, b.v, logbook.Filter{From: b.day.Date, To: b.day.Date})
	if err != nil {
		return err
	}
	for _, i := range came {
		files = append(files, entry.Source{SHA256: i.Said.SHA256, File: i.Said.File})
	}
	for _, f := range files {
		if err := b.source(f); err != nil {
			return err
		}
	}
	return nil
}

// source attaches an export, once.
func (b *dayBuilder) source(f entry.Source) error {
	if _, there := b.parts.Sources[f.SHA256]; there {
		return nil
	}
	in, err := b.v.Original(b.ctx, f.SHA256)
	if err != nil {
		return err
	}
	data, err := io.ReadAll(in)
	if err = errors.Join(err, in.Close()); err != nil {
		return fmt.Errorf("%s: %w", f.File, err)
	}
	b.parts.Sources[f.SHA256] = data
	out := daily.Source{Name: f.File, SHA256: f.SHA256, Bytes: int64(len(data))}
	imports, err := logbook.Find[entry.Import](b.ctx, b.v, logbook.Filter{Subject: f.SHA256})
	if err != nil {
		return err
	}
	for _, i := range imports {
		b.clockRemark(i.Said)
		if out.Problems != nil {
			continue
		}
		var problems []keptProblem
		if err := json.Unmarshal(i.Said.Problems, &problems); err != nil {
			return fmt.Errorf("problems of %s: %w", f.File, err)
		}
		for _, p := range problems {
			text := p.Message
			if p.Line > 0 {
				text = fmt.Sprintf("line %d: %s", p.Line, text)
			}
			out.Problems = append(out.Problems, text)
		}
	}
	b.day.Sources = append(b.day.Sources, out)
	return nil
}

// clockRemark says what the import showed of the recorder's clock.
func (b *dayBuilder) clockRemark(i entry.Import) {
	if i.RecorderAheadS != nil {
		b.remark("%s: the recorder's clock was at least %s s ahead of this computer's when it was imported", i.File, validate.AtLeast(*i.RecorderAheadS, 0))
	}
}

func (b *dayBuilder) remark(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !slices.Contains(b.day.Remarks, text) {
		b.day.Remarks = append(b.day.Remarks, text)
	}
}

// figures reads an export again, one cycle at a time, and keeps what the figures of
// the day's cycles are drawn from. A cycle that comes out otherwise today than its
// verdict says has no figure, and a remark says so: the record shows the verdict, and
// a figure beside it must be of the same.
func (b *dayBuilder) figures(from entry.Source) error {
	wanted := map[int64]logbook.Cycle{}
	for _, c := range b.cycles {
		if s := c.Verdict.Sources[0]; s.SHA256 == from.SHA256 {
			wanted[s.FirstLine] = c
		}
	}
	in, err := parse.Open(from.File, bytes.NewReader(b.parts.Sources[from.SHA256]), b.r.bench.options)
	if err != nil {
		b.undrawn(wanted, "its export cannot be read under today's settings")
		return nil
	}
	for len(wanted) > 0 {
		got, err := in.Next()
		if err != nil {
			break
		}
		c, is := wanted[int64(got.Header.Source.FirstLine)]
		if !is || got.Record == nil {
			continue
		}
		delete(wanted, int64(got.Header.Source.FirstLine))
		j := b.r.bench.judge(from.File, got)
		now, err := b.r.verdictOn(j)
		if err != nil {
			return err
		}
		if what := differences(now, *c.Verdict); len(what) > 0 {
			b.undrawn(map[int64]logbook.Cycle{0: c}, "read today, it comes out otherwise ("+strings.Join(what, ", ")+"); see holdproof rejudge")
			continue
		}
		b.parts.Figures[c.Key] = b.r.drawable(j)
	}
	b.undrawn(wanted, "it is not found in its export under today's settings; see holdproof rejudge")
	return nil
}

// undrawn says of which cycles there is no figure, and why.
func (b *dayBuilder) undrawn(cycles map[int64]logbook.Cycle, why string) {
	var names []string
	for _, c := range cycles {
		names = append(names, b.r.nameOf(c))
	}
	slices.Sort(names)
	for _, name := range names {
		b.remark("no figure of %s: %s", name, why)
	}
}

// cycle is a kept cycle as the record has it.
func (b *dayBuilder) cycle(c logbook.Cycle) (daily.Cycle, error) {
	m, found, err := said(c.Verdict)
	if err != nil {
		return daily.Cycle{}, err
	}
	out := daily.Cycle{ID: c.Key, Steriliser: c.Steriliser, Number: c.Number, Start: b.at(c.Start.Time), Kind: c.Kind,
		Programme: c.Programme, ProgrammeBy: m.ProgrammeBy, Outcome: c.Outcome, Instruction: c.Instruction,
		Measured: m.Measured, Remarks: m.Remarks, Limitations: m.Limitations}
	drawn, is := b.parts.Figures[c.Key]
	var flags []int
	if is {
		flags = figure.Flags(drawn.Verdict)
		if slices.Contains(b.period.Again, c.Key) {
			out.Instruction = validate.Instruct(drawn.Verdict, true).Sentence
		}
	}
	for i, f := range found {
		d := f.day()
		if i < len(flags) {
			d.Flag = flags[i]
		}
		out.Findings = append(out.Findings, d)
	}
	for _, s := range c.Verdict.Sources {
		out.Sources = append(out.Sources, daily.Span{File: s.File, SHA256: s.SHA256, FirstLine: int(s.FirstLine), LastLine: int(s.LastLine)})
	}
	if c.Configuration != b.r.sum {
		b.remark("%s was judged with the settings whose SHA-256 begins with %s, not with those in force", b.r.nameOf(c), c.Configuration[:min(12, len(c.Configuration))])
	}
	out.Load, err = b.load(c)
	return out, err
}

// load is what was entered at the machine about what stood in the chamber.
func (b *dayBuilder) load(c logbook.Cycle) (daily.Load, error) {
	if c.ReleaseEntry == 0 {
		return daily.Load{}, nil
	}
	rows, err := logbook.Find[entry.Release](b.ctx, b.v, logbook.Filter{Entry: c.ReleaseEntry})
	if err != nil || len(rows) == 0 {
		return daily.Load{}, err
	}
	l := rows[0].Said.Load
	out := daily.Load{Contents: l.Contents, Packing: l.Wrapping, By: b.who(l.Loaded)}
	if l.Number != "" {
		out.Contents = strings.TrimSpace("load " + l.Number + " " + out.Contents)
	}
	if l.Count != nil {
		out.Packs = int(*l.Count)
	}
	return out, nil
}
