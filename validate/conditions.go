package validate

// A set of conditions, as bits.
type conditionSet uint8

const (
	inBand   conditionSet = 1 << iota // every judged temperature in Ts to Ts + B
	inSpread                          // every pair of channels within 2 K
	inSteam                           // reference and steam temperature within 2 K
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
	gap        float64 // s; neighbours further apart have no line between them
	quantities []quantity
	unmet      []conditionSet
	unguarded  []conditionSet
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

func (c *conditions) apart(i int) bool { return above(c.t[i+1]-c.t[i], c.gap) }

// spans appends the intervals in which all of set are met, in order. With bridged,
// the readings at either side of a gap are joined by a straight line too.
func (c *conditions) spans(dst []span, set conditionSet, bridged bool) []span {
	var at span
	open := false
	start := func(from float64, edge bool) { at, open = span{from: from, atEdge: edge}, true }
	stop := func(to float64) {
		at.to, open = to, false
		dst = append(dst, at)
	}
	edge := true
	for i := range c.t {
		met := c.met(i, set)
		if met && !open {
			start(c.t[i], edge)
		}
		if i+1 == len(c.t) || !bridged && c.apart(i) {
			if open {
				stop(c.t[i])
			}
			edge = true
			continue
		}
		edge = false
		next := c.met(i+1, set)
		if met && next {
			continue
		}
		from, to, ok := c.crossings(i, set)
		switch {
		case met:
			stop(to)
		case ok && next:
			start(from, false)
		case ok:
			start(from, false)
			stop(to)
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
		if s.length() > best.length() {
			best = s
		}
	}
	return best
}

// guarded returns the length of the longest run of consecutive readings, no gap
// inside, at each of which all of set are met by more than the uncertainty: last time
// minus first.
func (c *conditions) guarded(set conditionSet) float64 {
	best, first := 0.0, -1
	for i, bits := range c.unguarded {
		if bits&set != 0 {
			first = -1
			continue
		}
		if first < 0 || c.apart(i-1) {
			first = i
		}
		best = max(best, c.t[i]-c.t[first])
	}
	return best
}

// possible returns the longest time that all of set may have been met: the longest run
// of consecutive readings, no gap inside, at which they are, from the reading before
// the run to the one after it; at a gap or an end, from the run's own first or last.
func (c *conditions) possible(set conditionSet) float64 {
	best, from, running := 0.0, 0.0, false
	for i := range c.t {
		joined := i > 0 && !c.apart(i-1)
		if !c.met(i, set) {
			if running && joined {
				best = max(best, c.t[i]-from)
			}
			running = false
			continue
		}
		if !running || !joined {
			from, running = c.t[i], true
			if joined {
				from = c.t[i-1]
			}
		}
		best = max(best, c.t[i]-from)
	}
	return best
}
