package validate

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"holdproof/parse/cycle"
)

func programmeKnown(s *subject) Finding {
	c := s.choice
	f := Finding{}
	switch {
	case c.unknownName != "":
		f.Outcome, f.Key = NotProven, mappingKey
		f.Message = fmt.Sprintf("the configuration names the programme %q, which the limit set does not have", c.unknownName)
		f.Remedy = "Ask the lead to correct the programme of this steriliser."
	case c.by == "":
		f.Outcome, f.Key = NotProven, programmeKey
		f.Message = "no programme of the limit set fits the record"
		if c.level.Known {
			f.Message += ": it stood longest at " + plain(c.level.Value) + " °C"
		}
		f.Remedy = "Ask the lead to say which programme this steriliser runs."
	case c.by == "inferred":
		f.Outcome = Conforms
		f.Message = "programme " + c.programme.Name + ", inferred from the readings"
		if top, _ := highest(s.rules.Set, func(Programme) bool { return true }); top.Sterilising > c.programme.Sterilising {
			f.Outcome, f.Key = Borderline, programmeKey
			f.Message += "; it is not the hottest of the limit set, and the record does not say that it was meant"
			f.Remedy = "Confirm which programme was chosen."
		}
	default:
		f.Outcome = Conforms
		f.Message = "programme " + c.programme.Name + ", " + map[string]string{
			"mapped": "as the configuration maps the label", "label": "by the label of the record", "default": "the steriliser's own",
		}[c.by]
	}
	return f
}

func columnsKnown(s *subject) Finding {
	f := Finding{Outcome: Conforms, Message: "every temperature column is known"}
	names := func(of []int) string {
		var out []string
		for _, k := range of {
			out = append(out, strconv.Quote(s.raw.Channels[k].Heading))
		}
		return strings.Join(out, ", ")
	}
	switch {
	case len(s.cols.unknown) > 0:
		f.Outcome, f.Key = NotProven, columnsKey
		f.Message = "nobody knows what the column " + names(s.cols.unknown) + " measures"
		f.Remedy = "Say what the column is, or that it is not connected."
	case len(s.cols.dead) > 0:
		f.Outcome, f.Key = Borderline, columnsKey
		f.Message = "the load column " + names(s.cols.dead) + " holds no temperature"
		f.Remedy = "Say whether the sensor is not connected."
	case len(s.cols.twin) > 0:
		f.Outcome, f.Key = Borderline, columnsKey
		f.Message = "the load column " + names(s.cols.twin) + " repeats another column"
		f.Remedy = "Say whether the sensor is not connected."
	}
	return f
}

// missing judges readings that are missing: not proven where they decide the hold,
// borderline in the plateau, a remark outside it.
func (s *subject) missing(what, none string, inPlateau, all int) Finding {
	f := Finding{Measured: Known(float64(inPlateau)), High: Known(0)}
	h := s.longestAll.length()
	switch {
	case inPlateau == 0:
		f.Outcome, f.Message = Conforms, none
		if all > 0 {
			s.remark(fmt.Sprintf("outside the plateau: %s, %d in all", what, all))
		}
	case below(h, s.hold) && atLeast(s.bridged, s.hold):
		f.Outcome, f.Remedy = NotProven, exportNew
		f.Message = fmt.Sprintf("%s in the plateau: only %s of the %s needed are shown at one stretch", what, lasted(h), needs(s.hold))
	default:
		f.Outcome, f.Remedy = Borderline, setAside
		f.Message = fmt.Sprintf("%s in the plateau, %d in all; the hold does not depend on it", what, inPlateau)
	}
	return f
}

// recordGap speaks of the rows as written.
func recordGap(s *subject) Finding {
	in, all, first := 0, 0, -1
	for i := 1; i < len(s.raw.Seconds); i++ {
		if len(s.removed) == 0 && !above(s.pace.longest, s.gap) {
			break // as written, and none of the steps is that long
		}
		from, to := s.raw.Seconds[i-1], s.raw.Seconds[i]
		if !above(to-from, s.gap) {
			continue
		}
		all++
		if s.flat.any() && from >= s.t[s.flat.from] && to <= s.t[s.flat.to] {
			if in++; first < 0 {
				first = i
			}
		}
	}
	f := s.missing("a gap in the record", "no gap in the plateau", in, all)
	if first >= 0 {
		f.At, f.Line = Known(s.raw.Seconds[first-1]), s.raw.Lines[first-1]
	}
	return f
}

// sensorReading speaks of the rows that were removed.
func sensorReading(s *subject) Finding {
	in, first := 0, -1
	for i, r := range s.removed {
		if s.flat.any() && r.at >= s.t[s.flat.from] && r.at <= s.t[s.flat.to] {
			if in++; first < 0 {
				first = i
			}
		}
	}
	what := "a reading that cannot be one"
	if len(s.removed) > 0 {
		what += " (" + s.removedText(max(first, 0)) + ")"
	}
	f := s.missing(what, "every reading in the plateau can be one", in, len(s.removed))
	if first >= 0 {
		f.At, f.Line = Known(s.removed[first].at), s.removed[first].line
	}
	return f
}

