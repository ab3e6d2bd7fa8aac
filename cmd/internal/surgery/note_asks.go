package surgery

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// What is asked about before a note is kept (all ours).
const (
	oddClock   = 3900 // s: more than a clock that was not put forward, and five minutes
	oddSeconds = 600  // s of a rinse between patients
	oddMinutes = 60   // of a flush
	oddBefore  = 31   // days before the logbook began
	oddYears   = 3    // of whatever lies back
)

// noteAsks asks about what is rather a slip of the hand than so. A correction says a thing
// the second time and is not asked.
func (r *Records) noteAsks(ctx context.Context, v *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	if n.Sure || n.corrects != 0 {
		return nil
	}
	ask := func(field, why, instead string) error {
		return &Refusal{Why: why, Instead: strings.TrimSpace(instead + " Read it once more and correct it. If it is so, say so with --yes."), Field: field, Confirm: true}
	}
	if why, err := r.oddDay(ctx, v, duty, body.Day); err != nil || why != "" {
		if err == nil {
			err = ask("date", why, "")
		}
		return err
	}
	if why := oddFigure(duty, body.Value); why != "" {
		return ask("value", why, "")
	}
	switch {
	case duty.Name == dutyCounter && body.Value != nil:
		why, err := r.oddCounter(ctx, v, body, n.At)
		if err == nil && why != "" {
			err = ask("value", why, "If its numbers began anew, enter that first with --duty \""+dutyReset+"\".")
		}
		return err
	case duty.Name == dutyDisinfected && n.Product != "" && n.Outcome != "not done":
		if why := r.oddProduct(n.Product); why != "" {
			return ask("product", why, "")
		}
	}
	return nil
}

// oddDay says of a day that it lies years back, or of a duty of each day that it lies
// before the logbook began.
func (r *Records) oddDay(ctx context.Context, v *logbook.View, duty dutyKind, day string) (string, error) {
	today, err := time.Parse(time.DateOnly, r.Today())
	if err != nil {
		return "", err
	}
	if day < today.AddDate(-oddYears, 0, 0).Format(time.DateOnly) {
		return dayWords(day) + " lies years back", nil
	}
	line, owed := r.routineLine(duty.Name, "")
	if !owed || line.Every.Days != 1 {
		return "", nil
	}
	o := r.bareOwing(ctx, v, day)
	if err := o.since(); err != nil || o.facts.Since == "" || day >= back(o.facts.Since, oddBefore) {
		return "", err
	}
	return fmt.Sprintf("%s lies before this logbook, which began on %s", dayWords(day), dayWords(o.facts.Since)), nil
}

// oddFigure says of a figure that nothing of the kind lasts, or is off, as long.
func oddFigure(duty dutyKind, value *float64) string {
	if value == nil {
		return ""
	}
	most := math.Inf(1)
	switch {
	case duty.Name == dutyClock:
		most = oddClock
	case duty.Unit == "s":
		most = oddSeconds
	case duty.Unit == "min":
		most = oddMinutes
	}
	if math.Abs(*value) <= most {
		return ""
	}
	return fmt.Sprintf("%s %s is much for %q", number(*value), duty.Unit, duty.Name)
}

// oddCounter says of a counter that it fell, or rose by more than a machine runs in the
// days between; one that began anew is compared with nothing before, and one read earlier
// in the day not with what was read later.
func (r *Records) oddCounter(ctx context.Context, v *logbook.View, body *entry.Note, at time.Time) (string, error) {
	rows, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyCounter, Steriliser: body.Steriliser, To: body.Day, Newest: true, Limit: 5})
	if err != nil {
		return "", err
	}
	for _, was := range rows {
		if was.Withdrawn || was.Said.Value == nil || was.At.After(at) {
			continue
		}
		resets, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyReset, Steriliser: body.Steriliser, From: was.Said.Day, To: body.Day})
		if err != nil || len(resets) > 0 {
			return "", err
		}
		most := *was.Said.Value + float64(mostAhead*(1+daysBetween(was.Said.Day, body.Day)))
		before := fmt.Sprintf("%s of %s (entry %d)", number(*was.Said.Value), dayWords(was.Said.Day), was.Number)
		switch {
		case *body.Value < *was.Said.Value:
			return fmt.Sprintf("the counter of %s cannot go back: %s after %s", body.Steriliser, number(*body.Value), before), nil
		case *body.Value > most:
			return fmt.Sprintf("%s lies far from the counter of %s before, %s", number(*body.Value), body.Steriliser, before), nil
		}
		return "", nil
	}
	return "", nil
}

// oddProduct says that a product is none of the settings, where they name some: without
// its figure a contact time shows nothing.
func (r *Records) oddProduct(name string) string {
	if _, known := r.product(name); known || len(r.settings.Value.Products) == 0 {
		return ""
	}
	var names []string
	for _, p := range r.settings.Value.Products {
		names = append(names, p.Name)
	}
	return fmt.Sprintf("%q is no product of the settings, so its contact time would show nothing; there is %s", name, Alternatives(names))
}

// shortSays tells of a figure that does not reach what the routine asks for, or is not
// there, so that it does not count.
func (r *Records) shortSays(body entry.Note, duty dutyKind) []string {
	line, owed := r.routineLine(duty.Name, "")
	if !owed || body.Outcome != "done" || duty.Unit == "" || duty.Judge || line.Low == nil && line.High == nil {
		return nil
	}
	const again = " Do it again, and enter it as a new note."
	figure := func(x float64) string { return number(x) + " " + duty.Unit }
	switch {
	case body.Value == nil && line.NeedsFigure:
		return []string{"No figure is entered, and the routine asks for one. Correct the entry."}
	case body.Value == nil:
		return nil
	case line.Low != nil && *body.Value < *line.Low-roundOff:
		return []string{fmt.Sprintf("%s, needs %s (%s): too short, so it does not count.", figure(*body.Value), figure(*line.Low), line.LimitSource) + again}
	case line.High != nil && *body.Value > *line.High+roundOff:
		return []string{fmt.Sprintf("%s, at most %s (%s), so it does not count.", figure(*body.Value), figure(*line.High), line.LimitSource) + again}
	}
	return nil
}
