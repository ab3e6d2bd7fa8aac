package surgery

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"holdproof/parse"
	"holdproof/parse/cycle"
	picture "holdproof/report/figure"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
	"holdproof/validate/steam"
)

// Drawn is what the figure of a kept cycle is drawn from.
type Drawn struct {
	picture.Cycle
	Missing string // why there is no figure, a sentence; "" if there is
}

// Drawn reads the record of a kept cycle again. Where it comes out otherwise today than
// its verdict says there is no figure: one beside a verdict must be of the same.
//
// Errors: [ErrNotKept]; the bytes are damaged.
func (r *Records) Drawn(ctx context.Context, key string) (Drawn, error) {
	var out Drawn
	err := r.book.Read(ctx, func(v *logbook.View) error {
		list, err := v.Cycles(ctx, logbook.CycleFilter{Key: key, Renamed: true, Verdicts: true})
		if err != nil {
			return err
		}
		if len(list) == 0 {
			return ErrNotKept
		}
		out, err = r.drawn(ctx, v, list[0])
		return err
	})
	return out, err
}

func (r *Records) drawn(ctx context.Context, v *logbook.View, c logbook.Cycle) (Drawn, error) {
	var out Drawn
	err := r.drawnOf(ctx, v, []logbook.Cycle{c}, func(_ string, d Drawn) { out = d })
	return out, err
}

// DrawnAll is [Records.Drawn] of many cycles: each file is read once, however many of them
// it holds. A key that is not kept is passed over.
func (r *Records) DrawnAll(ctx context.Context, keys []string, give func(key string, d Drawn)) error {
	return r.book.Read(ctx, func(v *logbook.View) error {
		var cycles []logbook.Cycle
		for _, key := range keys {
			list, err := v.Cycles(ctx, logbook.CycleFilter{Key: key, Renamed: true, Verdicts: true})
			if err != nil {
				return err
			}
			cycles = append(cycles, list...)
		}
		return r.drawnOf(ctx, v, cycles, give)
	})
}

// drawnOf reads the files of cycles, each up to the last of them that it holds.
func (r *Records) drawnOf(ctx context.Context, v *logbook.View, cycles []logbook.Cycle, give func(key string, d Drawn)) error {
	wanted := map[string]map[int64]logbook.Cycle{} // by file, by first line
	var files []entry.Source
	for _, c := range cycles {
		if c.Readings == 0 {
			give(c.Key, Drawn{Missing: "The record has no readings to draw."})
			continue
		}
		from := c.Verdict.Sources[0]
		if wanted[from.SHA256] == nil {
			wanted[from.SHA256] = map[int64]logbook.Cycle{}
			files = append(files, from)
		}
		wanted[from.SHA256][from.FirstLine] = c
	}
	for _, from := range files {
		if err := r.drawnFrom(ctx, v, from, wanted[from.SHA256], give); err != nil {
			return err
		}
	}
	return nil
}

// drawnFrom reads one file until it met all that is wanted of it.
func (r *Records) drawnFrom(ctx context.Context, v *logbook.View, from entry.Source, wanted map[int64]logbook.Cycle, give func(key string, d Drawn)) error {
	src, err := r.original(ctx, v, from.SHA256)
	if err != nil {
		return err
	}
	defer src.Close()
	missing := func(why string) {
		for _, c := range wanted {
			give(c.Key, Drawn{Missing: why})
		}
	}
	in, err := parse.Open(from.File, src, r.bench.options)
	if err != nil {
		missing("The export cannot be read under today's settings.")
		return nil
	}
	for len(wanted) > 0 {
		got, err := in.Next()
		if errors.Is(err, io.EOF) || err != nil {
			missing("The cycle is not found in its export under today's settings.")
			return nil
		}
		c, is := wanted[int64(got.Header.Source.FirstLine)]
		if got.Record == nil || !is {
			continue
		}
		delete(wanted, int64(got.Header.Source.FirstLine))
		d, err := r.drawnAs(r.bench.judge(from.File, got), c)
		if err != nil {
			return err
		}
		give(c.Key, d)
	}
	return nil
}

