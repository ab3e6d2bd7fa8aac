package validate

import (
	"math"
	"slices"
	"sort"

	"holdproof/parse/cycle"
)

func (s *subject) bandText() string {
	return plain(s.ts) + " to " + plain(s.ts+s.band) + " °C"
}

// place puts a finding where in the record it shows.
func (s *subject) place(f Finding, at float64) Finding {
	f.At = Known(at)
	if i := sort.Search(len(s.t), func(i int) bool { return atLeast(s.t[i], at) }); i < len(s.t) {
		f.Line = s.lines[i]
	}
	return f
}

const (
	runAgain  = "Repack the load and run it again."
	setAside  = "Keep the load aside until the lead has looked at the curve."
	callHelp  = "Tell the lead; the steriliser or a sensor needs service."
	exportNew = "Export the cycle again, whole."
)

const (
	columnsKey   = "sterilisers[].export.columns"
	pressureKey  = "sterilisers[].export.pressure"
	ambientKey   = "site.altitude_m"
	programmeKey = "sterilisers[].programme"
	mappingKey   = "sterilisers[].programmes"
)

// holdingTime: failed only if no reading of the record could have made it long enough.
func holdingTime(s *subject) Finding {
	h := s.longestAll.length()
	f := Finding{
		Measured: Known(h), Low: Known(s.hold), Uncertainty: Known(max(0, h-s.guardedAll)), Unit: "s",
		Source: s.choice.programme.Source,
	}
	if s.choice.kind == cycle.PenetrationTest && s.choice.programme.PenetrationSource != (Source{}) {
		f.Source = s.choice.programme.PenetrationSource
	}
	held := "held " + s.bandText() + " for " + lasted(h) + " at one stretch, needs " + needs(s.hold)
	switch {
	case below(s.possible, s.hold) && below(s.bridged, s.hold):
		f.Outcome, f.Message, f.Remedy = Failed, held, runAgain
	case below(h, s.hold):
		f.Outcome, f.Message = NotProven, held+"; readings between may have shown more"
		f.Remedy = runAgain
	case below(s.guardedAll, s.hold):
		f.Outcome, f.Remedy = Borderline, setAside
		f.Message = held + "; only " + lasted(s.guardedAll) + " if the sensors read as wrong as they may"
	default:
		f.Outcome, f.Message = Conforms, held
	}
	if s.longestAll.length() > 0 {
		return s.place(f, s.longestAll.from)
	}
	return f
}

// exposureTime: a longer exposure can hide poor penetration.
func exposureTime(s *subject) Finding {
	if s.choice.kind != cycle.PenetrationTest {
		return skip
	}
	h, limit := s.longestAll.length(), s.choice.programme.PenetrationX
	f := Finding{Measured: Known(h), Unit: "s", Source: s.choice.programme.PenetrationSource}
	if limit <= 0 {
		f.Outcome, f.Source = NotAssessed, s.choice.programme.Source
		f.Message = "no upper limit is known for a steam penetration test at " + plain(s.ts) + " °C"
		return f
	}
	f.High = Known(limit)
	f.Message = "held for " + AtMost(h, 1) + " s, at most " + needs(limit)
	f.Outcome = Conforms
	if above(h, limit) {
		f.Outcome, f.Remedy = Borderline, "Run the test again with its own programme."
		f.Message += ": a longer exposure can hide poor penetration"
	}
	return f
}

// costsHold is what spread and steam agreement have in common: failed if with the
// condition the band is not held long enough, borderline if only the uncertainty costs it.
func (s *subject) costsHold(f Finding, set conditionSet, agreed, unassessed string) Finding {
	if below(s.longestBand.length(), s.hold) {
		f.Outcome = NotAssessed
		f.Message = unassessed + ": the band was not held long enough to tell"
		return f
	}
	f.Outcome, f.Message = Conforms, agreed
	if atLeast(s.guardedAll, s.hold) {
		return f // fewer conditions hold at least as long
	}
	h := s.longestOf(inBand|set, false).length()
	switch {
	case below(h, s.hold):
		f.Outcome, f.Remedy = Failed, callHelp
		f.Message += " for only " + lasted(h) + " of the " + needs(s.hold) + " needed"
	case atLeast(s.conditions.guarded(inBand), s.hold) && below(s.conditions.guarded(inBand|set), s.hold):
		f.Outcome, f.Remedy = Borderline, setAside
		f.Message += " for " + lasted(h) + ", but not if the sensors read as wrong as they may"
	}
	return f
}

