package surgery

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"holdproof/report/logbook/entry"
	"holdproof/validate/routine"
)

// disinfected settles product, concentration and contact time of a disinfection. The
// contact time is out less in. It is held against the figure of the product under
// products and against that of the site's routine, and must reach both; a weaker
// solution than the product's figure is for does not count either. What does not reach
// them is kept as failed, with the figures.
//
// While it is still in, nothing is judged. A product without a figure is kept and
// shows nothing.
func (x *noting) disinfected() error {
	n, d := x.n, x.data
	if n.Outcome == "not done" {
		return nil
	}
	if d.Product == "" {
		return &Refusal{Why: x.duty.Name + " needs a product", Instead: "Name it with --product, and its strength with --concentration.", Field: "product"}
	}
	if x.duty.asks(asksStrength) && d.Strength == "" {
		return &Refusal{Why: x.duty.Name + " needs its concentration", Instead: "Give it with --concentration, such as \"3 %\".", Field: "concentration"}
	}
	if !x.duty.Judge {
		return nil
	}
	x.body.Outcome = "done"
	if p, known := x.r.product(d.Product); known {
		d.NeedsMin, d.NeedsPercent, d.Source = &p.ContactMin, p.ConcentrationPercent, p.Source
	}
	if l, owed := x.r.routineLine(x.duty.Name, ""); owed && l.Low != nil && (d.NeedsMin == nil || *l.Low > *d.NeedsMin) {
		d.NeedsMin, d.Source = l.Low, l.LimitSource
	}
	if d.NeedsPercent != nil {
		has, ok := percent(d.Strength)
		if !ok {
			return &Refusal{Why: fmt.Sprintf("%q is no concentration in percent, and the figure of %s is for %s %%", d.Strength, d.Product, number(*d.NeedsPercent)),
				Instead: "Write --concentration such as \"3 %\".", Field: "concentration"}
		}
		if has < *d.NeedsPercent-roundOff {
			x.body.Outcome = "failed"
		}
	}
	if n.To.IsZero() {
		return nil
	}
	minutes := n.To.Sub(n.From).Minutes()
	d.ContactMin = &minutes
	if d.NeedsMin != nil && minutes < *d.NeedsMin-roundOff {
		x.body.Outcome = "failed"
	}
	return nil
}

// roundOff is what comparisons with a limit allow for sums of floats (ours).
const roundOff = 1e-9

// percentage is a figure before a percent sign; the comma may be the decimal sign.
var percentage = regexp.MustCompile(`(?:^|[^0-9.,])([0-9]{1,3}(?:[.,][0-9]{1,6})?)\s*%`)

// percent reads a concentration such as "3 %" or "about 0,5% in water"; false where
// there is none, or more than one.
func percent(text string) (float64, bool) {
	found := percentage.FindAllStringSubmatch(text, 2)
	if len(found) != 1 || strings.Count(text, "%") != 1 {
		return 0, false
	}
	v, err := strconv.ParseFloat(strings.Replace(found[0][1], ",", ".", 1), 64)
	return v, err == nil && v <= 100
}

// contactSays tells what a disinfection came to and what to do.
func contactSays(body entry.Note, d dutyData, n int64) []string {
	weak := ""
	if has, ok := percent(d.Strength); ok && d.NeedsPercent != nil && has < *d.NeedsPercent-roundOff {
		weak = fmt.Sprintf("Concentration %s %%, and the contact time of %s is for %s %% (%s): too weak. ", number(has), d.Product, number(*d.NeedsPercent), d.Source)
	}
	const again = "Disinfect the lines again, at full strength and for the full time, and enter it as a new note."
	switch {
	case body.Outcome == "not done" || body.From.IsZero():
		return nil
	case d.ContactMin == nil && weak != "":
		return []string{weak + again}
	case d.ContactMin == nil:
		said := "It is still in."
		if d.NeedsMin != nil {
			said = fmt.Sprintf("It is still in, and needs %s min (%s).", number(*d.NeedsMin), d.Source)
		}
		return []string{fmt.Sprintf("%s When it is over: holdproof note --correct %d --out TIME.", said, n)}
	}
	had := number(math.Floor(*d.ContactMin*10) / 10)
	switch {
	case d.NeedsMin == nil:
		return []string{fmt.Sprintf("Contact time %s min. No figure is set for this product, so it shows nothing: ask the lead to enter the maker's contact time under products in holdproof.yaml.", had)}
	case *d.ContactMin < *d.NeedsMin-roundOff:
		return []string{fmt.Sprintf("%sContact time %s min, needs %s min (%s): too short. %s", weak, had, number(*d.NeedsMin), d.Source, again)}
	case weak != "":
		return []string{weak + again}
	}
	return []string{fmt.Sprintf("Contact time %s min, needs %s min (%s).", had, number(*d.NeedsMin), d.Source)}
}

