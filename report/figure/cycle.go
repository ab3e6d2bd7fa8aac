package figure

import (
	"fmt"
	"math"
	"slices"
	"unicode/utf8"

	"holdproof/parse/cycle"
	"holdproof/validate"
	"holdproof/validate/steam"
)

// Cycle is what a figure is drawn from: a record and what it was judged to be.
type Cycle struct {
	Record  *cycle.Record
	Verdict validate.Verdict
	// Absolute is the chamber pressure in kPa absolute, one a reading, NaN where
	// there is none. Nil: no pressure, or nothing says what it was measured from.
	// Then the pressure is drawn as recorded, and no steam temperature.
	Absolute []float64
}

// Flags returns for each finding of v the number of its flag on the time axis,
// from 1 in the order of the findings, and 0 for a finding without a flag: one
// that conforms, was not assessed, or has no place in time.
func Flags(v validate.Verdict) []int {
	numbers := make([]int, len(v.Findings))
	n := 0
	for i, f := range v.Findings {
		if f.At.Known && f.Outcome != validate.Conforms && f.Outcome != validate.NotAssessed {
			n++
			numbers[i] = n
		}
	}
	return numbers
}

// line is one curve of a figure.
type line struct {
	name   string
	values []float64 // one a reading, NaN where there is none
	stroke Stroke
	judged bool
}

// drawing is a cycle made ready to draw.
type drawing struct {
	Cycle
	seconds  []float64
	gap      float64 // s; neighbours further apart are not joined
	lines    []line
	pressure line
	vapour   line // steam temperature from pressure; no values if unknown
}

// steamFrom is the pressure in kPa absolute above which the steam temperature is
// drawn: in vacuum and in air it means nothing. Ours; the exposure starts there too.
const steamFrom = 110

func prepare(c Cycle) *drawing {
	r := c.Record.Readings()
	d := &drawing{Cycle: c, seconds: r.Seconds, gap: widest(r.Seconds)}
	d.temperatures(r.Channels)
	if r.Pressure == nil {
		return d
	}
	d.pressure = line{name: "pressure", values: r.Pressure.KPa, stroke: solid}
	if len(c.Absolute) != len(r.Seconds) {
		return d
	}
	d.pressure.values = c.Absolute
	d.vapour = line{name: "steam from pressure", stroke: dotted, judged: true, values: make([]float64, len(c.Absolute))}
	for i, p := range c.Absolute {
		d.vapour.values[i] = math.NaN()
		if p > steamFrom {
			d.vapour.values[i] = float64(steam.Celsius(cycle.Kilopascal(p)))
		}
	}
	return d
}

// temperatures makes a line of every channel that is connected: first what stands
// back, last what is judged, so that nothing hides it.
func (d *drawing) temperatures(channels []cycle.Channel) {
	count := map[cycle.Role]int{}
	for _, c := range channels {
		count[c.Role]++
	}
	nth := map[cycle.Role]int{}
	var judged []line
	for _, c := range channels {
		if c.Role == cycle.NotConnected {
			continue
		}
		l := line{name: name(c, nth[c.Role], count[c.Role]), stroke: style(c.Role, nth[c.Role]), judged: c.Role.Judged()}
		nth[c.Role]++
		l.values = make([]float64, len(c.Celsius))
		for i, t := range c.Celsius {
			l.values[i] = float64(t)
		}
		if l.judged {
			judged = append(judged, l)
		} else {
			d.lines = append(d.lines, l)
		}
	}
	d.lines = append(d.lines, judged...)
}

func style(r cycle.Role, nth int) Stroke {
	switch r {
	case cycle.Chamber:
		return solid
	case cycle.Drain:
		return chain
	case cycle.LoadProbe:
		return dashes(nth)
	}
	return thin
}

// name is what stands at the end of a line: the role of a judged channel, the
// heading of any other, shortened.
func name(c cycle.Channel, nth, of int) string {
	word := map[cycle.Role]string{cycle.Chamber: "chamber", cycle.Drain: "drain", cycle.LoadProbe: "load"}[c.Role]
	if word == "" {
		return shorten(c.Heading, 13)
	}
	if of > 1 {
		return fmt.Sprintf("%s %d", word, nth+1)
	}
	return word
}

func shorten(s string, runes int) string {
	if utf8.RuneCountInString(s) <= runes {
		return s
	}
	r := []rune(s)
	return string(r[:runes-1]) + "…"
}

// widest is the largest distance in s that a line crosses: three times the usual
// one, at least 2 s. Ours, for drawing only; what a verdict calls a gap is
// validate's business.
func widest(seconds []float64) float64 {
	steps := make([]float64, 0, len(seconds))
	for i := 1; i < len(seconds); i++ {
		steps = append(steps, seconds[i]-seconds[i-1])
	}
	if len(steps) == 0 {
		return 2
	}
	slices.Sort(steps)
	return max(2, 3*steps[len(steps)/2])
}

// window is a stretch of time in s since the first reading.
type window struct{ from, to float64 }

func (w window) length() float64 { return w.to - w.from }

// all is the time of the record, at least a minute so that an axis has a length.
func (d *drawing) all() window {
	return window{0, max(60, d.seconds[len(d.seconds)-1])}
}

// hold is the measured stretch a verdict's figures are taken over.
func (d *drawing) hold() (window, bool) {
	m := d.Verdict.Measured
	return window{m.HoldFrom.Value, m.HoldTo.Value}, m.HoldFrom.Known && m.HoldTo.Known && m.HoldTo.Value >= m.HoldFrom.Value
}

// plateau is the window of the zoom: the hold, else the time within 4 K of the
// sterilising temperature or of the hottest reading, with a margin at either side.
func (d *drawing) plateau() window {
	w, ok := d.hold()
	if !ok || w.length() < 10 {
		w = d.near()
	}
	margin := max(20, w.length()/5)
	end := d.seconds[len(d.seconds)-1]
	w = window{max(0, w.from-margin), min(end, w.to+margin)}
	if w.length() < 30 {
		w.to = w.from + 30
	}
	return w
}

func (d *drawing) near() window {
	ref := d.reference()
	hottest := math.Inf(-1)
	for _, v := range ref {
		if v > hottest {
			hottest = v
		}
	}
	from := hottest - 4
	if p := d.Verdict.Programme; p.Name != "" {
		from = min(from, float64(p.Sterilising)-2)
	}
	first, last := -1, -1
	for i, v := range ref {
		if v >= from {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if first < 0 {
		return d.all()
	}
	return window{d.seconds[first], d.seconds[last]}
}

// reference returns the readings of the first chamber channel, else of the first
// drain, else of the first judged one, else nil.
func (d *drawing) reference() []float64 {
	chans := d.Record.Readings().Channels
	for _, role := range [...]cycle.Role{cycle.Chamber, cycle.Drain, cycle.LoadProbe, cycle.Unknown} {
		for _, c := range chans {
			if c.Role == role {
				out := make([]float64, len(c.Celsius))
				for i, t := range c.Celsius {
					out[i] = float64(t)
				}
				return out
			}
		}
	}
	return nil
}