func channelSpread(s *subject) Finding {
	f := Finding{Measured: s.measured.Spread, High: Known(within2K), Uncertainty: Known(s.uSpread), Unit: "K"}
	const unassessed = "the spread between channels was not assessed"
	if len(s.judged) < 2 {
		f.Outcome, f.Message = NotAssessed, unassessed+": the record has one judged temperature"
		return f
	}
	agreed := "the temperatures were within 2 K of one another"
	if s.measured.Spread.Known {
		agreed = "the temperatures differed by up to " + AtMost(s.measured.Spread.Value, 1) + " K and " + "were within 2 K of one another"
	}
	return s.costsHold(f, inSpread, agreed, unassessed)
}

func steamAgreement(s *subject) Finding {
	f := Finding{Measured: s.measured.SteamGap, Low: Known(-within2K), High: Known(within2K), Unit: "K"}
	switch {
	case !s.scale.present:
		f.Outcome, f.Message = NotProven, "the record has no pressure to compare the temperature with"
		f.Remedy = "Export the pressure with the cycle."
		return f
	case s.scale.gaugeAlone():
		f.Outcome, f.Key = NotProven, ambientKey
		f.Message = "the pressure is above the surrounding air, whose pressure here is not known"
		f.Remedy = "Ask the lead to set the altitude of the site."
		return f
	case s.p == nil:
		f.Outcome, f.Key = NotProven, pressureKey
		f.Message = "the record does not say whether its pressure is absolute or gauge, and its readings do not tell"
		if s.scale.contradict {
			f.Message = "the record does not say whether its pressure is absolute or gauge, and its readings say both"
		}
		f.Remedy = "Ask the lead to set whether the pressure is gauge or absolute."
		return f
	}
	f.Uncertainty = Known(s.steamU())
	if s.oneFromTheOther() {
		f.Outcome, f.Remedy = NotProven, "Ask the maker for a record with a pressure that is measured."
		f.Message = "temperature and pressure agree within 0.1 K at every reading: one seems computed from the other"
		return f
	}
	agreed := "the temperature was within 2 K of the steam temperature"
	if s.measured.SteamGap.Known {
		side := " K above"
		if s.measured.SteamGap.Value < 0 {
			side = " K below"
		}
		agreed = "the temperature was up to " + AtMost(math.Abs(s.measured.SteamGap.Value), 1) + side + " the steam temperature and within 2 K of it"
	}
	return s.costsHold(f, inSteam, agreed, "the agreement of temperature and pressure was not assessed")
}

// steamU is the largest uncertainty of the difference within the plateau, in K.
func (s *subject) steamU() float64 {
	if !s.flat.any() {
		return steamULimit
	}
	u := 0.0
	for i := s.flat.from; i <= s.flat.to && u < steamULimit; i++ {
		u = max(u, s.steamUAt(i))
	}
	return u
}

// oneFromTheOther tells whether the temperature seems computed from the pressure, or
// the pressure from it: within 0.1 K at every reading above 110 kPa outside the
// plateau, at least 10 of them. Two instruments never agree that well while it heats.
func (s *subject) oneFromTheOther() bool {
	const tooGood, enough = 0.1, 10
	n := 0
	for i, t := range s.ref {
		if s.flat.has(i) || !above(s.p[i], underSteam) {
			continue
		}
		if !atMost(math.Abs(t-s.tsteam[i]), tooGood) {
			return false
		}
		n++
	}
	return n >= enough
}

func equilibration(s *subject) Finding {
	f := Finding{Measured: s.eq, Unit: "s"}
	unassessed := func(why string) Finding {
		f.Outcome, f.Message = NotAssessed, "the equilibration time was not assessed: "+why
		return f
	}
	if s.settleSet {
		f.High = Known(s.settle)
	}
	switch {
	case len(s.judged) < 2:
		return unassessed("the record has one judged temperature")
	case !s.settleSet:
		return unassessed("the limit set has no limit for it")
	case !s.eq.Known:
		return unassessed("the record does not show its beginning")
	case above(s.m, s.settle/3) && atMost(s.eq.Value, s.settle):
		return unassessed("the readings stand too far apart")
	}
	f.Message = "the load followed the chamber after " + AtMost(s.eq.Value, 1) + " s, at most " + needs(s.settle)
	switch {
	case s.eqLow.Known && above(s.eqLow.Value-s.m, s.settle):
		f.Outcome, f.Remedy = Failed, "Repack the load more loosely and run it again; if it happens twice, tell the lead."
	case above(s.eq.Value, s.settle):
		f.Outcome, f.Remedy = Borderline, setAside
	default:
		f.Outcome = Conforms
	}
	if s.eqLow.Known {
		f.Uncertainty = Known(max(0, s.eq.Value-s.eqLow.Value) + s.m)
	}
	return f
}