// counted holds a count of water against the limit of the site's routine. A flush is
// no count: a count has a sample, taken on an earlier day than its result stands.
func (x *noting) counted() error {
	sample, err := x.earlier()
	if err != nil {
		return err
	}
	d := x.data
	d.Sampled = x.n.Sampled
	if sample != nil {
		d.Of = sample.Number
		if d.Sampled != "" && d.Sampled != sample.Said.Day {
			return &Refusal{Why: fmt.Sprintf("the sample of entry %d was taken on %s, and this says %s", sample.Number, dayWords(sample.Said.Day), dayWords(d.Sampled)),
				Instead: "Leave --sampled out, or name another sample with --entry.", Field: "sampled"}
		}
		d.Sampled = sample.Said.Day
	}
	if x.n.Outcome == "not done" {
		return nil
	}
	if d.Sampled == "" {
		return &Refusal{Why: x.duty.Name + " needs the day of its sample", Instead: "Give the day on which the sample was taken with --sampled. A flush is no count.", Field: "sampled"}
	}
	if err := checkDay(d.Sampled); err != nil {
		return inField(err, "sampled")
	}
	if d.Sampled >= x.body.Day {
		return &Refusal{Why: fmt.Sprintf("the sample is of %s and the result of %s: a count comes after incubation, on a later day", dayWords(d.Sampled), dayWords(x.body.Day)),
			Instead: "Give the day of the sample with --sampled and that of the result with --date.", Field: "sampled"}
	}
	return x.judgeCount()
}

func (x *noting) judgeCount() error {
	l, owed := x.r.routineLine(x.duty.Name, "")
	if !owed || l.High == nil {
		if x.n.Outcome == "" {
			return &Refusal{Why: "no limit for " + x.duty.Name + " is set, so nobody but a person can say what it came to",
				Instead: "Give --outcome passed or failed as the laboratory's report or the maker says.", Field: "outcome"}
		}
		return nil
	}
	x.data.Most, x.data.Source = l.High, l.LimitSource
	over := *x.n.Value > *l.High+roundOff
	switch {
	case over && x.n.Outcome == "passed":
		return &Refusal{Why: fmt.Sprintf("%s CFU/mL is over the limit of %s CFU/mL (%s) and has not passed", number(*x.n.Value), number(*l.High), l.LimitSource),
			Instead: "Enter --outcome failed, or leave --outcome out.", Field: "outcome"}
	case over:
		x.body.Outcome = "failed"
	case x.n.Outcome == "":
		x.body.Outcome = "passed"
	}
	return nil
}

// countSays tells what a count came to. Over the limit nothing is recommended but the
// maker's instructions and the local code.
func countSays(body entry.Note, d dutyData) []string {
	if body.Value == nil {
		return nil
	}
	figure := number(*body.Value) + " CFU/mL"
	if d.Most != nil {
		figure += fmt.Sprintf(", at most %s (%s)", number(*d.Most), d.Source)
	}
	if body.Outcome == "failed" {
		return []string{figure + ": failed. First follow the maker's instructions for these lines and the local code for water; tell the lead. Then have the water counted again."}
	}
	return []string{figure + ". The sample was taken on " + dayWords(d.Sampled) + "."}
}

// product finds a product of the settings by its name, whatever its letter case.
func (r *Records) product(name string) (Product, bool) {
	for _, p := range r.settings.Value.Products {
		if strings.EqualFold(strings.Join(strings.Fields(p.Name), " "), strings.Join(strings.Fields(name), " ")) {
			return p, true
		}
	}
	return Product{}, false
}

// routineLine is the line of the site's routine for a duty; per narrows it to lines
// for that, "" for any.
func (r *Records) routineLine(duty, per string) (routine.Line, bool) {
	for _, l := range r.settings.Value.routineInForce().Lines {
		if l.Duty == duty && (per == "" || l.Per == per) {
			return l, true
		}
	}
	return routine.Line{}, false
}

// clockWords is a moment as people write it.
func (r *Records) clockWords(t time.Time) string { return t.In(r.zone).Format("2 Jan 2006 15:04") }
