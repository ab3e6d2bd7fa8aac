package pdf

import (
	"time"

	"holdproof/report/daily"
	"holdproof/report/figure"
)

// driftHigh is the height of a chart in mm.
const driftHigh = 44.0

// drift says what moves slowly, each with its chart; what does not is a quiet line.
func (r *record) drift() {
	if len(r.d.Drift) == 0 {
		return
	}
	if r.d.Drift[0].Moves() { // what moves stands first: its heading does not stand alone
		r.room(driftHigh + 34)
	}
	r.heading("What moves slowly")
	for _, x := range r.d.Drift {
		if !x.Moves() {
			continue
		}
		r.room(driftHigh + 22)
		r.para(left, column, x.Name+": "+sentence(x.Says), strong)
		r.para(left, column, x.ToDo, text)
		r.y += 1
		figure.DrawTrend(r, trendOf(x), figure.Box{X: left, Y: r.y, W: column, H: driftHigh})
		r.y += driftHigh + 1
		r.para(left, column, x.What+", "+x.Unit+". Pace "+sentence(x.Pace), note)
		r.y += 2
	}
	for _, x := range r.d.Drift {
		if !x.Moves() {
			r.para(left, column, sentence(x.Says), note)
		}
	}
	r.para(left, column, "From cycles that conform, up to the end of the day. No replacement for calibration or tests.", note)
}

// trendOf is the chart of a row. Times that cannot be read were refused before.
func trendOf(x daily.Drift) figure.Trend {
	at := func(text string) time.Time {
		t, _ := time.Parse(time.RFC3339, text)
		return t
	}
	out := figure.Trend{Name: x.Name, Quantity: x.What, Unit: x.Unit, Digits: x.Digits, Limits: x.Limits, Since: -1, Says: x.Says}
	if x.Centre != nil && x.Low != nil && x.High != nil {
		out.Centre, out.Low, out.High = *x.Centre, *x.Low, *x.High
	}
	since := at(x.Since)
	for i, m := range x.Marks {
		mark := figure.TrendMark{From: at(m.From), To: at(m.To), Low: m.Low, High: m.High, Mean: m.Mean, Cycles: m.Cycles}
		if out.Since < 0 && !mark.To.Before(since) {
			out.Since = i
		}
		out.Marks = append(out.Marks, mark)
	}
	return out
}