// hot is where a reading was above the band.
type hot struct {
	top, at float64 // °C, s: the hottest reading
	lasting float64 // s, the longest run of one channel above the band, last minus first
	heading string
}

// hottestIn looks from the first reading at ts to the end of the last interval of the
// band; the whole exposure if there is none. Gaps do not end a run.
func (s *subject) hottestIn() hot {
	w := s.exposed
	if n := len(s.bandSpans); n > 0 {
		w = s.inside(window{s.flat.from, s.exposed.to}, 0, s.bandSpans[n-1].to)
	}
	out := hot{top: math.Inf(-1)}
	if !w.any() {
		return out
	}
	for _, v := range s.highest[w.from : w.to+1] {
		if v > out.top {
			out.top = v
		}
	}
	for _, c := range s.judged {
		if i := slices.Index(c.celsius[w.from:w.to+1], out.top); i >= 0 {
			out.at, out.heading = s.t[w.from+i], c.heading
			break
		}
	}
	if !above(out.top, s.ts+s.band) {
		return out
	}
	for _, c := range s.judged {
		first := -1
		for i := w.from; i <= w.to; i++ {
			if !above(c.celsius[i], s.ts+s.band) {
				first = -1
				continue
			}
			if first < 0 {
				first = i
			}
			out.lasting = max(out.lasting, s.t[i]-s.t[first])
		}
	}
	return out
}

func temperatureCeiling(s *subject) Finding {
	const long = 10.0 // s
	limit := s.ts + s.band
	f := Finding{High: Known(limit), Uncertainty: Known(s.uT), Unit: "°C", Source: s.choice.programme.BandSource}
	h := s.hottestIn()
	if math.IsInf(h.top, -1) {
		f.Outcome, f.Message = Conforms, "no temperature came near the band"
		return f
	}
	f.Measured = Known(h.top)
	f.Message = h.heading + " reached " + AtMost(h.top, 1) + " °C, at most " + plain(limit) + " °C"
	switch {
	case !above(h.top, limit):
		f.Outcome = Conforms
		return f
	case !s.choice.programme.BandOurs && (above(h.top, limit+s.uT) || atLeast(h.lasting, long)):
		f.Outcome, f.Remedy = Failed, "Keep the load aside until the lead has looked: it was too hot."
	default:
		f.Outcome, f.Remedy = Borderline, setAside
	}
	return s.place(f, h.at)
}

func plateauInterrupted(s *subject) Finding {
	spans := s.bandSpans
	if s.conditions.gaps > 0 {
		spans = s.conditions.spans(nil, inBand, true)
	}
	n, second := 0, 0.0
	for _, interval := range spans {
		if !atLeast(interval.length(), shortest) {
			continue
		}
		if n++; n == 2 {
			second = interval.from
		}
	}
	f := Finding{Measured: Known(float64(n)), High: Known(1)}
	if n < 2 {
		f.Outcome, f.Message = Conforms, "the plateau was not interrupted"
		return f
	}
	f.Outcome, f.Remedy = Borderline, setAside
	f.Message = "the plateau was interrupted: " + plain(float64(n)) + " stretches within " + s.bandText()
	return s.place(f, second)
}

func sampling(s *subject) Finding {
	limit := s.hold / 10
	f := Finding{Measured: Figure{s.m, s.mKnown}, High: Known(limit), Unit: "s"}
	if !s.mKnown {
		f.Outcome, f.Message, f.Remedy = NotProven, "the record has a single reading", exportNew
		return f
	}
	f.Message = "a reading every " + AtMost(s.m, 1) + " s, at most " + plain(limit) + " s apart to show a hold of " + needs(s.hold)
	f.Outcome = Conforms
	if above(s.m, limit) {
		f.Outcome, f.Remedy = NotProven, "Ask the lead to set the recorder to a shorter interval."
	}
	return f
}
