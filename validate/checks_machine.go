package validate

import (
	"fmt"
	"math"
	"strings"

	"holdproof/parse/cycle"
)

// airRemoval counts excursions below a pressure before the exposure. Count and lowest
// pressure are always reported.
func airRemoval(s *subject) Finding {
	const typeB = 50.0 // kPa (ours)
	m := s.rules.Machine
	f := Finding{Outcome: NotAssessed, Message: "the removal of air was not assessed: no absolute pressure is known"}
	if s.p == nil {
		return f
	}
	configured := m.Pulses > 0 && m.PulsesBelow > 0
	limit := typeB
	if configured {
		limit = m.PulsesBelow
	}
	before := len(s.p)
	if s.exposed.any() {
		before = s.exposed.from
	}
	n, lowest, under := 0, math.Inf(1), false
	for _, p := range s.p[:before] {
		if p < lowest {
			lowest = p
		}
		if now := below(p, limit); now != under {
			under = now
			if now {
				n++
			}
		}
	}
	f.Measured = Known(float64(n))
	f.Message = fmt.Sprintf("before the exposure the pressure went below %s kPa %s", plain(limit), often(n))
	if before > 0 {
		f.Message += ", lowest " + AtMost(lowest, 1) + " kPa"
	}
	switch {
	case configured:
		f.Low, f.Outcome = Known(float64(m.Pulses)), Conforms
		f.Message += fmt.Sprintf(", needs %d", m.Pulses)
		if n < m.Pulses {
			f.Outcome, f.Remedy = Failed, callHelp
		}
	case m.Type != "B":
		f.Message = "the removal of air was not assessed, nothing is configured: " + f.Message
	default:
		f.Low, f.Outcome = Known(1), Conforms
		if n == 0 {
			f.Outcome, f.Remedy = Borderline, "Confirm that the programme with removal of air was chosen."
		}
	}
	return f
}

func often(n int) string {
	switch n {
	case 0:
		return "never"
	case 1:
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// drying measures the time below a pressure after the exposure, by straight lines,
// nothing across a gap.
func drying(s *subject) Finding {
	const reported = 50.0 // kPa, where nothing is configured (ours)
	m := s.rules.Machine
	f := Finding{Outcome: NotAssessed, Unit: "s", Message: "the drying was not assessed: no absolute pressure is known"}
	if s.p == nil {
		return f
	}
	if !s.exposed.any() {
		f.Message = "the drying was not assessed: there was no exposure"
		return f
	}
	configured := m.DryingBelow > 0 && m.DryingMinutes > 0
	limit := reported
	if configured {
		limit = m.DryingBelow
	}
	t, before := s.t[s.exposed.to:], s.p[s.exposed.to]
	low, lowest := 0.0, before
	for i, now := range s.p[s.exposed.to+1:] {
		last := before
		before = now
		if now < lowest {
			lowest = now
		}
		if last >= limit && now >= limit {
			continue
		}
		d := t[i+1] - t[i]
		if above(d, s.gap) {
			continue
		}
		if last >= limit || now >= limit {
			a, b := within(last, now, math.Inf(-1), limit-limitTolerance)
			d *= max(0, b-a)
		}
		low += d
	}
	f.Measured = Known(low)
	f.Message = "after the exposure the pressure was below " + plain(limit) + " kPa for " + lasted(low) + ", lowest " + AtMost(lowest, 1) + " kPa"
	if !configured {
		f.Message = "the drying was not assessed, nothing is configured: " + f.Message
		return f
	}
	needed := 60 * m.DryingMinutes
	f.Low, f.Outcome = Known(needed), Conforms
	f.Message += ", needs " + needs(needed)
	if below(low, needed) {
		f.Outcome, f.Remedy = Borderline, "Look whether the packs are dry."
	}
	return f
}

func indicator(s *subject) Finding {
	if s.choice.kind != cycle.PenetrationTest {
		return skip
	}
	return Finding{Outcome: NotAssessed, Message: "the curve does not show steam penetration: a person must read the indicator",
		Remedy: "Read the indicator and enter what it showed."}
}

// reference compares a control test with the figures of validation: its hold, the time
// mean of the reference temperature over it, and the time from the first reading to
// the sterilising temperature (ours: how the three are taken).
func reference(s *subject) Finding {
	if s.choice.kind != cycle.ControlTest {
		return skip
	}
	m := s.rules.Machine
	f := Finding{Outcome: NotAssessed, Message: "the control test was judged as a load: no figures of validation are configured",
		Key: "sterilisers[].reference"}
	figures := []struct {
		name, unit string
		is         Figure
		should     *Tolerance
	}{
		{"the hold", "s", s.measured.Hold, m.ReferenceHold},
		{"the mean of the plateau", "°C", s.plateauMean(), m.ReferencePlateau},
		{"the heating time", "s", s.heating(), m.ReferenceHeating},
	}
	var good, bad []string
	for _, g := range figures {
		if g.should == nil {
			continue
		}
		text := g.name + " is not there"
		if g.is.Known {
			text = g.name + " was " + AtLeast(g.is.Value, 1) + " " + g.unit
		}
		text += ", validation " + plain(g.should.At) + " ± " + plain(g.should.Within) + " " + g.unit
		if g.is.Known && atMost(math.Abs(g.is.Value-g.should.At), g.should.Within) {
			good = append(good, text)
			continue
		}
		if bad = append(bad, text); len(bad) == 1 {
			f.Measured, f.Unit = g.is, g.unit
			f.Low, f.High = Known(g.should.At-g.should.Within), Known(g.should.At+g.should.Within)
		}
	}
	switch {
	case len(bad) > 0:
		f.Outcome, f.Message, f.Remedy, f.Key = Failed, strings.Join(bad, "; "), callHelp, ""
	case len(good) > 0:
		f.Outcome, f.Message, f.Key = Conforms, strings.Join(good, "; "), ""
	}
	return f
}

// plateauMean is the time mean of the reference temperature over the hold, in °C.
func (s *subject) plateauMean() Figure {
	if !s.measured.HoldFrom.Known {
		return Figure{}
	}
	w := s.inside(s.exposed, s.measured.HoldFrom.Value, s.measured.HoldTo.Value)
	return timeMean(s.t[w.from:w.to+1], s.ref[w.from:w.to+1])
}

// heating is the time from the first reading until the reference first reached ts for
// the hold, in s.
func (s *subject) heating() Figure {
	if !s.measured.HoldFrom.Known {
		return Figure{}
	}
	at, ok := s.reached(s.measured.HoldFrom.Value)
	return Figure{at, ok}
}
