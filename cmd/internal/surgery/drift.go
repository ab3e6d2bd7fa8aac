package surgery

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate/drift"
)

// Standing is how a chart stands.
type Standing string

// What a chart can come to.
const (
	DriftMoves  Standing = "moves"       // a signal is open
	DriftSteady Standing = "steady"      // nothing moves
	DriftDrawn  Standing = "drawn"       // it is drawn and decides nothing
	DriftFew    Standing = "not yet 20"  // there are no limits yet
	DriftNone   Standing = "not a cycle" // nothing that conforms has come
)

// DriftChart is one quantity of one programme of one steriliser since its last
// validation or repair, and what is said of it.
type DriftChart struct {
	drift.Chart
	Standing Standing
	Signal   drift.Signal // where it moves
	Because  string       // of the beginning: the duty that it was reset by, "" if by none
}

// Drift is what moves, slowly, over the cycles that conform.
type Drift struct {
	Charts []DriftChart // by steriliser, programme and quantity
	To     string       // last day that was looked at, "" for all
	zone   *time.Location
}

// Moving are the charts with an open signal, the one that is nearest in time to its
// limit first; those that promise no day come last.
func (d Drift) Moving() []DriftChart {
	out := slices.DeleteFunc(slices.Clone(d.Charts), func(c DriftChart) bool { return c.Standing != DriftMoves })
	when := func(c DriftChart) int64 {
		switch s := c.Signal; {
		case s.Limit != nil && s.Left <= 0:
			return math.MinInt64
		case s.Reached.IsZero():
			return math.MaxInt64
		default:
			return s.Reached.Unix()
		}
	}
	slices.SortStableFunc(out, func(a, b DriftChart) int { return cmp.Compare(when(a), when(b)) })
	return out
}

// Drift lays the charts over all cycles of the logbook that conform: loads by
// programme, and the leak rate of air leakage tests. steriliser narrows it to one
// machine, "" means all.
//
// Error: a steriliser that the settings do not have.
func (r *Records) Drift(ctx context.Context, steriliser string) (Drift, error) {
	ids := r.machineIDs()
	if steriliser != "" && !slices.Contains(ids, steriliser) {
		return Drift{}, &Refusal{Why: fmt.Sprintf("no steriliser %q is in the settings", steriliser), Instead: machinesThereAre(ids)}
	}
	var out Drift
	err := r.book.Read(ctx, func(v *logbook.View) error {
		var err error
		out, err = r.drift(ctx, v, "")
		return err
	})
	if steriliser != "" {
		out.Charts = slices.DeleteFunc(slices.Clone(out.Charts), func(c DriftChart) bool { return c.Steriliser != steriliser })
	}
	return out, err
}

// driftMemo keeps what the charts came to for a size of the logbook, by the last day
// that was looked at: pages ask for the same again and again.
type driftMemo struct {
	mu   sync.Mutex
	size int64
	kept map[string]Drift
}

// mostDrifts is how many days are kept (ours).
const mostDrifts = 16

// drift lays the charts as of one moment, up to the end of a day; "" for all. What it
// returns is shared: nobody changes it.
func (r *Records) drift(ctx context.Context, v *logbook.View, to string) (Drift, error) {
	at, err := v.Checkpoint(ctx)
	if err != nil {
		return Drift{}, err
	}
	m := &r.drifts
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.kept == nil || m.size != at.Size || len(m.kept) >= mostDrifts {
		m.size, m.kept = at.Size, map[string]Drift{}
	}
	if d, there := m.kept[to]; there {
		return d, nil
	}
	d, err := r.layDrift(ctx, v, to)
	if err == nil {
		m.kept[to] = d
	}
	return d, err
}

func (r *Records) machineIDs() []string {
	var ids []string
	for _, s := range r.settings.Value.Sterilisers {
		ids = append(ids, s.ID)
	}
	return ids
}

func (r *Records) layDrift(ctx context.Context, v *logbook.View, to string) (Drift, error) {
	out := Drift{To: to, zone: r.zone}
	resets, because, err := r.driftResets(ctx, v, to)
	if err != nil {
		return out, err
	}
	points, err := r.driftPoints(ctx, v, to)
	if err != nil {
		return out, err
	}
	charts, err := drift.Charts(points, resets)
	if err != nil {
		return out, fmt.Errorf("charts: %w", err)
	}
	last := map[string]time.Time{} // the last reset of a machine
	for _, x := range resets {
		last[x.Steriliser] = x.At // in order of time
	}
	for _, id := range r.machineIDs() {
		n := len(out.Charts)
		for _, c := range charts {
			if c.Steriliser == id && c.To.IsZero() {
				out.Charts = append(out.Charts, chartStands(c, because[c.Steriliser]))
			}
		}
		if len(out.Charts) == n {
			out.Charts = append(out.Charts, DriftChart{Chart: drift.Chart{Steriliser: id, From: last[id]}, Standing: DriftNone, Because: because[id]})
		}
	}
	return out, nil
}

