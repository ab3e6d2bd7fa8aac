package surgery

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"holdproof/validate/drift"
)

// driftQuantity is how a quantity is spoken of.
type driftQuantity struct {
	of       drift.Quantity
	Name     string // for a heading
	Rose     string // "the leak rate rose by %s", of a signal upwards
	Fell     string
	Unit     string
	Digits   int    // after the point, of a figure for people
	Quantity string // the name in JSON
}

var driftQuantities = []driftQuantity{
	{drift.SteamMean, "Temperature against steam", "the reference temperature moved up %s against the steam temperature", "the reference temperature moved down %s against the steam temperature", "K", 1, "steam_mean_k"},
	{drift.Equilibration, "Equilibration time", "the equilibration time grew by %s", "the equilibration time fell by %s", "s", 0, "equilibration_s"},
	{drift.LeakRate, "Leak rate", "the leak rate rose by %s", "the leak rate fell by %s", "kPa/min", 3, "leak_kpa_per_min"},
	{drift.PlateauMean, "Mean of the plateau", "", "", "°C", 1, "plateau_mean_c"},
	{drift.HeatingTime, "Heating time", "", "", "s", 0, "heating_s"},
	{drift.VacuumTime, "Time to vacuum", "", "", "s", 0, "vacuum_s"},
}

func quantityOf(q drift.Quantity) driftQuantity {
	i := slices.IndexFunc(driftQuantities, func(d driftQuantity) bool { return d.of == q })
	if i < 0 {
		return driftQuantity{of: q, Name: string(q), Quantity: string(q)}
	}
	return driftQuantities[i]
}

// Name is the machine with its programme: S1 134.
func (c DriftChart) Name() string {
	switch {
	case c.Standing == DriftNone:
		return c.Steriliser
	case c.Programme == "":
		return c.Steriliser + " leak tests"
	}
	return c.Steriliser + " " + c.Programme
}

// Quantity is what the chart is about, for people.
func (c DriftChart) Quantity() string { return quantityOf(c.Of).Name }

// Field is its name in JSON, and Unit its unit.
func (c DriftChart) Field() string { return quantityOf(c.Of).Quantity }

// Unit is that of the figures.
func (c DriftChart) Unit() string { return quantityOf(c.Of).Unit }

// Digits is how many a figure for people has after the point.
func (c DriftChart) Digits() int { return quantityOf(c.Of).Digits }

// Says is what the chart comes to, in words, without a capital and a full stop.
// Rounding never flatters: what moved is rounded up, what is left down.
func (d Drift) Says(c DriftChart) string {
	q := quantityOf(c.Of)
	switch c.Standing {
	case DriftNone:
		return "no cycle that conforms yet" + d.since(c)
	case DriftFew:
		return fmt.Sprintf("not yet 20 cycles, %d so far%s", len(c.Points), d.since(c))
	case DriftDrawn:
		return fmt.Sprintf("drawn, decides nothing: mean of its last 20 cycles %s %s", driftFigure(lastMean(c.Chart), q.Digits), q.Unit)
	case DriftSteady:
		return fmt.Sprintf("steady over %d cycles%s", len(c.Points), d.since(c))
	}
	s := c.Signal
	verb := q.Fell
	if s.Up {
		verb = q.Rose
	}
	out := fmt.Sprintf(verb, AtMost(math.Abs(s.Moved), q.Digits)+" "+q.Unit) + " since " + d.day(c.Points[s.Since].At)
	return out + d.limitWords(s, q) + d.reachWords(c, s)
}

// since tells from when on cycles count.
func (d Drift) since(c DriftChart) string {
	if c.From.IsZero() {
		return ""
	}
	return " since the " + visitName(c.Because) + " of " + d.day(c.From)
}

func visitName(duty string) string {
	if duty == "" {
		return "reset"
	}
	return duty
}

func (d Drift) limitWords(s drift.Signal, q driftQuantity) string {
	switch {
	case s.Limit == nil:
		return "; there is no limit to compare it with"
	case s.Left <= 0:
		return "; its line is already past the limit by " + AtMost(-s.Left, q.Digits) + " " + q.Unit
	}
	left := AtLeast(s.Left, q.Digits)
	if strings.Trim(left, "0.") == "" {
		return "; less than " + driftFigure(math.Pow10(-q.Digits), q.Digits) + " " + q.Unit + " from the limit"
	}
	return "; " + left + " " + q.Unit + " from the limit"
}

// reachWords say when the line reaches the limit, with its uncertainty at k = 2. A pace
// that cannot be told from none promises no day.
func (d Drift) reachWords(c DriftChart, s drift.Signal) string {
	last := c.Points[s.Last].At
	switch {
	case s.Limit == nil || s.Left <= 0:
		return ""
	case s.Reached.IsZero() && s.Pace == 0, (s.Pace > 0) != s.Up:
		return "; it moved and stands still now, so no day is said"
	case s.Earliest.IsZero() || s.Reached.IsZero():
		return "; its pace is too uncertain to say when it would be there"
	case s.Latest.IsZero():
		return "; at this pace it would be there from about " + d.day(s.Earliest) + " on"
	case s.Earliest.Before(last):
		return "; at this pace it would be there any day now, at the latest about " + d.day(s.Latest)
	}
	return "; at this pace it would be there about " + d.days(s.Earliest, s.Latest)
}

// DriftLimits says what the limit of a chart is and from where what is left is counted.
const DriftLimits = "A limit is drawn inwards by its uncertainty. What is left is counted from the line through the cycles since it moves, not from the last of them."

