package validate

// A set of conditions, as bits.
type conditionSet uint8

const (
	inBand   conditionSet = 1 << iota // every judged temperature in Ts to Ts + B
	inSpread                          // every pair of channels within 2 K
	inSteam                           // reference and steam temperature within 2 K

	// gapNext is not a condition: a gap follows the reading, no line leads on from it.
	gapNext conditionSet = 1 << 7
)

// quantity is a recorded quantity that must stay within [lo, hi], ends included.
// Between neighbouring readings it is a straight line.
type quantity struct {
	set    conditionSet
	values []float64
	lo, hi float64
}

// conditions are the quantities of an exposure and, for each reading, which sets are
// not met as recorded, and not met with both limits moved inwards by the uncertainty.
type conditions struct {
	t          []float64
	quantities []quantity
	unmet      []conditionSet // with gapNext
	unguarded  []conditionSet // with gapNext
	gaps       int
}

// newConditions has no quantity yet. Neighbours further apart than gap have no line
// between them.
func newConditions(t []float64, gap float64, w *workspace) conditions {
	c := conditions{t: t, unmet: w.bits.take(len(t)), unguarded: w.bits.take(len(t))}
	clear(c.unmet)
	clear(c.unguarded)
	for i := range len(t) - 1 {
		if above(t[i+1]-t[i], gap) {
			c.unmet[i], c.unguarded[i] = gapNext, gapNext
			c.gaps++
		}
	}
	return c
}

// span is an interval of time in which conditions are met; its ends are exact crossings.
type span struct {
	from, to float64
	atEdge   bool // it starts at the first reading, or at the first after a gap
}

func (s span) length() float64 { return s.to - s.from }

// add makes q a condition with the expanded uncertainty u, the same at all readings.
func (c *conditions) add(q quantity, u float64) {
	lo, hi := q.lo-limitTolerance, q.hi+limitTolerance
	c.quantities = append(c.quantities, q)
	for i, v := range q.values {
		if lo+u <= v && v <= hi-u {
			continue
		}
		c.unguarded[i] |= q.set
		if !(lo <= v && v <= hi) { // written so that NaN is not met
			c.unmet[i] |= q.set
		}
	}
}

// addVarying makes q a condition with an uncertainty that differs from reading to
// reading, between least and most; u is asked only where it decides.
func (c *conditions) addVarying(q quantity, least, most float64, u func(int) float64) {
	lo, hi := q.lo-limitTolerance, q.hi+limitTolerance
	c.quantities = append(c.quantities, q)
	for i, v := range q.values {
		if lo+most <= v && v <= hi-most {
			continue
		}
		if !(lo+least <= v && v <= hi-least) {
			c.unguarded[i] |= q.set
		} else if w := u(i); !(lo+w <= v && v <= hi-w) {
			c.unguarded[i] |= q.set
		}
		if !(lo <= v && v <= hi) { // written so that NaN is not met
			c.unmet[i] |= q.set
		}
	}
}

func (c *conditions) met(i int, set conditionSet) bool { return c.unmet[i]&set == 0 }

// spans appends the intervals in which all of set are met, in order. With bridged,
// the readings at either side of a gap are joined by a straight line too.
func (c *conditions) spans(dst []span, set conditionSet, bridged bool) []span {
	stop := set | gapNext
	if bridged {
		stop = set
	}
	last := len(c.t) - 1
	var at span
	open, edge := false, true
	for i := 0; i <= last; i++ {
		met := c.met(i, set)
		if met {
			if !open {
				at, open = span{from: c.t[i], atEdge: edge}, true
			}
			for i < last && c.unmet[i]&stop == 0 && c.unmet[i+1]&set == 0 {
				i++ // as long as it is met, only the ends matter
			}
		}
		if edge = i == last || c.unmet[i]&stop&gapNext != 0; edge {
			if open {
				at.to, open = c.t[i], false
				dst = append(dst, at)
			}
			continue
		}
		from, to, ok := c.crossings(i, set)
		if met {
			at.to, open = to, false
			dst = append(dst, at)
		} else if ok {
			at, open = span{from: from, to: to}, c.met(i+1, set)
			if !open {
				dst = append(dst, at)
			}
		}
	}
	return dst
}

// crossings returns when, between readings i and i+1, all of set are met.
func (c *conditions) crossings(i int, set conditionSet) (from, to float64, ok bool) {
	a, b := 0.0, 1.0
	for _, q := range c.quantities {
		if q.set&set == 0 {
			continue
		}
		qa, qb := within(q.values[i], q.values[i+1], q.lo-limitTolerance, q.hi+limitTolerance)
		a, b = max(a, qa), min(b, qb)
		if a > b {
			return 0, 0, false
		}
	}
	t0, t1 := c.t[i], c.t[i+1]
	from, to = t0+a*(t1-t0), t0+b*(t1-t0)
	if b == 1 {
		to = t1
	}
	return from, to, a <= b
}

// within returns the part of the line from u to v that lies in [lo, hi], as fractions
// of its length; the first is larger than the second if none does. A value that is
// missing has no line: only the other end can count.
func within(u, v, lo, hi float64) (float64, float64) {
	switch {
	case lo <= u && u <= hi && v != v:
		return 0, 0
	case lo <= v && v <= hi && u != u:
		return 1, 1
	case u != u || v != v || max(u, v) < lo || min(u, v) > hi:
		return 1, 0
	}
	a, b := 0.0, 1.0
	if u < lo {
		a = (lo - u) / (v - u)
	} else if u > hi {
		a = (hi - u) / (v - u)
	}
	if v < lo {
		b = (lo - u) / (v - u)
	} else if v > hi {
		b = (hi - u) / (v - u)
	}
	return a, b
}

// longest returns the first of the longest intervals, the zero span if there is none.
func longest(spans []span) span {
	var best span
	for _, s := range spans {
		if above(s.length(), best.length()) { // of two alike the first
			best = s
		}
	}
	return best
}

// guarded returns the length of the longest run of consecutive readings, no gap
// inside, at each of which all of set are met by more than the uncertainty: last time
// minus first.
func (c *conditions) guarded(set conditionSet) float64 {
	best := 0.0
	for i := 0; i < len(c.t); i++ {
		if c.unguarded[i]&set != 0 {
			continue
		}
		first := i
		i = endOfRun(c.unguarded, i, set)
		best = max(best, c.t[i]-c.t[first])
	}
	return best
}

// possible returns the longest time that all of set may have been met: the longest run
// of consecutive readings, no gap inside, at which they are, from the reading before
// the run to the one after it; at a gap or an end, from the run's own first or last.
func (c *conditions) possible(set conditionSet) float64 {
	best := 0.0
	for i := 0; i < len(c.t); i++ {
		if c.unmet[i]&set != 0 {
			continue
		}
		first := i
		if i > 0 && c.unmet[i-1]&gapNext == 0 {
			first--
		}
		i = endOfRun(c.unmet, i, set)
		last := i
		if i+1 < len(c.t) && c.unmet[i]&gapNext == 0 {
			last++
		}
		best = max(best, c.t[last]-c.t[first])
	}
	return best
}

// endOfRun returns the last reading of the run that starts at i: no gap inside, and none of
// the bits of set.
func endOfRun(bits []conditionSet, i int, set conditionSet) int {
	for i+1 < len(bits) && bits[i]&gapNext == 0 && bits[i+1]&set == 0 {
		i++
	}
	return i
}
