package validate

import "math"

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
	first, alike := r.t[from+1]-r.t[from], 0
	steps := r.work.steps[:0]
	for i := from; i < to; i++ {
		d := r.t[i+1] - r.t[i]
		if steps = append(steps, d); d == first {
			alike++
		}
	}
	r.work.steps = steps
	if 2*alike > to-from {
		return first, true // as most recorders write, and no sorting needed
	}
	return median(steps)
}

// gapLimit is the distance in s beyond which two neighbouring readings have a gap
// between them, for an interval m and a required hold (ours).
func gapLimit(m, hold float64) float64 { return max(2, 1.5*m, min(3*m, hold/10)) }

// lethality is F0 in minutes: at each reading the lowest judged temperature T, its
// lethal rate 10^((T - 121.1 °C)/10 K), trapezoidal over the whole record, nothing
// across a gap. Information only: Tref differs between authors.
func (r *readings) lethality(gap float64) float64 {
	sum, before := 0.0, r.work.rates.of(r.lowest[0])
	for i := 1; i < len(r.t); i++ {
		now := r.work.rates.of(r.lowest[i])
		if d := r.t[i] - r.t[i-1]; !above(d, gap) {
			sum += (before + now) / 2 * d
		}
		before = now
	}
	return sum / 60
}

// inside returns the readings of w from one time to another, ends included.
func (r *readings) inside(w window, from, to float64) window {
	for w.any() && !atLeast(r.t[w.from], from) {
		w.from++
	}
	for w.any() && !atMost(r.t[w.to], to) {
		w.to--
	}
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
