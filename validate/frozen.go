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
		steam := s.landmarks(s.tsteam, underSteam)
		for _, c := range s.judged {
			if at := s.stuck(c.celsius, stillWithin(frozenK, c.step), underSteam, s.tsteam, steam); at >= 0 {
				f.Message = c.heading + " stood still while the steam temperature moved by more than 10 K: the sensor is stuck"
				return s.place(f, s.t[at])
			}
		}
		chamber := s.landmarks(s.ref, frozenPressure)
		if at := s.stuck(s.p, stillWithin(frozenKPa, s.pStep), frozenPressure, s.ref, chamber); at >= 0 {
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

// stillWithin is the width within which a channel stands still: on one value, if it
// writes in larger steps.
func stillWithin(width, step float64) float64 {
	if above(step, width) {
		return limitTolerance
	}
	return width + limitTolerance
}

// landmark is a reading at which a quantity is further than movedOn from where it was
// at the landmark before; or the first of a run of readings.
type landmark struct {
	i     int
	first bool
}

const movedOn = 1.0 // K

// landmarks are found within the runs of readings above a pressure, 110 kPa or more. They
// stand until the next are asked for.
func (r *readings) landmarks(of []float64, over float64) []landmark {
	out := r.work.marks[:0]
	for _, w := range r.pressed {
		inRun, last := false, 0.0
		for i := w.from; i <= w.to; i++ {
			v := of[i]
			switch {
			case !above(r.p[i], over):
				inRun = false
			case !inRun:
				out, inRun, last = append(out, landmark{i, true}), true, v
			case math.Abs(v-last) > movedOn:
				out, last = append(out, landmark{i, false}), v
			}
		}
	}
	r.work.marks = out
	return out
}

// stuck returns the first reading of a run of consecutive ones, at least 5 over at
// least 10 s and all above a pressure, over which values stay within a width while
// others move by more than 10 K; -1 if there is none.
func (r *readings) stuck(values []float64, width, over float64, others []float64, marks []landmark) int {
	looked := -1 // up to which reading
	for k, m := range marks {
		if m.first || m.i <= looked || !suspect(values, width, others, marks[k:]) {
			continue
		}
		w := window{m.i, m.i}
		for w.from > 0 && above(r.p[w.from-1], over) {
			w.from--
		}
		for w.to+1 < len(values) && above(r.p[w.to+1], over) {
			w.to++
		}
		if at := r.stuckIn(w, values, width, others); at >= 0 {
			return at
		}
		looked = w.to
	}
	return -1
}

// suspect tells whether from the reading before the first landmark on, values stand
// still at the landmarks until others have moved far. Where others move by more than
// 10 K, from reading a to reading b, that is so: a and the reading before the next
// landmark lie within 2 movedOn of one another, b and the landmark before it within
// one, and all but a and b are sure to be among the readings that stand still.
func suspect(values []float64, width float64, others []float64, marks []landmark) bool {
	start := marks[0].i - 1
	for _, m := range marks {
		if m.first || math.Abs(values[m.i]-values[start]) > width {
			return false
		}
		if math.Abs(others[m.i]-others[start]) > moving-3*movedOn {
			return true
		}
	}
	return false
}

// stuckIn slides a window over a run, as wide as the values stay within width.
func (r *readings) stuckIn(w window, values []float64, width float64, others []float64) int {
	still, moved := newExtremes(values, w), newExtremes(others, w)
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

func newExtremes(of []float64, w window) extremes {
	n := w.to - w.from + 1
	return extremes{of, make([]int, 0, n), make([]int, 0, n)}
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
	// Such a run has one of any 19 readings on end that did not change: the others are
	// looked at only around such a one.
	for i := s.exposed.from + 1; i <= s.exposed.to; i += enough - 1 {
		if s.changed(i) {
			continue
		}
		first := i - 1
		for first > s.exposed.from && !s.changed(first) {
			first--
		}
		for ; i <= s.exposed.to && !s.changed(i); i++ {
			if i-first+1 >= enough && atLeast(s.t[i]-s.t[first], lasting) {
				return first
			}
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
