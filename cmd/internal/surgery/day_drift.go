package surgery

import (
	"slices"
	"time"

	"holdproof/report/daily"
)

// recordGroups is how many groups of cycles a chart of a day record shows at most.
const recordGroups = 80

// drift says what moves slowly, by the cycles up to the end of the day. Of a machine
// without a cycle that conforms it says nothing.
func (b *dayBuilder) drift() error {
	d, err := b.r.drift(b.ctx, b.v, b.day.Date)
	if err != nil {
		return err
	}
	d.Charts = slices.DeleteFunc(slices.Clone(d.Charts), func(c DriftChart) bool { return c.Standing == DriftNone })
	for _, c := range d.Moving() {
		b.day.Drift = append(b.day.Drift, d.row(c))
	}
	for _, line := range d.Quiet() {
		b.day.Drift = append(b.day.Drift, daily.Drift{State: "still", Says: line})
	}
	return nil
}

// row is a chart that moves, as a day record holds it.
func (d Drift) row(c DriftChart) daily.Drift {
	drawn := d.Drawn(c, recordGroups)
	out := daily.Drift{Name: c.Name(), State: "moves", Says: d.Says(c), ToDo: c.ToDo(), What: c.Quantity(), Quantity: c.Field(), Unit: c.Unit(), Digits: drawn.Digits,
		Pace: d.Pace(c), Since: c.Points[c.Signal.Since].At.In(d.zone).Format(time.RFC3339), Centre: &drawn.Centre, Low: &drawn.Low, High: &drawn.High, Limits: drawn.Limits}
	for _, m := range drawn.Marks {
		out.Marks = append(out.Marks, daily.DriftMark{From: m.From.Format(time.RFC3339), To: m.To.Format(time.RFC3339), Low: m.Low, High: m.High, Mean: m.Mean, Cycles: m.Cycles})
	}
	return out
}
