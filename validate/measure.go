package validate

import (
	"math"
	"sort"

	"holdproof/parse/cycle"
	"holdproof/validate/steam"
)

// within2K is how far two channels, and the reference and the steam temperature, may
// be from one another.
const within2K = 2.0

// steamULimit caps the uncertainty of the difference between the reference and the
// steam temperature, in K (ours: the 2 K between two instruments allow for both already).
const steamULimit = 0.8

// shortest is the least length in s of an interval that counts as a plateau (ours).
const shortest = 10.0

// measure fills in every figure of a load.
func (s *subject) measure() {
	s.setConditions()
	s.bandSpans = s.conditions.spans(nil, inBand, false)
	s.longestBand, s.longestAll = longest(s.bandSpans), s.longestOf(s.allSet, false)
	s.guardedAll = s.conditions.guarded(s.allSet)
	s.possible = s.conditions.possible(s.allSet)
	s.bridged = s.longestAll.length()
	if s.conditions.gaps > 0 {
		s.bridged = s.longestOf(s.allSet, true).length()
	}
	s.equilibrate()

	m := &s.measured
	m.Hold, m.HoldGuarded = Known(s.longestAll.length()), Known(s.guardedAll)
	m.HoldMax, m.InBand = Known(s.possible), Known(s.longestBand.length())
	m.Equilibration = s.eq
	m.Sampling = Figure{s.m, s.mKnown}
	m.F0 = Known(s.lethality(s.gap))
	over := s.longestBand
	if atLeast(s.longestAll.length(), s.hold) {
		over = s.longestAll
	}
	if over.length() > 0 {
		s.figures(over)
	}
	m.PlateauMean, m.Heating, m.Vacuum = s.plateauMean(), s.heating(), s.toVacuum()
	m.GaugeScale = s.p != nil && s.scale.reference == cycle.Gauge
}

// vacuumAt is the pressure in kPa at which the time to vacuum ends (ours: the one that
// counts as a pulse where nothing is configured; it never moves with a setting, so that
// times of years can be laid side by side).
const vacuumAt = 50.0

// toVacuum is the time from the first reading until the pressure is first below
// vacuumAt, by a straight line. Not known where the record begins in vacuum, where a
// gap lies across the moment, and where it comes after the exposure began.
func (s *subject) toVacuum() Figure {
	if s.p == nil || !s.exposed.any() || below(s.p[0], vacuumAt) {
		return Figure{}
	}
	for i := 1; i < s.exposed.from; i++ {
		if !below(s.p[i], vacuumAt) {
			continue
		}
		if above(s.t[i]-s.t[i-1], s.gap) {
			return Figure{}
		}
		share := (s.p[i-1] - vacuumAt) / (s.p[i-1] - s.p[i])
		return Known(s.t[i-1] + min(1, share)*(s.t[i]-s.t[i-1]))
	}
	return Figure{}
}

// longestOf is the hold as recorded of a set of conditions.
func (s *subject) longestOf(set conditionSet, bridged bool) span {
	s.work.spans = s.conditions.spans(s.work.spans[:0], set, bridged)
	return longest(s.work.spans)
}

// figures fills in what is measured over an interval of time: temperatures, their
// spread and their difference from the steam temperature, at the readings inside it.
func (s *subject) figures(over span) {
	m := &s.measured
	m.HoldFrom, m.HoldTo = Known(over.from), Known(over.to)
	in := s.inside(s.exposed, over.from, over.to)
	if !in.any() {
		return
	}
	lo, hi, spread := math.Inf(1), math.Inf(-1), 0.0
	highest := s.highest[in.from : in.to+1]
	for i, least := range s.lowest[in.from : in.to+1] {
		most := highest[i]
		if least < lo {
			lo = least
		}
		if most > hi {
			hi = most
		}
		if most-least > spread {
			spread = most - least
		}
	}
	m.TemperatureMin, m.TemperatureMax = Known(lo), Known(hi)
	if len(s.judged) > 1 {
		m.Spread = Known(spread)
	}
	if s.p == nil {
		return
	}
	m.SteamMean = timeMean(s.t[in.from:in.to+1], s.apart[in.from-s.exposed.from:in.to+1-s.exposed.from])
	const inner = 5.0 // s
	at := s.inside(in, over.from+inner, over.to-inner)
	if !at.any() {
		return
	}
	largest := -1.0
	for _, d := range s.apart[at.from-s.exposed.from : at.to+1-s.exposed.from] {
		if size := math.Abs(d); size > largest { // NaN is not
			largest, m.SteamGap = size, Known(d)
		}
	}
}

