package validate

import (
	"math"

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
	all := s.conditions.spans(nil, s.allSet, false)
	s.longestBand, s.longestAll = longest(s.bandSpans), longest(all)
	s.guardedAll = s.conditions.guarded(s.allSet)
	s.possible = s.conditions.possible(s.allSet)
	s.bridged = s.longestOf(s.allSet, true)
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
		m.HoldFrom, m.HoldTo = Known(over.from), Known(over.to)
		s.figures(m, s.exposed, over)
	}
}

// longestOf is the hold as recorded of a set of conditions, in s.
func (s *subject) longestOf(set conditionSet, bridged bool) float64 {
	return longest(s.conditions.spans(nil, set, bridged)).length()
}

// setConditions lays out the quantities of the exposure and their limits.
func (s *subject) setConditions() {
	n := s.exposed.to - s.exposed.from + 1
	cut := func(xs []float64) []float64 { return xs[s.exposed.from : s.exposed.to+1] }
	bits := make([]conditionSet, 2*n)
	s.conditions = conditions{t: cut(s.t), gap: s.gap, unmet: bits[:n], unguarded: bits[n:]}
	pairs := len(s.judged) * (len(s.judged) - 1) / 2
	memory := make(floats, n*(pairs+1))
	for k, c := range s.judged {
		s.conditions.add(quantity{inBand, cut(c.celsius), s.ts, s.ts + s.band}, s.uT)
		for _, d := range s.judged[:k] {
			s.conditions.add(quantity{inSpread, difference(memory.take(n), cut(d.celsius), cut(c.celsius)), -within2K, within2K}, s.uSpread)
		}
	}
	s.allSet = inBand | inSpread
	if s.p == nil {
		return
	}
	s.allSet |= inSteam
	s.conditions.addVarying(quantity{inSteam, difference(memory.take(n), cut(s.ref), cut(s.tsteam)), -within2K, within2K},
		min(s.uT, steamULimit), steamULimit, func(i int) float64 { return s.steamUAt(s.exposed.from + i) })
}

// steamUAt is the expanded uncertainty in K of the difference between the reference
// and the steam temperature at reading i.
func (s *subject) steamUAt(i int) float64 {
	return min(steamULimit, math.Hypot(s.uT, steam.Slope(cycle.Kilopascal(s.p[i]))*s.uP))
}

func difference(dst, a, b []float64) []float64 {
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
	relaxed := s.conditions
	relaxed.quantities = nil
	relaxed.unmet = make([]conditionSet, len(relaxed.t))
	relaxed.unguarded = make([]conditionSet, len(relaxed.t))
	for k, c := range s.judged {
		lo := s.ts
		if k != s.cols.ref {
			lo -= math.Sqrt2 * s.uT
		}
		relaxed.add(quantity{inBand, c.celsius[s.exposed.from : s.exposed.to+1], lo, s.ts + s.band}, 0)
	}
	s.eqLow = s.lagBehind(relaxed.spans(nil, inBand, false))
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
	cold := -1
	for i, t := range s.t {
		if t >= before {
			break
		}
		if below(s.ref[i], s.ts-nearTs) {
			cold = i
		}
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
