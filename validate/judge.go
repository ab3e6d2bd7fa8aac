package validate

import (
	"math"
	"strings"

	"holdproof/parse/cycle"
)

// check is a requirement: its name, what it asks, where that comes from, and how a
// cycle is held against it. A source of the programme stands in place of an empty one.
type check struct {
	name     string
	sentence string
	source   Source
	judge    func(*subject) Finding
}

// ours is the source of a rule that is this project's own choice.
func ours(why string) Source { return Source{"ours: " + why, Computed} }

// checks are what a load, a control test and a steam penetration test are held
// against, in the order in which findings are given.
var checks = []check{
	{"programme", "It is known what the cycle must reach.",
		ours("the record's label, the configuration, or the readings"), programmeKnown},
	{"columns", "Every temperature column is known, and each load column is a sensor of its own.",
		ours("a column nobody knows is not ignored"), columnsKnown},
	{"holding-time", "Every condition of the plateau held long enough, at one stretch.",
		Source{}, holdingTime},
	{"exposure-time", "The plateau of a steam penetration test is not longer than its limit.",
		Source{}, exposureTime},
	{"channel-spread", "The temperatures stay within 2 K of one another during the hold.",
		Source{"EN 285, cl. 8.3; HTM 2010", FromMemory}, channelSpread},
	{"steam-agreement", "The temperature stays within 2 K of that of saturated steam at the recorded pressure.",
		Source{"EN 285, cl. 8.3", FromMemory}, steamAgreement},
	{"equilibration", "The load reaches the sterilising temperature soon after the chamber.",
		Source{"HTM 2010 part 3, 13.14(c): 15 s up to 800 L, 30 s above", SecondHand}, equilibration},
	{"temperature-ceiling", "No temperature rises above the band.",
		Source{}, temperatureCeiling},
	{"plateau-interrupted", "The plateau is one stretch.",
		ours("two stretches of 10 s or more want a person's eye"), plateauInterrupted},
	{"sampling", "Readings stand close enough to show the hold.",
		ours("an interval of at most a tenth of the holding time"), sampling},
	{"record-gap", "No reading is missing in the plateau.",
		ours("a straight line across a gap proves nothing"), recordGap},
	{"sensor-reading", "Every reading of the plateau is one that a sensor can give.",
		ours("-20 to 200 °C, 0 to 600 kPa absolute, no single reading 1 K off both its neighbours"), sensorReading},
	{"frozen-channel", "Every sensor follows the cycle.",
		ours("a sensor that stands still while the others move by 10 K is stuck"), frozenChannel},
	{"record-complete", "The record holds the cycle from its beginning to its end.",
		ours("from air to air, or cooled to 80 °C"), recordComplete},
	{"recorder-statement", "The recorder itself reports no fault.",
		ours("the words of the record"), recorderStatement},
	{"air-removal", "Air is removed as at validation.",
		Source{"the validation report, as configured; 50 kPa for type B is ours", Computed}, airRemoval},
	{"drying", "The load is dried as at validation.",
		Source{"the validation report, as configured", Computed}, drying},
	{"indicator", "The indicator of a steam penetration test shows its end colour.",
		ours("the curve alone never passes it"), indicator},
	{"reference", "A control test repeats the figures of validation.",
		Source{"the validation report, as configured", Computed}, reference},
}

// Requirement returns in one sentence what a check asks for, "" for a name that is none.
func Requirement(name string) string {
	for _, list := range [][]check{checks, leakChecks, {readableCheck}} {
		for _, c := range list {
			if c.name == name {
				return c.sentence
			}
		}
	}
	return ""
}

var readableCheck = check{name: "readable", sentence: "The record of the cycle can be read.",
	source: ours("what cannot be read is refused, never filled in")}