// cut is the part of a column that lies in the exposure.
func (s *subject) cut(xs []float64) []float64 { return xs[s.exposed.from : s.exposed.to+1] }

// setConditions lays out the quantities of the exposure and their limits.
func (s *subject) setConditions() {
	s.conditions = newConditions(s.cut(s.t), s.gap, s.work)
	for k, c := range s.judged {
		s.conditions.add(quantity{inBand, s.cut(c.celsius), s.ts, s.ts + s.band}, s.uT)
		for _, d := range s.judged[:k] {
			s.conditions.add(quantity{inSpread, s.difference(d.celsius, c.celsius), -within2K, within2K}, s.uSpread)
		}
	}
	s.allSet = inBand | inSpread
	if s.p == nil {
		return
	}
	s.allSet |= inSteam
	for i := s.exposed.from; i <= s.exposed.to; i++ {
		if p := s.p[i]; !(p > underSteam) { // the others are there already
			s.tsteam[i] = float64(steam.Celsius(cycle.Kilopascal(p)))
		}
	}
	s.apart = s.difference(s.ref, s.tsteam)
	s.conditions.addVarying(quantity{inSteam, s.apart, -within2K, within2K},
		min(s.uT, steamULimit), steamULimit, func(i int) float64 { return s.steamUAt(s.exposed.from + i) })
}

// steamUAt is the expanded uncertainty in K of the difference between the reference
// and the steam temperature at reading i.
func (s *subject) steamUAt(i int) float64 {
	u := math.Hypot(s.uT, steam.Slope(cycle.Kilopascal(s.p[i]))*s.uP)
	if !(u <= steamULimit) { // also where there is no steam and no slope
		return steamULimit
	}
	return u
}

// difference is a less b over the exposure.
func (s *subject) difference(a, b []float64) []float64 {
	a, b = s.cut(a), s.cut(b)
	dst := s.work.floats.take(len(a))
	for i := range dst {
		dst[i] = a[i] - b[i]
	}
	return dst
}

// equilibrate measures the equilibration time, and once more with the lower limit of
// every judged channel but the reference lowered by the uncertainty of a difference.
func (s *subject) equilibrate() {
	if len(s.judged) < 2 {
		return
	}
	s.eq = s.lagBehind(s.bandSpans)
	n := s.lastingBy()
	relaxed := newConditions(s.cut(s.t)[:n], s.gap, s.work)
	for k, c := range s.judged {
		lo := s.ts
		if k != s.cols.ref {
			lo -= math.Sqrt2 * s.uT
		}
		relaxed.add(quantity{inBand, s.cut(c.celsius)[:n], lo, s.ts + s.band}, 0)
	}
	s.work.spans = relaxed.spans(s.work.spans[:0], inBand, false)
	s.eqLow = s.lagBehind(s.work.spans)
}

// lastingBy is the number of readings of the exposure by which an interval of the band has
// lasted: with wider limits one that lasts starts no later, and no reading behind these
// can change its start. All of them if none lasts.
func (s *subject) lastingBy() int {
	t := s.cut(s.t)
	for _, interval := range s.bandSpans {
		if atLeast(interval.length(), shortest) {
			return min(len(t), 1+sort.SearchFloat64s(t, interval.from+shortest))
		}
	}
	return len(t)
}

// lagBehind is the start of the first interval that lasts, minus the moment at which the
// reference first reached ts after it was last more than 2 K below before that interval.
// Missing if either lies where the record does not show it: at the first reading of the
// exposure, or at a gap.
func (s *subject) lagBehind(spans []span) Figure {
	for _, interval := range spans {
		if !atLeast(interval.length(), shortest) {
			continue
		}
		reached, ok := s.reached(interval.from)
		if !ok || interval.atEdge {
			return Figure{}
		}
		return Known(max(0, interval.from-reached))
	}
	return Figure{}
}

// reached is the moment at which the reference first reached ts after it was last
// more than 2 K below, before a moment.
func (s *subject) reached(before float64) (float64, bool) {
	cold := sort.SearchFloat64s(s.t, before) - 1
	for cold >= 0 && !below(s.ref[cold], s.ts-nearTs) {
		cold--
	}
	if cold < 0 {
		return 0, false
	}
	i := cold + 1
	for i < len(s.t) && !atLeast(s.ref[i], s.ts) {
		i++
	}
	if i == len(s.t) || above(s.t[i]-s.t[i-1], s.gap) {
		return 0, false
	}
	a, _ := within(s.ref[i-1], s.ref[i], s.ts, math.Inf(1))
	at := s.t[i-1] + a*(s.t[i]-s.t[i-1])
	return at, !sameLimit(at, s.t[s.exposed.from])
}
