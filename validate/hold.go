package validate

import (
	"math"
	"sort"
)

// Pressures that tell steam from air, kPa absolute (ours).
const underSteam = 110.0

// nearTs: the exposure starts and ends within 2 K of the sterilising temperature.
const nearTs = 2.0

// window is a run of readings by index, both ends included; none when to < from.
type window struct{ from, to int }

var noWindow = window{0, -1}

func (w window) any() bool { return w.to >= w.from }

func (w window) has(i int) bool { return w.from <= i && i <= w.to }

// underPressure tells that reading i is above 110 kPa, or that this cannot be known.
func (r *readings) underPressure(i int) bool { return r.p == nil || above(r.p[i], underSteam) }

// exposure is from the first to the last reading with the reference within 2 K of ts
// or hotter, above 110 kPa, and one reading more at either side. Nothing outside it
// counts for conditions, ceiling or interruptions: a chamber kept hot in vacuum while
// drying is not a plateau (ours).
func (r *readings) exposure(ts float64) window {
	in := func(i int) bool { return atLeast(r.ref[i], ts-nearTs) && r.underPressure(i) }
	first, last := 0, len(r.t)-1
	for first <= last && !in(first) {
		first++
	}
	for last >= first && !in(last) {
		last--
	}
	if last < first {
		return noWindow
	}
	return window{max(first-1, 0), min(last+1, len(r.t)-1)}
}

// plateau is from the first to the last reading of the exposure at ts or above.
func (r *readings) plateau(e window, ts float64) window {
	for e.any() && !atLeast(r.ref[e.from], ts) {
		e.from++
	}
	for e.any() && !atLeast(r.ref[e.to], ts) {
		e.to--
	}
	return e
}

// interval is the median time between the readings from one index to another, in s;
// false if there is none.
func (r *readings) interval(from, to int) (float64, bool) {
	if to <= from {
		return 0, false
	}
	pace := r.pace
	if from > 0 || to < len(r.t)-1 {
		if pace.even() {
			return pace.first, true
		}
		pace = paceOf(r.t[from : to+1])
	}
	if 2*pace.alike > pace.steps {
		return pace.first, true // as most recorders write, and no sorting needed
	}
	steps := r.work.steps[:0]
	for i := from; i < to; i++ {
		steps = append(steps, r.t[i+1]-r.t[i])
	}
	r.work.steps = steps
	return median(steps)
}

// pace is how the times of readings follow one another: how many steps there are, the
// first, how many are exactly like it, and the longest, in s.
type pace struct {
	steps, alike   int
	first, longest float64
}

func (p pace) even() bool { return p.alike == p.steps }

func paceOf(t []float64) pace {
	if len(t) < 2 {
		return pace{}
	}
	p := pace{steps: len(t) - 1, first: t[1] - t[0]}
	before := t[0]
	for _, now := range t[1:] {
		d := now - before
		if d == p.first {
			p.alike++
		} else if d > p.longest {
			p.longest = d
		}
		before = now
	}
	p.longest = max(p.longest, p.first)
	return p
}

// gapLimit is the distance in s beyond which two neighbouring readings have a gap
// between them, for an interval m and a required hold (ours).
func gapLimit(m, hold float64) float64 { return max(2, 1.5*m, min(3*m, hold/10)) }

// lethality is F0 in minutes: at each reading the lowest judged temperature T, its
// lethal rate 10^((T - 121.1 °C)/10 K), trapezoidal over the whole record, nothing
// across a gap. Information only: Tref differs between authors.
func (r *readings) lethality(gap float64) float64 {
	rates := &r.work.rates
	sum, rate, at := 0.0, rates.of(r.lowest[0]), r.t[0]
	lowest := r.lowest[:len(r.t)]
	for i, t := range r.t {
		now := rates.of(lowest[i])
		if d := t - at; !above(d, gap) {
			sum += (rate + now) / 2 * d
		}
		rate, at = now, t
	}
	return sum / 60
}

// inside returns the readings of w from one time to another, ends included.
func (r *readings) inside(w window, from, to float64) window {
	if !w.any() {
		return w
	}
	t := r.t[:w.to+1]
	w.from += sort.Search(len(t)-w.from, func(i int) bool { return atLeast(t[w.from+i], from) })
	w.to = w.from + sort.Search(len(t)-w.from, func(i int) bool { return !atMost(t[w.from+i], to) }) - 1
	return w
}

// timeMean is the mean of a quantity over time, trapezoidal; of one reading its value.
// Missing where there is no reading, or where the quantity is missing at one.
func timeMean(t, values []float64) Figure {
	if len(t) == 0 {
		return Figure{}
	}
	mean := values[0]
	if last := len(t) - 1; last > 0 {
		sum := 0.0
		for i := range last {
			sum += (values[i] + values[i+1]) / 2 * (t[i+1] - t[i])
		}
		mean = sum / (t[last] - t[0])
	}
	if math.IsNaN(mean) {
		return Figure{}
	}
	return Known(mean)
}
