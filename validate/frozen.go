package validate

import "math"

// A sensor is stuck when it stands still while another moves (ours).
const (
	frozenReadings = 5
	frozenTime     = 10.0 // s
	frozenK        = 0.2  // K
	frozenKPa      = 1.0  // kPa
	moving         = 10.0 // K
	frozenPressure = 120.0
)

// frozenChannel looks for a judged temperature that stands still above 110 kPa while
// the steam temperature moves, a pressure that stands still above 120 kPa while the
// reference moves, and a record that stands still altogether.
func frozenChannel(s *subject) Finding {
	f := Finding{Outcome: NotProven, Remedy: callHelp}
	if s.p != nil {
		for _, c := range s.judged {
			width := frozenK
			if above(c.step, frozenK) {
				width = 0
			}
			if at := s.stuck(c.celsius, width, underSteam, s.tsteam); at >= 0 {
				f.Message = c.heading + " stood still while the steam temperature moved by more than 10 K: the sensor is stuck"
				return s.place(f, s.t[at])
			}
		}
		width := frozenKPa
		if above(s.pStep, frozenKPa) {
			width = 0
		}
		if at := s.stuck(s.p, width, frozenPressure, s.ref); at >= 0 {
			f.Message = "the pressure stood still while the temperature moved by more than 10 K: the sensor is stuck"
			return s.place(f, s.t[at])
		}
	}
	if at := s.standsStill(); at >= 0 {
		f.Message = "temperatures and pressure did not change at all for 60 s: the record does not show live sensors"
		return s.place(f, s.t[at])
	}
	return Finding{Outcome: Conforms, Message: "every sensor followed the cycle"}
}

// stuck returns the first reading of a run of consecutive ones, at least 5 over at
// least 10 s and all above a pressure, over which values stay within a width while
// others move by more than 10 K; -1 if there is none.
//
// Values within the width are never further from one neighbour to the next, so that
// only runs of small steps, over which the others move enough, are looked at closely.
func (r *readings) stuck(values []float64, width, over float64, others []float64) int {
	width += limitTolerance
	for from := 0; from < len(values); {
		if !above(r.p[from], over) {
			from++
			continue
		}
		to, lo, hi := from, others[from], others[from]
		for to+1 < len(values) && math.Abs(values[to+1]-values[to]) <= width && above(r.p[to+1], over) {
			to++
			lo, hi = min(lo, others[to]), max(hi, others[to])
		}
		if to-from+1 >= frozenReadings && atLeast(r.t[to]-r.t[from], frozenTime) && above(hi-lo, moving) {
			if at := r.stuckIn(window{from, to}, values, width, others); at >= 0 {
				return at
			}
		}
		from = to + 1
	}
	return -1
}

// stuckIn slides a window over a run, as wide as the values stay within width.
func (r *readings) stuckIn(w window, values []float64, width float64, others []float64) int {
	still, moved := extremes{of: values}, extremes{of: others}
	from := w.from
	for to := w.from; to <= w.to; to++ {
		still.push(to)
		moved.push(to)
		for still.width() > width {
			from++
			still.drop(from)
			moved.drop(from)
		}
		if to-from+1 >= frozenReadings && atLeast(r.t[to]-r.t[from], frozenTime) && above(moved.width(), moving) {
			return from
		}
	}
	return -1
}

// extremes keep the smallest and the largest value of a sliding window: the readings
// that no later one undercuts, and those that none tops.
type extremes struct {
	of     []float64
	lo, hi []int
}

func (e *extremes) push(i int) {
	for n := len(e.lo); n > 0 && e.of[e.lo[n-1]] >= e.of[i]; n-- {
		e.lo = e.lo[:n-1]
	}
	for n := len(e.hi); n > 0 && e.of[e.hi[n-1]] <= e.of[i]; n-- {
		e.hi = e.hi[:n-1]
	}
	e.lo, e.hi = append(e.lo, i), append(e.hi, i)
}

// drop forgets the readings before from.
func (e *extremes) drop(from int) {
	for len(e.lo) > 0 && e.lo[0] < from {
		e.lo = e.lo[1:]
	}
	for len(e.hi) > 0 && e.hi[0] < from {
		e.hi = e.hi[1:]
	}
}

func (e *extremes) width() float64 { return e.of[e.hi[0]] - e.of[e.lo[0]] }

// standsStill returns the first reading of a run of the exposure, at least 20 over at
// least 60 s, over which no judged temperature and not the pressure changes at all; -1
// if there is none, or if steps of more than 0.1 K or 0.2 kPa may hide a change.
func (s *subject) standsStill() int {
	const enough, lasting = 20, 60.0
	if s.asRead == nil || !s.exposed.any() || above(s.pStep, enoughStepKPa) {
		return -1
	}
	for _, c := range s.judged {
		if above(c.step, enoughStepK) {
			return -1
		}
	}
	first := s.exposed.from
	for i := s.exposed.from + 1; i <= s.exposed.to; i++ {
		if s.changed(i) {
			first = i
		}
		if i-first+1 >= enough && atLeast(s.t[i]-s.t[first], lasting) {
			return first
		}
	}
	return -1
}

func (s *subject) changed(i int) bool {
	if s.asRead[i] != s.asRead[i-1] {
		return true
	}
	for _, c := range s.judged {
		if c.celsius[i] != c.celsius[i-1] {
			return true
		}
	}
	return false
}
