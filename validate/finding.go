package validate

import "holdproof/parse/cycle"

// Source is the address of a number: document, edition, clause, and how sure it is.
// A rule of this project says "ours:" and its reason, and is Computed.
type Source struct {
	Text string
	Sure Certainty
}

// Figure is a number that may be missing; the zero value is missing. A missing
// figure is null in JSON and never 0.
type Figure struct {
	Value float64
	Known bool
}

// Known returns a figure that is there.
func Known(v float64) Figure { return Figure{Value: v, Known: true} }

// Finding is what one check came to.
type Finding struct {
	Check       string // a name of the list of checks, such as "holding-time"
	Outcome     Outcome
	Measured    Figure
	Low, High   Figure // the limits that apply, ends included
	Uncertainty Figure // expanded, k = 2, in Unit
	Unit        string // "s", "K", "°C", "kPa", "kPa/min", ""
	At          Figure // seconds since the first reading, where it shows
	Line        int    // of the file, 0 where it has no place
	Source      Source
	Message     string // one sentence with figure and limit, for the person at the machine
	Remedy      string // one thing to do, a sentence; empty when there is nothing to do
	Key         string // the key of holdproof.yaml that would settle it, "" if none would
}

// Measured are the figures of a cycle. Which interval each is taken over is
// defined beside the code that computes it.
type Measured struct {
	Hold, HoldGuarded, HoldMax, InBand Figure // s
	Equilibration                      Figure // s
	TemperatureMin, TemperatureMax     Figure // °C
	Spread, SteamMean, SteamGap        Figure // K
	F0                                 Figure // min, Tref 121.1 °C, z 10 K
	Sampling                           Figure // s
	Leak                               Figure // kPa/min
	// How the machine runs, held against nothing but its own cycles; of loads and
	// of those tests that are judged as one.
	PlateauMean Figure // °C, time mean of the reference temperature over W
	Heating     Figure // s, from the first reading until the reference first reached Ts for W
	Vacuum      Figure // s, from the first reading until the pressure was first below 50 kPa
	GaugeScale  bool   // the pressure is a gauge's, made absolute by the air of the site
	// HoldFrom and HoldTo bound W, the interval the figures above are taken
	// over, in seconds since the first reading: the hold a figure draws. In an air
	// leakage test they bound the 600 s that Leak is measured over.
	HoldFrom, HoldTo Figure
}

// Verdict is what a record was judged to be. Its outcome is computed from the
// findings and from nothing else.
type Verdict struct {
	Kind        cycle.Kind
	Programme   Programme // the zero Programme when none fits
	ProgrammeBy string    // "mapped", "label", "default", "inferred", or "" when none fits
	Measured    Measured
	Findings    []Finding // in the order of the list of checks
	Remarks     []string  // worth knowing, never changes the outcome
	Limitations []string  // what this record has nothing to assess it with
}

// Outcome returns the worst of the findings: failed > not proven > borderline >
// conforms. No finding, or none that was assessed, is not proven.
func (v Verdict) Outcome() Outcome {
	worst := NotAssessed
	for _, f := range v.Findings {
		if f.Outcome.severity() > worst.severity() {
			worst = f.Outcome
		}
	}
	if worst == NotAssessed {
		return NotProven
	}
	return worst
}
