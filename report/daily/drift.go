package daily

import "time"

// Drift is what is said of how a machine moves slowly, over the cycles that conform up
// to the end of the day.
type Drift struct {
	Name     string      `json:"name"`     // such as "S1 134", "S1 leak tests"
	State    string      `json:"state"`    // "moves" or "still"
	Says     string      `json:"says"`     // the whole of it, in words
	ToDo     string      `json:"to_do"`    // where it moves
	What     string      `json:"what"`     // the quantity in words; where it moves, and so all below
	Quantity string      `json:"quantity"` // its name, such as "leak_kpa_per_min"
	Unit     string      `json:"unit"`     // of the figures below
	Digits   int         `json:"digits"`   // of these figures for people, after the point
	Pace     string      `json:"pace"`     // with its uncertainty
	Since    string      `json:"since"`    // start of the first cycle of the change
	Centre   *float64    `json:"centre"`   // mean of the baseline
	Low      *float64    `json:"low"`      // where single cycles are expected, ends included
	High     *float64    `json:"high"`
	Limits   []float64   `json:"limits"` // beyond them a cycle would not conform
	Marks    []DriftMark `json:"marks"`  // what the chart is drawn from, in order of time
}

// DriftMark is a group of neighbouring cycles, often of one.
type DriftMark struct {
	From   string  `json:"from"` // start of the first
	To     string  `json:"to"`   // start of the last
	Low    float64 `json:"low"`  // lowest of their figures
	High   float64 `json:"high"`
	Mean   float64 `json:"mean"`
	Cycles int     `json:"cycles"`
}

// Moves tells whether a signal is open.
func (d Drift) Moves() bool { return d.State == "moves" }

// checkDrift looks at the states and the times.
func (d Day) checkDrift(say func(string, ...any)) {
	for _, x := range d.Drift {
		if x.State != "moves" && x.State != "still" {
			say("the chart of %s has the state %q", x.Name, x.State)
		}
		moment(say, "the change of "+x.Name, x.Since, x.Moves())
		before := time.Time{}
		for _, m := range x.Marks {
			moment(say, "a mark of "+x.Name, m.From, true)
			moment(say, "a mark of "+x.Name, m.To, true)
			from, _ := time.Parse(time.RFC3339, m.From)
			to, _ := time.Parse(time.RFC3339, m.To)
			if m.Cycles < 1 || from.Before(before) || to.Before(from) || !(m.Low <= m.Mean+1e-9 && m.Mean <= m.High+1e-9) {
				say("a mark of %s is of %d cycles from %s to %s, %v to %v, mean %v", x.Name, m.Cycles, m.From, m.To, m.Low, m.High, m.Mean)
			}
			before = to
		}
	}
}
