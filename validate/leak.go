package validate

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// The limits of an air leakage test.
const (
	leakLimit    = 0.13  // kPa/min
	leakMeasured = 600.0 // s, of measurement
	leakSettling = 300.0 // s, before it
	leakStarted  = 20.0  // kPa: above, the test did not start (ours)
	leakStarts   = 7.0   // kPa: where the standard wants it to start
)

var leakSource = Source{"HTM 2010 part 3 (0.13 kPa/min over 600 s after 300 s); EN 285 (from 7 kPa: memory)", SecondHand}

// leakChecks are what an air leakage test is held against.
var leakChecks = []check{
	{"kind", "It is known what the record is of.", ours("inferred from the readings, a person must confirm it"), leakKind},
	{"columns", "Every temperature column is known, and each load column is a sensor of its own.",
		ours("a column nobody knows is not ignored"), columnsKnown},
	{"air-leakage", "With the pump stopped, the pressure rises by at most 0.13 kPa/min.", leakSource, airLeakage},
	{"recorder-statement", "The recorder itself reports no fault.", ours("the words of the record"), recorderStatement},
}

func leakKind(s *subject) Finding {
	if !s.choice.leakInferred {
		return skip
	}
	return Finding{Outcome: Borderline, Message: "the readings look like an air leakage test",
		Remedy: "Confirm that this was an air leakage test and not a load."}
}

// leakFigures are what is measured in an air leakage test. The test starts at t0 and
// is measured over the 600 s before te.
type leakFigures struct {
	t0, te     float64 // s
	atT0       float64 // kPa
	tooShort   bool    // less than 900 s from t0 to te, less what the interval blurs
	soFar      float64 // kPa/min from t0 + 60 s to te
	soFarLasts float64 // s
	rate       float64 // kPa/min over the last 600 s
	lateRate   float64 // kPa/min over the last 300 s
	step       float64 // kPa, smallest difference of two different pressures
	readings   int     // in the 600 s
	gap        bool    // in the 600 s
	fell       bool    // a whole minute's mean lies below an earlier one
	warming    float64 // K, largest range of a judged temperature over the 600 s
}

// measureLeak finds the test in the record and measures it.
func (s *subject) measureLeak() leakFigures {
	var l leakFigures
	s.m, s.mKnown = s.interval(0, len(s.t)-1)
	s.gap = gapLimit(s.m, leakMeasured)
	s.measured.Sampling = Figure{s.m, s.mKnown}
	if s.p == nil {
		return l
	}
	start := s.leakStart()
	end := s.leakEnd(start)
	l.t0, l.te, l.atT0 = s.t[start], s.t[end], s.p[start]
	at := func(t float64) float64 { return s.pressureAt(s.p, t) }
	l.tooShort = below(l.te-l.t0, leakSettling+leakMeasured-max(30, 3*s.m))
	if l.soFarLasts = l.te - l.t0 - 60; l.soFarLasts > 0 {
		l.soFar = (s.p[end] - at(l.t0+60)) / l.soFarLasts * 60
	}
	l.rate = (s.p[end] - at(l.te-leakMeasured)) / 10
	l.lateRate = (s.p[end] - at(l.te-300)) / 5
	l.step = smallestStep(s.p)
	w := s.inside(window{0, end}, l.te-leakMeasured, l.te)
	l.readings = w.to - w.from + 1
	for i := max(w.from, 1); i <= w.to; i++ {
		l.gap = l.gap || above(s.t[i]-s.t[i-1], s.gap) && above(s.t[i], l.te-leakMeasured)
	}
	l.fell = s.minuteFell(l.t0+60, l.te, max(0.5, 3*l.step))
	for _, c := range s.judged {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range c.celsius[w.from : w.to+1] {
			lo, hi = min(lo, v), max(hi, v)
		}
		l.warming = max(l.warming, hi-lo)
	}
	return l
}

// leakStart is the first reading at most 3 kPa above the record's lowest pressure from
// which pressure falls by less than 0.5 kPa within the next 60 s.
func (s *subject) leakStart() int {
	lowest := slices.Min(s.p)
	for i, p := range s.p {
		if atMost(p, lowest+3) && below(p-s.pressureAt(s.p, s.t[i]+60), 0.5) {
			return i
		}
	}
	return slices.Index(s.p, lowest) // the loop ends before: nothing lies below the lowest
}

// leakEnd is the last reading of the measurement: the last one at least max(10 s, m)
// before the return to atmosphere, or of the record if there is no return.
func (s *subject) leakEnd(start int) int {
	back := s.returnToAir(start)
	if back < 0 {
		return len(s.t) - 1
	}
	end := start
	for i := start; i < back && atMost(s.t[i], s.t[back]-max(10, s.m)); i++ {
		end = i
	}
	return end
}

// returnToAir is the first reading after start from which pressure rises by more than
// 20 kPa within 120 s, and at more than 10 kPa/min and ten times the median rate of the
// readings from start to before it; -1 if there is none. A rate is taken over the next
// max(10 s, one reading).
func (s *subject) returnToAir(start int) int {
	const rise, within, fast, times = 20.0, 120.0, 10.0, 10.0
	var rates []float64 // sorted, of the readings from start to before those in rated
	rated := start
	for i := start + 1; i+1 < len(s.t); i++ {
		r := s.rateFrom(i)
		if !above(r, fast) || !above(s.highestWithin(i, within)-s.p[i], rise) {
			continue
		}
		for ; rated < i; rated++ {
			v := s.rateFrom(rated)
			rates = slices.Insert(rates, sort.SearchFloat64s(rates, v), v)
		}
		n := len(rates)
		if above(r, times*(rates[(n-1)/2]+rates[n/2])/2) {
			return i
		}
	}
	return -1
}

