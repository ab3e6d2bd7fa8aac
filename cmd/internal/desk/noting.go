package desk

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdproof/cmd/internal/surgery"
)

// dutyFields are the fields that a note of one duty has, with what stands in them.
type dutyFields struct {
	surgery.DutyForm
	Values   url.Values
	Machines []surgery.Steriliser
	Chairs   []string
	Products []string
	Sure     bool // the person is asked to look at the words again
}

// Field is what stands in a field.
func (f dutyFields) Field(name string) string { return f.Values.Get(name) }

// Is tells whether one of several is chosen.
func (f dutyFields) Is(name, value string) bool { return slices.Contains(f.Values[name], value) }

// Controls and Owed are the words for a spore test and for an engineer's visit.
func (dutyFields) Controls() []string { return surgery.ControlWords() }

// TestsOwed are the tests that may be owed before a machine returns.
func (dutyFields) TestsOwed() []string { return surgery.TestWords() }

// fieldsOf makes the fields of a duty; false if there is no such duty.
func (d *Desk) fieldsOf(duty string, values url.Values) (dutyFields, bool) {
	form, known := surgery.DutyNamed(duty)
	c := d.records.Configuration()
	out := dutyFields{DutyForm: form, Values: values, Machines: d.records.Machines(), Chairs: c.Chairs}
	for _, p := range c.Products {
		out.Products = append(out.Products, p.Name)
	}
	return out, known
}

// noting reads the fields of a note from a form; what is not there stays empty.
func (d *Desk) noting(form url.Values) (surgery.Noting, error) {
	get := func(name string) string { return strings.TrimSpace(form.Get(name)) }
	n := surgery.Noting{Duty: get("duty"), Day: get("day"), Steriliser: get("machine"), Place: get("place"), Cycle: get("cycle"),
		Outcome: get("outcome"), Text: get("text"), Product: get("product"), Strength: get("strength"), Sampled: get("sampled"), Control: get("control"),
		Tests: form["test"], Explains: get("explains"), Sure: get("sure") == "yes"}
	if text := get("value"); text != "" {
		value, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
		if err != nil {
			return n, fmt.Errorf("%w: found %q, expected a number such as 42", errForm, text)
		}
		n.Value = &value
	}
	for name, to := range map[string]*int64{"of": &n.Of, "file": &n.File} {
		if text := get(name); text != "" {
			number, err := strconv.ParseInt(text, 10, 64)
			if err != nil {
				return n, fmt.Errorf("%w: found %q, expected the number of an entry", errForm, text)
			}
			*to = number
		}
	}
	if text := get("times"); text != "" {
		times, err := strconv.Atoi(text)
		if err != nil {
			return n, fmt.Errorf("%w: found %q, expected how often, such as 3", errForm, text)
		}
		n.Times = times
	}
	for name, to := range map[string]*time.Time{"from": &n.From, "to": &n.To, "at": &n.At} {
		if name == "at" && get("at") == get("shown") {
			continue // done now, to the second; in a correction: when the old entry says
		}
		text := strings.Replace(get(name), "T", " ", 1)
		var err error
		if *to, err = d.records.Moment(text, n.Day); err != nil {
			return n, fmt.Errorf("%w: %q is not a time, expected one such as 17:30", errForm, text)
		}
	}
	return n, nil
}