// Unreadable is the verdict on a cycle that has a start and could not be read: not
// proven. Line is where, 0 for the whole; why and remedy are sentences.
func Unreadable(h cycle.Header, line int, why, remedy string) Verdict {
	kind := h.Label.Kind
	if kind == cycle.KindUnsaid {
		kind = cycle.Load
	}
	return Verdict{Kind: kind, Findings: []Finding{{
		Check: readableCheck.name, Outcome: NotProven, Line: line, Source: readableCheck.source,
		Message: why, Remedy: remedy,
	}}}
}

// Judge says of every requirement what was measured, what the limit is, and whether
// the record proves it. The same record and rules always give the same verdict.
//
// Cost: linear in the readings, a fixed number of allocations a cycle.
func Judge(rec *cycle.Record, rules Rules) Verdict {
	work := workspaces.Get().(*workspace)
	defer workspaces.Put(work)
	work.reset()
	s := &subject{head: rec.Header(), raw: rec.Readings(), rules: rules}
	if len(rules.Set.Programmes) == 0 {
		return s.unjudged("programme", "there is no limit set to judge by",
			"Choose a limit set in the configuration.", "limits")
	}
	s.cols = sortColumns(s.raw)
	s.scale = scaleOf(s.raw, s.cols, rules.Site)
	s.readings = read(s.raw, s.cols, s.scale, work)
	if len(s.t) == 0 {
		r := s.removed[0]
		return s.unjudged("sensor-reading", "no reading of the record can be used: "+r.heading+" never gave a number that it can have",
			"Tell the lead; the sensor or the recorder needs service.", "")
	}
	if len(s.t) == 1 { // proves nothing, whatever it shows
		return s.unjudged("sensor-reading", "only one reading of the record can be used", "Export the record again.", "")
	}
	s.choice = choose(s.head, s.raw, s.readings, rules)
	s.remarkOnChoice()
	if s.choice.kind == cycle.LeakTest {
		s.leak = s.measureLeak()
		return s.verdict(leakChecks)
	}
	if s.ref == nil {
		return s.unjudged("columns", "the record has no chamber temperature",
			"Say which column is the chamber.", columnsKey)
	}
	if s.choice.by == "" {
		f := programmeKnown(s)
		return s.unjudged("programme", f.Message, f.Remedy, f.Key)
	}
	s.prepare()
	s.measure()
	return s.verdict(checks)
}

// unjudged is a verdict of one finding: nothing else was judged, nothing measured.
func (s *subject) unjudged(name, message, remedy, key string) Verdict {
	kind := s.choice.kind
	if kind == cycle.KindUnsaid {
		kind = s.head.Label.Kind
	}
	if kind == cycle.KindUnsaid {
		kind = cycle.Load
	}
	v := Verdict{Kind: kind, Programme: s.choice.programme, ProgrammeBy: s.choice.by, Remarks: s.remarks}
	for _, c := range checks {
		if c.name == name {
			v.Findings = []Finding{{Check: name, Outcome: NotProven, Source: c.source, Message: message, Remedy: remedy, Key: key}}
		}
	}
	return v
}

// skip is what a check returns that this kind of cycle does not have.
var skip = Finding{Check: "-"}

func (s *subject) verdict(list []check) Verdict {
	v := Verdict{Kind: s.choice.kind, Programme: s.choice.programme, ProgrammeBy: s.choice.by, Findings: make([]Finding, 0, len(list))}
	for _, c := range list {
		f := c.judge(s)
		if f.Check == skip.Check {
			continue
		}
		f.Check = c.name
		if f.Source == (Source{}) {
			f.Source = c.source
		}
		if f.Outcome == NotAssessed {
			s.limitations = append(s.limitations, f.Message)
		}
		v.Findings = append(v.Findings, f)
	}
	v.Measured, v.Remarks, v.Limitations = s.measured, s.remarks, s.limitations
	return v
}

// remarkOnChoice says what a person should know about how kind and limits were chosen.
func (s *subject) remarkOnChoice() {
	if s.choice.neverLeak {
		s.remark("the label says air leakage test, but the chamber was above 105 °C under pressure: judged as a load")
	}
	if why := strings.TrimSpace(s.rules.Set.LooserBecause); why != "" {
		s.remark("limits looser than the published ones: " + why)
	}
	if s.scale.fromCurve && s.scale.reference != cycle.ReferenceUnsaid {
		s.remark("the record does not say absolute or gauge; its readings are " + s.scale.reference.String())
	}
}