// chartStands says how a chart stands.
func chartStands(c drift.Chart, because string) DriftChart {
	out := DriftChart{Chart: c, Standing: DriftSteady}
	if !c.From.IsZero() {
		out.Because = because
	}
	s, open := c.Open()
	switch {
	case c.Baseline == 0:
		out.Standing = DriftFew
	case !c.Decides:
		out.Standing = DriftDrawn
	case open:
		out.Standing, out.Signal = DriftMoves, s
	}
	return out
}

// driftResets are the validations that passed and the visits of an engineer, in order
// of time, and by machine the duty of the last one. A visit that owes no test before the
// machine returns changed nothing about it (ours).
func (r *Records) driftResets(ctx context.Context, v *logbook.View, to string) ([]drift.Reset, map[string]string, error) {
	var out []drift.Reset
	because := map[string]string{}
	var notes []logbook.Row[entry.Note]
	for _, duty := range []string{dutyValidation, dutyVisit} {
		found, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: duty, To: to})
		if err != nil {
			return nil, nil, err
		}
		notes = append(notes, found...)
	}
	// A validation of a day before is of that day, whenever it was entered.
	when := func(n logbook.Row[entry.Note]) time.Time {
		at, _ := r.overAt(n)
		return at
	}
	slices.SortStableFunc(notes, func(a, b logbook.Row[entry.Note]) int { return when(a).Compare(when(b)) })
	for _, n := range notes {
		if n.Said.Duty == dutyValidation && n.Said.Outcome != "passed" || n.Said.Duty == dutyVisit && len(dataOf(n.Said).Tests) == 0 {
			continue
		}
		out = append(out, drift.Reset{Steriliser: n.Said.Steriliser, At: when(n)})
		because[n.Said.Steriliser] = n.Said.Duty
	}
	return out, because, nil
}

// driftPoints are the figures of the cycles that conform.
func (r *Records) driftPoints(ctx context.Context, v *logbook.View, to string) ([]drift.Point, error) {
	list, err := v.Charted(ctx, logbook.ChartedFilter{Outcome: Conforms.String(), To: to})
	if err != nil {
		return nil, err
	}
	known := map[string]bool{}
	for _, id := range r.machineIDs() {
		known[id] = true
	}
	// Each quantity by itself, in order of time: the charts then have little to sort.
	var out []drift.Point
	newest := map[[2]string]int{} // of a machine's programme, in list
	load, leak := cycle.Load.String(), cycle.LeakTest.String()
	for _, q := range []struct {
		kind string
		of   drift.Quantity
		is   func(logbook.Charted) *float64
	}{
		{load, drift.SteamMean, func(c logbook.Charted) *float64 { return c.SteamMean }},
		{load, drift.Equilibration, func(c logbook.Charted) *float64 { return c.Equilibration }},
		{leak, drift.LeakRate, func(c logbook.Charted) *float64 { return c.Leak }},
		{load, drift.PlateauMean, func(c logbook.Charted) *float64 { return c.PlateauMean }},
		{load, drift.HeatingTime, func(c logbook.Charted) *float64 { return c.Heating }},
		{load, drift.VacuumTime, func(c logbook.Charted) *float64 { return c.Vacuum }},
	} {
		for i, c := range list {
			value := q.is(c)
			if c.Kind != q.kind || value == nil || !known[c.Steriliser] {
				continue
			}
			p := drift.Point{Steriliser: c.Steriliser, Programme: c.Programme, Cycle: c.Cycle, At: c.Start.Time, Of: q.of, Value: *value, Gauge: c.Gauge}
			if q.kind == leak {
				p.Programme = ""
			}
			out = append(out, p)
			newest[[2]string{p.Steriliser, p.Programme}] = i
		}
	}
	return out, r.driftLimits(ctx, v, list, newest, out)
}

// driftLimits gives every figure the limits that the newest cycle of its machine and
// programme was held against: a signal speaks of what comes next.
func (r *Records) driftLimits(ctx context.Context, v *logbook.View, list []logbook.Charted, newest map[[2]string]int, points []drift.Point) error {
	limits := map[[2]string]map[drift.Quantity][2]*float64{}
	for key, i := range newest {
		c, err := v.Cycle(ctx, list[i].Cycle)
		if err != nil {
			return err
		}
		_, findings, err := said(c.Verdict)
		if err != nil {
			return err
		}
		limits[key] = map[drift.Quantity][2]*float64{}
		for _, f := range findings {
			if of, is := driftChecks[f.Check]; is {
				limits[key][of] = [2]*float64{inwards(f.Low, f, of, 1), inwards(f.High, f, of, -1)}
			}
		}
	}
	for i, p := range points {
		l := limits[[2]string{p.Steriliser, p.Programme}][p.Of]
		points[i].Low, points[i].High = l[0], l[1]
	}
	return nil
}

// driftChecks are the checks whose limits a chart moves to.
var driftChecks = map[string]drift.Quantity{"steam-agreement": drift.SteamMean, "equilibration": drift.Equilibration, "air-leakage": drift.LeakRate}

// inwards moves a limit to where a verdict would no longer be that it conforms: by the
// uncertainty of the finding. The equilibration time is held against its limit as it is.
func inwards(limit *float64, f keptFinding, of drift.Quantity, sign float64) *float64 {
	if limit == nil || of == drift.Equilibration || f.Uncertainty == nil {
		return limit
	}
	x := *limit + sign**f.Uncertainty
	return &x
}