// Pace is how fast it moves, with its uncertainty at k = 2.
func (d Drift) Pace(c DriftChart) string {
	if c.Standing != DriftMoves {
		return ""
	}
	q, s := quantityOf(c.Of), c.Signal
	digits := q.Digits + 1 // one more than the figures have, or what the uncertainty needs to be seen
	for digits < 6 && s.PaceU > 0 && s.PaceU < math.Pow10(-digits) {
		digits++
	}
	return fmt.Sprintf("%s ± %s %s a week (k = 2), from %d cycles", signed(s.Pace, digits), AtMost(s.PaceU, digits), q.Unit, s.Last-s.Since+1)
}

// Stands says where the line through the cycles that moved was and is, and up to where a
// cycle conforms: the figures that [Drift.Says] is reckoned from, a sentence.
func (d Drift) Stands(c DriftChart) string {
	if c.Standing != DriftMoves {
		return ""
	}
	q, s := quantityOf(c.Of), c.Signal
	digits := q.Digits
	if digits < 3 {
		digits++ // as beside the axis of the chart
	}
	now, to, bound, within := c.Centre+s.Moved, AtMost, "up", AtLeast // towards the limit
	if !s.Up {
		to, bound, within = AtLeast, "down", AtMost
	}
	out := fmt.Sprintf("The line through these cycles is at %s %s, the first cycles were at %s", to(now, digits), q.Unit, driftFigure(c.Centre, digits))
	if s.Limit == nil {
		return out + "."
	}
	return out + fmt.Sprintf("; a cycle conforms %s to %s, which is the limit less the uncertainty.", bound, within(*s.Limit, digits))
}

// ToDo is what the lead is to do about a chart that moves (common practice, no source).
func (c DriftChart) ToDo() string {
	if c.Standing != DriftMoves {
		return ""
	}
	switch c.Of {
	case drift.LeakRate:
		return "Look at door seal and filter. Tell the engineer."
	case drift.Equilibration:
		return "Load more loosely for a day. Tell the engineer."
	}
	return "Tell the engineer. Have the sensors compared."
}

func (d Drift) day(t time.Time) string { return t.In(d.zone).Format("2 Jan 2006") }

// days is a stretch of days: 3 to 9 Jan 2027.
func (d Drift) days(from, to time.Time) string {
	a, b := from.In(d.zone), to.In(d.zone)
	switch {
	case a.Format(time.DateOnly) == b.Format(time.DateOnly):
		return d.day(b)
	case a.Year() == b.Year() && a.Month() == b.Month():
		return a.Format("2") + " to " + d.day(b)
	case a.Year() == b.Year():
		return a.Format("2 Jan") + " to " + d.day(b)
	}
	return d.day(a) + " to " + d.day(b)
}

// driftFigure is a figure that is compared with nothing, rounded to the nearest.
func driftFigure(x float64, digits int) string { return fmt.Sprintf("%.*f", digits, x) }

func signed(x float64, digits int) string {
	text := fmt.Sprintf("%+.*f", digits, x)
	return strings.Replace(text, "-", "−", 1)
}

// lastMean is the mean of the last 20 figures, or of all where there are fewer.
func lastMean(c drift.Chart) float64 {
	points := c.Points[max(0, len(c.Points)-20):]
	sum := 0.0
	for _, p := range points {
		sum += p.Value
	}
	return sum / float64(len(points))
}

// Quiet are the lines on what does not move: what is steady, what is only drawn, and
// where there are no limits yet. Without a capital and a full stop.
func (d Drift) Quiet() []string {
	var out []string
	for i := 0; i < len(d.Charts); {
		n := i + 1
		for n < len(d.Charts) && d.Charts[n].Name() == d.Charts[i].Name() {
			n++
		}
		out = append(out, d.quietOf(d.Charts[i:n])...)
		i = n
	}
	return out
}

// quietOf is the line on the charts of one programme of one machine, none if all move.
func (d Drift) quietOf(charts []DriftChart) []string {
	first := charts[0]
	name := first.Name() + ": "
	var steady, few, drawn []string
	most := 0
	for _, c := range charts {
		if c.Standing == DriftNone {
			return []string{name + d.Says(c)}
		}
		q := strings.ToLower(c.Quantity()[:1]) + c.Quantity()[1:]
		switch c.Standing {
		case DriftFew:
			few, most = append(few, q), max(most, len(c.Points))
		case DriftSteady:
			steady, most = append(steady, q), max(most, len(c.Points))
		case DriftDrawn:
			drawn = append(drawn, fmt.Sprintf("%s %s %s", q, driftFigure(lastMean(c.Chart), c.Digits()), c.Unit()))
		}
	}
	var parts []string
	switch {
	case len(few) == len(charts):
		return []string{fmt.Sprintf("%snot yet 20 cycles, %d so far%s", name, most, d.since(first))}
	case len(steady) > 0:
		parts = append(parts, fmt.Sprintf("%s steady over %d cycles%s", strings.Join(steady, " and "), most, d.since(first)))
	}
	if len(few) > 0 {
		parts = append(parts, "not yet 20 cycles of "+strings.Join(few, " and "))
	}
	if len(drawn) > 0 {
		parts = append(parts, "of the last 20 "+strings.Join(drawn, ", "))
	}
	if len(parts) == 0 {
		return nil
	}
	return []string{name + strings.Join(parts, "; ")}
}
