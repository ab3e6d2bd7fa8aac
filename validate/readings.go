package validate

import (
	"math"
	"slices"

	"holdproof/parse/cycle"
)

// What a reading can be at all (ours: wider than any steriliser reaches).
const (
	coldest, hottest    = -20.0, 200.0 // °C
	highestPressure     = 600.0        // kPa absolute
	lowestGaugePressure = -101.0       // kPa
)

// A spike is one reading off both its neighbours to the same side (ours).
const (
	spikeHeight = 1.0 // K, and at least two steps of the channel
	spikeRest   = 0.5 // K, at most, between the neighbours
	spikeTime   = 5.0 // s, at most, to each neighbour
)

// removal is a row that is no reading, and which of its cells is why.
type removal struct {
	at      float64 // s
	line    int
	heading string
	spike   bool
}

// readings are the rows of a record that can be readings, as columns of one length.
type readings struct {
	t       []float64 // s
	lines   []int
	judged  []column
	ref     []float64 // °C, of the reference channel
	p       []float64 // kPa absolute; nil where it cannot be known
	asRead  []float64 // kPa as the record has it; nil without a pressure
	tsteam  []float64 // °C from p, above 110 kPa and in the exposure, else NaN; nil without p
	lowest  []float64 // °C, of the judged channels
	highest []float64 // °C, of the judged channels
	pressed []window  // runs of readings above 110 kPa
	pace    pace      // of all of them
	removed []removal // in the order of time
	pStep   float64   // kPa, see step
	work    *workspace
}

// column is a judged channel.
type column struct {
	heading string
	role    cycle.Role
	celsius []float64
	step    float64 // K, see step
}

// read takes the rows of a record that can be readings. Other columns' cells never count.
func read(raw cycle.Readings, cols columns, ps pressureScale, w *workspace) *readings {
	n := len(raw.Seconds)
	r := &readings{work: w}
	r.t, r.lines = raw.Seconds, raw.Lines
	possible, pointed := true, false
	for _, k := range cols.judged {
		c := column{heading: raw.Channels[k].Heading, role: cols.role(raw, k), celsius: w.floats.take(n)}
		p, q := survey(c.celsius, raw.Channels[k].Celsius)
		possible, pointed = possible && p, pointed || q
		r.judged = append(r.judged, c)
	}
	if raw.Pressure != nil {
		r.asRead = raw.Pressure.KPa
		lo, hi := ps.possible()
		possible = possible && allWithin(r.asRead, lo, hi)
	}
	if !possible {
		r.keepRows(r.impossible(raw, cols, ps))
	}
	for k := range r.judged {
		r.judged[k].step = step(r.judged[k].celsius, enoughStepK)
	}
	if pointed || !possible {
		r.removeSpikes()
	}
	if cols.ref >= 0 {
		r.ref = r.judged[cols.ref].celsius
	}
	r.pressure(ps)
	r.extent()
	r.pace = paceOf(r.t)
	return r
}

// survey copies a column of temperatures and looks at it on the way: whether all of
// them can be temperatures, and whether any lies so far off both its neighbours to one
// side as a spike does.
func survey(dst []float64, values []cycle.Celsius) (possible, pointed bool) {
	possible, dst = true, dst[:len(values)]
	before, change := float64(values[0]), 0.0
	for i, c := range values {
		v := float64(c)
		dst[i] = v
		if !(v >= coldest-limitTolerance && v <= hottest+limitTolerance) { // written so that NaN fails
			possible = false
		}
		now := v - before
		if now*change < -0.99*spikeHeight*spikeHeight {
			pointed = true
		}
		before, change = v, now
	}
	return possible, pointed
}

func allWithin(values []float64, lo, hi float64) bool {
	lo, hi = lo-limitTolerance, hi+limitTolerance
	for _, v := range values {
		if !(v >= lo && v <= hi) { // written so that NaN fails
			return false
		}
	}
	return true
}

// keepRows drops the bad rows. Time, lines and pressure become new columns: those of
// the record are not ours to change.
func (r *readings) keepRows(bad []bool) {
	lines := make([]int, 0, len(r.lines))
	for i, line := range r.lines {
		if !bad[i] {
			lines = append(lines, line)
		}
	}
	r.lines = lines
	r.t = kept(r.work.floats.take(len(r.t)), r.t, bad)
	if r.asRead != nil {
		r.asRead = kept(r.work.floats.take(len(r.asRead)), r.asRead, bad)
	}
	for k := range r.judged {
		r.judged[k].celsius = kept(r.judged[k].celsius, r.judged[k].celsius, bad)
	}
}

// kept copies the values that are not bad; dst may be values.
func kept(dst, values []float64, bad []bool) []float64 {
	dst = dst[:0]
	for i, v := range values {
		if !bad[i] {
			dst = append(dst, v)
		}
	}
	return dst
}