// removedText says what stood in a removed row.
func (s *subject) removedText(i int) string {
	r := s.removed[i]
	text := r.heading + ", line " + strconv.Itoa(r.line)
	for _, c := range s.head.Unreadable {
		if c.Line == r.line && c.Heading == r.heading {
			text += fmt.Sprintf(": %q", c.Text)
			break
		}
	}
	if r.spike {
		text += ": a single reading off both its neighbours"
	}
	return text
}

// surrounding tells whether a pressure is within 15 kPa of the surrounding air: the
// first reading if that is an atmosphere, else the site's, else any there is.
func (s *subject) surrounding(i int) bool {
	const near = 15.0 // kPa
	if s.p == nil {
		return atMost(math.Abs(s.asRead[i]), near)
	}
	lo, hi := lowestAmbient, highestAmbient
	if first := s.p[0]; atLeast(first, lo) && atMost(first, hi) {
		lo, hi = first, first
	} else if !math.IsNaN(s.scale.ambient) {
		lo, hi = s.scale.ambient, s.scale.ambient
	}
	return atLeast(s.p[i], lo-near) && atMost(s.p[i], hi+near)
}

// fell is how far pressure fell over the last so many seconds of the record, in kPa.
func (s *subject) fell(over float64) float64 {
	last := len(s.t) - 1
	return s.pressureAt(s.asRead, s.t[last]-over) - s.asRead[last]
}

// pressureAt is a column at a time, by straight lines; its end values outside.
func (r *readings) pressureAt(ps []float64, t float64) float64 {
	i := sort.SearchFloat64s(r.t, t)
	switch {
	case i == 0:
		return ps[0]
	case i == len(r.t):
		return ps[len(ps)-1]
	}
	part := (t - r.t[i-1]) / (r.t[i] - r.t[i-1])
	return ps[i-1] + part*(ps[i]-ps[i-1])
}

func recordComplete(s *subject) Finding {
	f := Finding{Outcome: Conforms, Message: "the record holds the cycle from beginning to end"}
	start, startWhy := s.startComplete()
	end, endWhy := s.endComplete()
	last := len(s.t) - 1
	if start.severity() > f.Outcome.severity() {
		f.Outcome, f.Message, f.At, f.Line = start, startWhy, Known(0), s.lines[0]
	}
	if end.severity() > f.Outcome.severity() {
		f.Outcome, f.Message, f.At, f.Line = end, endWhy, Known(s.t[last]), s.lines[last]
	}
	switch f.Outcome {
	case NotProven:
		f.Remedy = exportNew
	case Borderline:
		f.Remedy = setAside
	}
	return f
}

func (s *subject) startComplete() (Outcome, string) {
	const vacuum, cold = 50.0, 10.0 // kPa, K below ts
	if !s.exposed.any() {
		return Conforms, ""
	}
	if s.p != nil && above(s.p[0], underSteam) {
		return NotProven, "the record starts under pressure, at " + AtMost(s.p[0], 0) + " kPa: its beginning is missing"
	}
	seen := false
	for i := 0; i < s.exposed.from && !seen; i++ {
		seen = atMost(s.ref[i], s.ts-cold) || s.p != nil && atMost(s.p[i], underSteam)
	}
	if !seen {
		return NotProven, "the record starts at " + AtMost(s.ref[0], 1) + " °C: its beginning is missing"
	}
	if s.p != nil && below(s.p[0], vacuum) {
		return Borderline, "the record starts in vacuum, at " + AtMost(s.p[0], 0) + " kPa"
	}
	return Conforms, ""
}

func (s *subject) endComplete() (Outcome, string) {
	const cooled, tooFast = 80.0, 20.0 // °C, kPa
	last := len(s.t) - 1
	warm := above(s.ref[last], cooled)
	ends := "the record ends at " + AtMost(s.ref[last], 1) + " °C"
	if s.asRead == nil || s.p == nil && !s.scale.gaugeAlone() {
		if warm {
			return NotProven, ends + ": its end is missing"
		}
		return Conforms, ""
	}
	away := !s.surrounding(last)
	ends += " and " + AtMost(s.asRead[last], 1) + " kPa"
	switch {
	case warm && (away || above(s.fell(max(10, s.m)), tooFast)):
		return NotProven, ends + ": its end is missing"
	case !warm && away:
		return Borderline, ends + ", not at the pressure of the surrounding air"
	}
	return Conforms, ""
}

func recorderStatement(s *subject) Finding {
	f := Finding{Outcome: NotAssessed, Message: "the recorder says nothing about how the cycle ended"}
	for _, said := range s.head.Statements {
		switch said.Says {
		case cycle.SaysFault:
			return Finding{Outcome: NotProven, Line: said.Line,
				Message: fmt.Sprintf("the recorder itself says: %q", said.Text),
				Remedy:  "Look at the steriliser's display and tell the lead."}
		case cycle.SaysCompleted:
			if f.Outcome != Conforms {
				f = Finding{Outcome: Conforms, Line: said.Line, Message: fmt.Sprintf("the recorder says: %q", said.Text)}
			}
		}
	}
	for _, said := range s.head.Statements {
		if said.Says == cycle.SaysUnknown {
			s.limitations = append(s.limitations, fmt.Sprintf("a line that nobody knows, line %d: %q", said.Line, said.Text))
		}
	}
	return f
}