// drawnAs is what was read, unless it comes out otherwise than the verdict says.
func (r *Records) drawnAs(j Judged, c logbook.Cycle) (Drawn, error) {
	now, err := r.verdictOn(j)
	if err != nil {
		return Drawn{}, err
	}
	if what := differences(now, *c.Verdict); len(what) > 0 {
		return Drawn{Missing: fmt.Sprintf("No figure: read under today's settings, the record comes out otherwise (%s). The lead judges it again.", strings.Join(what, ", "))}, nil
	}
	return Drawn{Cycle: r.drawable(j)}, nil
}

// Readout is the readings of a cycle for a pointer on its figure. A value that is not
// there is null.
type Readout struct {
	Seconds []float64    `json:"seconds"` // since the first reading
	Lines   []ReadoutRow `json:"lines"`
}

// ReadoutRow is one quantity, a value a reading.
type ReadoutRow struct {
	Name   string     `json:"name"`
	Unit   string     `json:"unit"`
	Values []*float64 `json:"values"`
}

// Readout lays out what was drawn, rounded to the 0.01 that a screen shows at most.
func (d Drawn) Readout() Readout {
	var out Readout
	if d.Record == nil {
		return out
	}
	read := d.Record.Readings()
	out.Seconds = read.Seconds
	for _, c := range read.Channels {
		if c.Role == cycle.NotConnected {
			continue
		}
		row := ReadoutRow{Name: c.Heading, Unit: "°C"}
		if name := c.Role.String(); name != "" && c.Role.Judged() {
			row.Name = name
		}
		for _, t := range c.Celsius {
			row.Values = append(row.Values, shownFigure(float64(t)))
		}
		out.Lines = append(out.Lines, row)
	}
	if read.Pressure == nil {
		return out
	}
	values, unit := read.Pressure.KPa, "kPa as recorded"
	if len(d.Absolute) == len(read.Seconds) {
		values, unit = d.Absolute, "kPa absolute"
		vapour := ReadoutRow{Name: "steam from pressure", Unit: "°C"}
		for _, p := range values {
			t := math.NaN()
			if p > 110 {
				t = float64(steam.Celsius(cycle.Kilopascal(p)))
			}
			vapour.Values = append(vapour.Values, shownFigure(t))
		}
		out.Lines = append(out.Lines, vapour)
	}
	row := ReadoutRow{Name: "pressure", Unit: unit}
	for _, p := range values {
		row.Values = append(row.Values, shownFigure(p))
	}
	out.Lines = append(out.Lines, row)
	return out
}

func shownFigure(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = math.Round(v*100) / 100
	return &v
}

// LimitRow is a programme of the limits in force, as a page shows it.
type LimitRow struct {
	Name             string
	Low, High        float64 // °C
	HoldS            float64
	Source, Sure     string
	BandSource       string
	BandSure         string
	Machines, Differ string
}

// LimitRows are the limits in force.
func (r *Records) LimitRows() []LimitRow {
	var out []LimitRow
	for _, p := range r.settings.Value.limitSet().Programmes {
		out = append(out, LimitRow{Name: p.Name, Low: float64(p.Sterilising), High: float64(p.Sterilising) + p.Band, HoldS: p.Hold,
			Source: p.Source.Text, Sure: p.Source.Sure.String(), BandSource: p.BandSource.Text, BandSure: p.BandSource.Sure.String(),
			Machines: p.Machines, Differ: p.Differs})
	}
	return out
}

// CheckWords are the checks that a list of findings holds, each with what it asks for.
func CheckWords(findings []string) map[string]string {
	out := map[string]string{}
	for _, name := range slices.Compact(slices.Sorted(slices.Values(findings))) {
		if text := validate.Requirement(name); text != "" {
			out[name] = text
		}
	}
	return out
}
