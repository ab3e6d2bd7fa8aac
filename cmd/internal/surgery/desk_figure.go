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
	if c.Readings == 0 {
		return Drawn{Missing: "The record has no readings to draw."}, nil
	}
	from := c.Verdict.Sources[0]
	src, err := r.original(ctx, v, from.SHA256)
	if err != nil {
		return Drawn{}, err
	}
	defer src.Close()
	in, err := parse.Open(from.File, src, r.bench.options)
	if err != nil {
		return Drawn{Missing: "The export cannot be read under today's settings."}, nil
	}
	for {
		got, err := in.Next()
		if errors.Is(err, io.EOF) || err != nil {
			return Drawn{Missing: "The cycle is not found in its export under today's settings."}, nil
		}
		if got.Record == nil || int64(got.Header.Source.FirstLine) != from.FirstLine {
			continue
		}
		j := r.bench.judge(from.File, got)
		now, err := r.verdictOn(j)
		if err != nil {
			return Drawn{}, err
		}
		if what := differences(now, *c.Verdict); len(what) > 0 {
			return Drawn{Missing: fmt.Sprintf("No figure: read under today's settings, the record comes out otherwise (%s). The lead judges it again.", strings.Join(what, ", "))}, nil
		}
		return Drawn{Cycle: picture.Cycle{Record: j.Record, Verdict: j.Verdict,
			Absolute: validate.AbsolutePressure(j.Record, r.bench.machineOf(j.Header).rules.Site)}}, nil
	}
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