// rateFrom is the rate of rise in kPa/min over max(10 s, one reading) from reading i,
// shorter where the record ends sooner.
func (s *subject) rateFrom(i int) float64 {
	last := len(s.t) - 1
	if i >= last {
		return 0
	}
	to := min(max(s.t[i]+10, s.t[i+1]), s.t[last])
	return (s.pressureAt(s.p, to) - s.p[i]) / (to - s.t[i]) * 60
}

// highestWithin is the highest pressure within so many seconds after reading i.
func (s *subject) highestWithin(i int, seconds float64) float64 {
	top := s.pressureAt(s.p, s.t[i]+seconds)
	for k := i; k < len(s.t) && s.t[k] <= s.t[i]+seconds; k++ {
		top = max(top, s.p[k])
	}
	return top
}

// minuteFell tells whether the mean of a whole minute, counted from one time and within
// another, lies more than so many kPa below that of an earlier one.
func (s *subject) minuteFell(from, to, by float64) bool {
	highest := math.Inf(-1)
	for i := sort.SearchFloat64s(s.t, from); i < len(s.t); {
		end := from + 60*(math.Floor((s.t[i]-from)/60)+1)
		if !atMost(end, to) {
			return false
		}
		sum, n := 0.0, 0
		for ; i < len(s.t) && (n == 0 || s.t[i] < end); i++ {
			sum += s.p[i]
			n++
		}
		mean := sum / float64(n)
		if above(highest-mean, by) {
			return true
		}
		highest = max(highest, mean)
	}
	return false
}

func airLeakage(s *subject) Finding {
	l := s.leak
	f := Finding{High: Known(leakLimit), Unit: "kPa/min"}
	notProven := func(message, remedy string) Finding {
		f.Outcome, f.Message, f.Remedy = NotProven, message, remedy
		return f
	}
	if s.p == nil {
		g := steamAgreement(s)
		f.Key = g.Key
		return notProven(g.Message, g.Remedy)
	}
	f = s.place(f, l.t0)
	if above(l.atT0, leakStarted) {
		return notProven("the test did not start: the pressure never went below "+AtLeast(l.atT0, 1)+" kPa, needs "+plain(leakStarted)+" kPa or less",
			"Run the test again.")
	}
	if above(l.atT0, leakStarts) {
		s.remark("the test started at " + AtMost(l.atT0, 1) + " kPa, the standard wants 7 kPa or less")
	}
	if l.tooShort {
		if above(l.soFar, 2*leakLimit) && atLeast(l.soFarLasts, 300) {
			f.Outcome, f.Remedy = Failed, callHelp
			f.Message = "the pressure rose by " + AtMost(l.soFar, 3) + " kPa/min until the test was cut short, at most " + plain(leakLimit)
			return f
		}
		return notProven("the test lasted "+lasted(l.te-l.t0)+", needs "+needs(leakSettling+leakMeasured), "Run the test again, to its end.")
	}
	s.measured.Leak = Known(l.rate)
	s.measured.HoldFrom, s.measured.HoldTo = Known(l.te-leakMeasured), Known(l.te)
	f.Measured, f.Uncertainty = Known(l.rate), Known(l.step/10)
	if l.readings < 10 {
		return notProven(fmt.Sprintf("only %d readings in the 600 s of the measurement, needs 10", l.readings), "Ask the lead to set the recorder to a shorter interval.")
	}
	if l.gap {
		return notProven("readings are missing in the 600 s of the measurement", exportNew)
	}
	f.Message = "the pressure rose by " + AtMost(l.rate, 3) + " kPa/min, at most " + plain(leakLimit)
	if above(l.rate, leakLimit) {
		f.Outcome, f.Remedy = Failed, callHelp
		return f
	}
	f.Outcome = Conforms
	if doubts := l.doubts(); len(doubts) > 0 {
		f.Outcome, f.Remedy = Borderline, "Tell the lead; run the test again."
		f.Message += "; " + doubts[0]
		for _, d := range doubts[1:] {
			s.remark(d)
		}
	}
	return f
}

// doubts are what keeps a leak rate within the limit from being taken at its word.
func (l leakFigures) doubts() []string {
	var out []string
	for _, d := range []struct {
		is   bool
		text string
	}{
		{above(l.rate+l.step/10, leakLimit), "the recorder's step of " + AtMost(l.step, 3) + " kPa may hide more"},
		{atMost(l.rate, max(0.005, min(l.step, 0.1)/10)), "a chamber that does not leak at all is rare: was the pump stopped?"},
		{above(l.lateRate-l.step/5, leakLimit), "it rose by " + AtMost(l.lateRate, 3) + " kPa/min in the last 5 min: the pump stopped late"},
		{l.fell, "the pressure fell again after the start: the pump ran again"},
		{atLeast(l.warming, 10), "a temperature moved by " + AtMost(l.warming, 1) + " K, which moves the pressure too"},
	} {
		if d.is {
			out = append(out, d.text)
		}
	}
	return out
}