// impossible marks the rows in which a judged temperature or the pressure cannot be a
// reading. There is at least one.
func (r *readings) impossible(raw cycle.Readings, cols columns, ps pressureScale) []bool {
	bad, why := make([]bool, len(raw.Seconds)), make(map[int]string)
	mark := func(i int, heading string) {
		if !bad[i] {
			bad[i], why[i] = true, heading
		}
	}
	for _, k := range cols.judged {
		for i, v := range raw.Channels[k].Celsius {
			if !(v >= coldest-limitTolerance && v <= hottest+limitTolerance) { // written so that NaN fails
				mark(i, raw.Channels[k].Heading)
			}
		}
	}
	if raw.Pressure != nil {
		lo, hi := ps.possible()
		for i, v := range raw.Pressure.KPa {
			if !(v >= lo-limitTolerance && v <= hi+limitTolerance) {
				mark(i, raw.Pressure.Heading)
			}
		}
	}
	for i, b := range bad {
		if b {
			r.removed = append(r.removed, removal{at: raw.Seconds[i], line: raw.Lines[i], heading: why[i]})
		}
	}
	return bad
}

// removeSpikes removes the rows in which a judged temperature is a spike. All are
// found on the same readings, before any is removed.
func (r *readings) removeSpikes() {
	var found map[int]string
	for _, c := range r.judged {
		height := max(spikeHeight, 2*c.step)
		for i := 1; i+1 < len(c.celsius); i++ {
			if !atLeast(math.Abs(c.celsius[i]-c.celsius[i-1]), height) || !r.spike(c.celsius, i, height) {
				continue
			}
			if found == nil {
				found = make(map[int]string)
			}
			if _, known := found[i]; !known {
				found[i] = c.heading
			}
		}
	}
	if found == nil {
		return
	}
	r.drop(found)
}

func (r *readings) spike(values []float64, i int, height float64) bool {
	before, at, after := values[i-1], values[i], values[i+1]
	off := max(min(at-before, at-after), min(before-at, after-at)) // to the same side
	return atLeast(off, height) && atMost(math.Abs(before-after), spikeRest) &&
		atMost(r.t[i]-r.t[i-1], spikeTime) && atMost(r.t[i+1]-r.t[i], spikeTime)
}

func (r *readings) drop(found map[int]string) {
	bad := make([]bool, len(r.t))
	for i := range r.t {
		heading, spike := found[i]
		if !spike {
			continue
		}
		bad[i] = true
		r.removed = append(r.removed, removal{at: r.t[i], line: r.lines[i], heading: heading, spike: true})
	}
	slices.SortStableFunc(r.removed, func(a, b removal) int { return a.line - b.line })
	r.keepRows(bad)
}

// pressure makes the recorded pressure absolute, where that can be done, and
// evaluates the saturation line where there may be steam.
func (r *readings) pressure(ps pressureScale) {
	if r.asRead == nil {
		return
	}
	r.pStep = step(r.asRead, enoughStepKPa)
	offset, ok := ps.offset()
	if !ok {
		return
	}
	n := len(r.asRead)
	r.p, r.tsteam = r.asRead, r.work.floats.take(n)
	if offset != 0 {
		r.p = r.work.floats.take(n)
		for i, v := range r.asRead {
			r.p[i] = v + offset
		}
	}
	from, none := -1, math.NaN()
	for i, p := range r.p {
		if p > underSteam {
			r.tsteam[i] = r.work.steam.at(p)
			if from < 0 {
				from = i
			}
			continue
		}
		r.tsteam[i] = none
		if from >= 0 {
			r.pressed = append(r.pressed, window{from, i - 1})
			from = -1
		}
	}
	if from >= 0 {
		r.pressed = append(r.pressed, window{from, n - 1})
	}
}

// extent finds the lowest and the highest judged temperature at each reading.
func (r *readings) extent() {
	if len(r.judged) == 0 {
		return
	}
	r.lowest, r.highest = r.judged[0].celsius, r.judged[0].celsius
	for _, c := range r.judged[1:] {
		n := len(c.celsius)
		lo, hi := r.work.floats.take(n)[:n], r.work.floats.take(n)[:n]
		lowest, highest := r.lowest[:n], r.highest[:n]
		for i, v := range c.celsius {
			a, b := lowest[i], highest[i]
			widen(&a, &b, v)
			lo[i], hi[i] = a, b
		}
		r.lowest, r.highest = lo, hi
	}
}

// A step at most this large is as good as any smaller one to every rule but the
// rate of a leak test.
const (
	enoughStepK   = 0.1 // K
	enoughStepKPa = 0.2 // kPa
)

// step returns the smallest difference between two different values of a column: the
// step in which its recorder writes. 0 if all values are equal. A difference of at
// most enough between neighbours in time is returned as soon as it is seen: no rule
// asks for more. Values within the tolerance of comparisons are equal.
func step(values []float64, enough float64) float64 {
	for i := 1; i < len(values); i++ {
		if d := math.Abs(values[i] - values[i-1]); d > limitTolerance && d <= enough+limitTolerance {
			return d
		}
	}
	return smallestStep(values)
}

// smallestStep is [step] in full.
func smallestStep(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	least := math.Inf(1)
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i] - sorted[i-1]; d > limitTolerance {
			least = min(least, d)
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}
