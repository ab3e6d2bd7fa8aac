package cli

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func driftCommand(w World, at *common) *cobra.Command {
	var steriliser string
	var asJSON bool
	c := &cobra.Command{
		Use:   "drift",
		Short: "What moves slowly over the cycles that conform",
		Long: "Lays control charts over the cycles that conform, for each machine and programme: the\n" +
			"reference temperature against the steam temperature, the equilibration time and, of\n" +
			"air leakage tests, the leak rate decide; the mean of the plateau, the heating time and\n" +
			"the time to vacuum are drawn. What was learned of a machine begins anew with an entry\n" +
			"of a passed validation or of an engineer's visit that owes a test. Of the first 20\n" +
			"cycles since nothing is said. The exit code is 1 while something moves.",
		Example: "holdproof drift --steriliser S1",
		Args:    needs(0, 0, "no argument"),
	}
	configFlag(c, at)
	c.Flags().StringVar(&steriliser, "steriliser", "", "only this machine")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, _ []string) error { return driftShown(c.Context(), w, at, steriliser, asJSON) }
	return c
}

func driftShown(ctx context.Context, w World, at *common, steriliser string, asJSON bool) error {
	r, done, err := lookAtRecords(ctx, w, at)
	if err != nil {
		return err
	}
	defer done()
	d, err := r.Drift(ctx, steriliser)
	if err != nil {
		return err
	}
	if asJSON {
		err = driftJSON(w, r, d)
	} else {
		err = writeDrift(newPage(w, w.Stdout), d)
	}
	if err == nil && len(d.Moving()) > 0 {
		return status(exitFound)
	}
	return err
}

// writeDrift says first what moves, then in quiet lines what does not.
func writeDrift(p *page, d surgery.Drift) error {
	p.gap()
	moving := d.Moving()
	for _, c := range moving {
		p.para("  ", c.Name()+": "+d.Says(c)+".", strong)
		p.para("     ", c.ToDo(), plain)
		p.para("     ", "Pace "+d.Pace(c)+".", plain)
		p.chart(c, d)
		p.gap()
	}
	if len(moving) == 0 {
		p.line(span{"  Nothing moves.", strong})
		p.gap()
	}
	for _, l := range d.Quiet() {
		p.para("  ", sentence(l), plain)
	}
	p.gap()
	p.para("  ", surgery.DriftLimits, plain)
	p.para("  ", "From cycles that conform, under their limits. No replacement for validation, calibration or tests.", plain)
	return p.flush()
}

// chartRows is the height of a chart on a terminal, so that one signal with its words
// fits on 24 lines.
const chartRows = 6

// chart draws what moves: a column for each group of cycles, its mean as a dot; the mean
// of the baseline and the limit are lines.
func (p *page) chart(c surgery.DriftChart, d surgery.Drift) {
	const room = 13 // left of the chart, for figures
	drawn := d.Drawn(c, min(p.width-room-4, 60))
	if len(drawn.Marks) == 0 {
		return
	}
	dot, centre, limit := "•", "─", "┄"
	if p.ascii {
		dot, centre, limit = "*", "-", "."
	}
	lo, hi := drawn.Range()
	row := func(v float64) int {
		return min(chartRows-1, max(0, int((hi-v)/(hi-lo)*(chartRows-1)+0.5)))
	}
	lines := map[int]string{row(c.Centre): centre}
	labels := map[int]string{row(c.Centre): drawn.Figure(c.Centre)}
	for _, l := range drawn.Limits {
		lines[row(l)], labels[row(l)] = limit, "limit "+drawn.Figure(l)
	}
	for y := range chartRows {
		under := lines[y]
		if under == "" {
			under = " "
		}
		var b strings.Builder
		for _, m := range drawn.Marks {
			if row(m.Mean) == y {
				b.WriteString(dot)
			} else {
				b.WriteString(under)
			}
		}
		p.line(span{strings.TrimRight(fmt.Sprintf("  %*s  %s", room-2, labels[y], b.String()), " "), plain})
	}
	from, to := d.Day(drawn.Marks[0].From), d.Day(drawn.Marks[len(drawn.Marks)-1].To)
	pad := max(1, len(drawn.Marks)-len(from)-len(to))
	p.line(span{strings.Repeat(" ", room+2) + from + strings.Repeat(" ", pad) + to + "   " + c.Unit(), plain})
}

type driftSignalJSON struct {
	Direction   string   `json:"direction"`
	Since       string   `json:"since"`
	Cycle       string   `json:"cycle"`
	Signalled   string   `json:"signalled"`
	Moved       float64  `json:"moved"`
	Pace        float64  `json:"pace_per_week"`
	Uncertainty float64  `json:"pace_uncertainty"`
	Limit       *float64 `json:"limit"`
	Left        *float64 `json:"left"`
	Reached     *string  `json:"reached"`
	Earliest    *string  `json:"earliest"`
	Latest      *string  `json:"latest"`
}

type driftChartJSON struct {
	Steriliser string           `json:"steriliser"`
	Programme  *string          `json:"programme"` // null for leak tests
	Quantity   *string          `json:"quantity"`  // null where no cycle has come
	Unit       *string          `json:"unit"`
	Decides    bool             `json:"decides"`
	Standing   string           `json:"standing"`
	Cycles     int              `json:"cycles"`
	Since      *string          `json:"since"` // the entry that the chart begins with
	Because    *string          `json:"because"`
	Baseline   int              `json:"baseline"`
	Centre     *float64         `json:"centre"`
	Sigma      *float64         `json:"sigma"`
	Low        *float64         `json:"low"`
	High       *float64         `json:"high"`
	Says       string           `json:"says"`
	Signal     *driftSignalJSON `json:"signal"`
}

func driftJSON(w World, r *surgery.Records, d surgery.Drift) error {
	at := func(t time.Time) *string {
		if t.IsZero() {
			return nil
		}
		text := t.In(r.Zone()).Format(time.RFC3339)
		return &text
	}
	charts := []driftChartJSON{}
	for _, c := range d.Charts {
		o := driftChartJSON{Steriliser: c.Steriliser, Programme: textOrNull(c.Programme), Quantity: textOrNull(c.Field()), Unit: textOrNull(c.Unit()), Decides: c.Decides,
			Standing: string(c.Standing), Cycles: len(c.Points), Since: at(c.From), Because: textOrNull(c.Because), Baseline: c.Baseline, Says: d.Says(c)}
		if c.Baseline > 0 {
			o.Centre, o.Sigma, o.Low, o.High = &c.Centre, &c.Sigma, &c.Low, &c.High
		}
		if s := c.Signal; c.Standing == surgery.DriftMoves {
			since, first := c.Points[s.Since], c.Points[s.First]
			o.Signal = &driftSignalJSON{Direction: "down", Since: *at(since.At), Cycle: since.Cycle, Signalled: *at(first.At), Moved: s.Moved, Pace: s.Pace,
				Uncertainty: s.PaceU, Limit: plainFigure(s.Limit), Reached: at(s.Reached), Earliest: at(s.Earliest), Latest: at(s.Latest)}
			if s.Up {
				o.Signal.Direction = "up"
			}
			if s.Limit != nil {
				o.Signal.Left = plainFigure(&s.Left)
			}
		}
		charts = append(charts, o)
	}
	return writeJSON(w.Stdout, map[string]any{"holdproof": surgery.Version, "charts": charts})
}

// plainFigure leaves out of a figure what binary sums leave behind its ninth digit.
func plainFigure(x *float64) *float64 {
	if x == nil {
		return nil
	}
	y := math.Round(*x*1e9) / 1e9
	return &y
}