func (s *subject) remark(text string) { s.remarks = append(s.remarks, text) }

// subject is one cycle made ready for the checks.
type subject struct {
	head   cycle.Header
	raw    cycle.Readings
	rules  Rules
	cols   columns
	scale  pressureScale
	choice choice
	*readings

	ts, band    float64 // °C, K
	hold        float64 // s, required
	settle      float64 // s, the limit of the equilibration time; only with settleSet
	settleSet   bool
	uT, uP      float64 // K, kPa, expanded
	uSpread     float64 // K, of the difference of two channels
	exposed     window
	flat        window  // the plateau
	m           float64 // s, the interval
	mKnown      bool
	gap         float64 // s, neighbours further apart have a gap between them
	conditions  conditions
	apart       []float64 // K, reference less steam temperature at the readings of the exposure
	bandSpans   []span
	allSet      conditionSet
	longestAll  span
	longestBand span
	guardedAll  float64 // s
	possible    float64 // s, of all conditions
	bridged     float64 // s, of all conditions
	eq, eqLow   Figure  // s; eqLow with the load's sensors read as wrong as they may be

	leak        leakFigures
	measured    Measured
	remarks     []string
	limitations []string
}

// What sensors may be wrong by without a certificate, k = 2 (EN 285 and EN 13060 ask
// 0.5 K and 1.6 % of the range of the measuring chain; memory).
const (
	defaultUT = 0.5           // K
	defaultUP = 0.016 * 400.0 // kPa
)

// prepare sets the limits and the window of time that the conditions are held against.
func (s *subject) prepare() {
	p := s.choice.programme
	s.ts, s.band = float64(p.Sterilising), p.Band
	s.settle, s.settleSet = 15, s.rules.Set.Equilibration
	if s.rules.Machine.Litres.Known && s.rules.Machine.Litres.Value > 800 {
		s.settle = 30
	}
	s.requireHold(p)
	s.uncertainties()
	s.exposed = s.exposure(s.ts)
	s.flat = s.plateau(s.exposed, s.ts)
	if s.m, s.mKnown = s.interval(s.exposed.from, s.exposed.to); !s.mKnown {
		s.m, s.mKnown = s.interval(0, len(s.t)-1)
	}
	s.gap = gapLimit(s.m, s.hold)
}

// requireHold is the programme's hold; a steam penetration test has its own. One
// duration in the label asks for more, less the time the load may lag the chamber
// that the recorder times.
func (s *subject) requireHold(p Programme) {
	s.hold = p.Hold
	if s.choice.kind == cycle.PenetrationTest && p.Penetration > 0 {
		s.hold = p.Penetration
	}
	lag := 15.0
	if s.settleSet {
		lag = s.settle
	}
	switch d, others := s.head.Label.Durations, s.head.Label.Others; {
	case len(d)+others > 1:
		s.remark("the label has several lengths of time; none of them counts")
	case len(d) == 1:
		s.hold = max(s.hold, d[0]-lag)
	}
}

func (s *subject) uncertainties() {
	s.uT, s.uP = defaultUT, defaultUP
	if u := s.rules.Machine.Uncertainty.Temperature; u.Known && u.Value > 0 {
		s.uT = u.Value
	}
	if u := s.rules.Machine.Uncertainty.Pressure; u.Known && u.Value > 0 {
		s.uP = u.Value
	}
	s.uSpread = math.Sqrt2 * s.uT
	coarsest := 0.0
	for _, c := range s.judged {
		coarsest = max(coarsest, c.step)
	}
	if above(coarsest, 0.2) {
		s.uT = math.Sqrt(s.uT*s.uT + coarsest*coarsest/3)
	}
	if s.scale.reference == cycle.Gauge {
		s.uP = math.Hypot(s.uP, s.scale.ambientU)
	}
}
