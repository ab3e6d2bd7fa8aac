package figure

import (
	"fmt"
	"strings"
	"time"

	"holdproof/parse/cycle"
)

// Heading names the cycle and its outcome: "S1 · 1042, conforms".
func Heading(c Cycle) string {
	h := c.Record.Header()
	name := h.Steriliser
	if name == "" {
		name = "unassigned"
	}
	if h.Number != "" {
		name += " · " + h.Number
	}
	return name + ", " + c.Verdict.Outcome().String()
}

// Words states what the large figure shows, in sentences, for who cannot see it.
func Words(c Cycle) string {
	d := prepare(c)
	var out []string
	out = append(out, d.what(), d.shown())
	if c.Verdict.Kind == cycle.LeakTest {
		out = append(out, d.leakWords())
	} else {
		out = append(out, d.holdWords())
	}
	numbers := Flags(c.Verdict)
	for i, f := range c.Verdict.Findings {
		if numbers[i] > 0 {
			out = append(out, fmt.Sprintf("Flag %d at %s, %s: %s", numbers[i], d.clock(f.At.Value), f.Outcome, sentence(f.Message)))
		}
	}
	return strings.Join(out, " ")
}

func (d *drawing) what() string {
	kind := d.Verdict.Kind.String()
	if kind == "" {
		kind = "cycle"
	}
	text := strings.ToUpper(kind[:1]) + kind[1:]
	if p := d.Verdict.Programme; p.Name != "" {
		text += ", programme " + p.Name
	}
	return fmt.Sprintf("%s, started %s. Outcome: %s.", text, d.Record.Header().Start.Format("2 Jan 2006 15:04:05"), d.Verdict.Outcome())
}

func (d *drawing) shown() string {
	var names []string
	for _, l := range d.lines {
		names = append(names, l.name)
	}
	text := "No temperature was recorded."
	if len(names) > 0 {
		text = "Temperatures: " + strings.Join(names, ", ") + "."
	}
	switch {
	case d.pressure.values == nil:
		text += " No pressure was recorded."
	case d.vapour.values == nil:
		text += " Pressure in " + d.pressureUnit() + "; no steam temperature, since nothing says what it was measured from."
	default:
		text += " Pressure in kPa absolute, and the steam temperature from it."
	}
	return text
}

func (d *drawing) holdWords() string {
	text := ""
	if lo, hi, ok := d.band(); ok {
		text = fmt.Sprintf("The band is %s to %s °C. ", whole(lo), whole(hi))
	}
	w, ok := d.hold()
	if !ok {
		return text + "No hold was measured."
	}
	return text + fmt.Sprintf("Held %s, from %s to %s.", d.held(), d.clock(w.from), d.clock(w.to))
}

func (d *drawing) leakWords() string {
	w, ok := d.hold()
	m := d.Verdict.Measured.Leak
	if !ok || !m.Known {
		return "No leak rate was measured."
	}
	text := fmt.Sprintf("Pressure rose %s kPa/min over %s, from %s to %s.", Rate(m.Value), Duration(w.length()), d.clock(w.from), d.clock(w.to))
	if limit, ok := d.allowedLeak(); ok {
		text += fmt.Sprintf(" Allowed: %s kPa/min.", decimal(limit, 2))
	}
	return text
}

// clock is the recorder's time of day.
func (d *drawing) clock(s float64) string {
	return d.Record.Header().Start.Add(time.Duration(s * float64(time.Second))).Format("15:04:05")
}

// sentence ends a message with a full stop, once.
func sentence(m string) string {
	if m == "" || strings.HasSuffix(m, ".") {
		return m
	}
	return m + "."
}
