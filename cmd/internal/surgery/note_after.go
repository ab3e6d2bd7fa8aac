package surgery

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// farOff is how far a recorder's clock may be off before it should be set, s (ours).
const farOff = 60

// afterNote says what a note came to: what was computed, and what is to be done first.
// number is that of the entry.
func (r *Records) afterNote(ctx context.Context, v *logbook.View, body entry.Note, number int64) ([]string, error) {
	d := dataOf(body)
	duty, _ := dutyNamed(body.Duty)
	var out []string
	switch {
	case duty.Name == dutyDisinfected:
		out = contactSays(body, d, number)
	case duty.Name == dutyCount:
		out = countSays(body, d)
	case duty.Name == dutySample:
		out = []string{"The count is owed. Enter it with --duty \"" + dutyCount + "\" when the result comes."}
	case duty.Name == dutySporeIn:
		ready := started{Row: logbook.Row[entry.Note]{Said: body}}.ready()
		out = []string{"In incubation until " + r.clockWords(ready) + ". Then read it and its control with --duty \"" + dutySporeRead + "\"."}
	case duty.Name == dutySporeRead && body.Outcome == "not done":
		out = []string{"Not proven: the control did not grow, so the spores were not alive. Run a spore test again, with new spores of another lot."}
	case duty.Says == sayDone && duty.Unit != "":
		out = r.shortSays(body, duty)
	case duty.Name == dutyVisit && len(d.Tests) > 0:
		out = []string{"Owed before " + body.Steriliser + " returns to service: " + strings.Join(d.Tests, ", ") + "."}
	case duty.Name == dutyBackInUse && len(d.Without) > 0:
		out = []string{body.Steriliser + " returns without: " + strings.Join(d.Without, ", ") + ". The reason is printed."}
	case duty.Name == dutyClock && body.Value != nil && math.Abs(*body.Value) > farOff:
		out = []string{"Set the recorder's clock by a trusted clock, and enter how far it is off then."}
	}
	stops, since, err := r.window(ctx, v, body, duty)
	if err != nil {
		return nil, err
	}
	due, err := r.revisionSays(ctx, v, body.Day)
	return slices.Concat(stops, since, out, due), err
}

// revisionSays says that the record of a day was signed before this.
func (r *Records) revisionSays(ctx context.Context, v *logbook.View, day string) ([]string, error) {
	days, err := v.Days(ctx, day, day)
	if err != nil || len(days) == 0 || !days[0].Due() {
		return nil, err
	}
	return []string{"The record of " + dayWords(day) + " is signed, and this came after: a new revision of it is due."}, nil
}

// window says, where a test of a machine failed, what is done first and which loads ran
// since the last one that passed.
func (r *Records) window(ctx context.Context, v *logbook.View, body entry.Note, duty dutyKind) (first, since []string, err error) {
	spores := duty.Name == dutySporeRead
	if body.Outcome != "failed" || !spores && duty.Kind == "" {
		return nil, nil, nil
	}
	first = []string{"Take " + body.Steriliser + " out of use. Tell the lead."}
	if spores {
		first = []string{"Spores survived. Take " + body.Steriliser + " out of use, keep its packs back, tell the lead."}
	}
	ranAt := r.Now()
	switch {
	case !body.From.IsZero():
		ranAt = body.From.Time
	case body.Cycle != "":
		c, err := v.Cycle(ctx, body.Cycle)
		if err != nil {
			return nil, nil, err
		}
		ranAt = c.Start.Time
	}
	loads, good, err := r.LoadsSinceGood(ctx, v, body.Steriliser, duty.Name, ranAt)
	if err != nil {
		return nil, nil, err
	}
	ran := "Since the last good test (" + r.clockWords(good) + ")"
	if good.IsZero() {
		ran = "No good test is entered. Since the first record"
	}
	var names []string
	for _, c := range loads {
		names = append(names, r.nameOf(c))
	}
	said := ran + " no load ran that is in the logbook."
	switch n := len(names); {
	case n > mostNamed:
		said = fmt.Sprintf("%s %d loads ran, from %s to %s. The lead decides about each.", ran, n, names[0], names[n-1])
	case n > 0:
		said = fmt.Sprintf("%s %d %s ran: %s. The lead decides about each.", ran, n, plural(n, "load", "loads"), strings.Join(names, ", "))
	}
	return first, []string{said}, nil
}

// mostNamed is how many loads are named one by one in a sentence (ours).
const mostNamed = 12

// LoadsSinceGood returns the loads of a machine since its last good test before a moment,
// read by a duty such as "spore test read", and when that test was run: a spore test when
// its incubation began, another when its cycle began. Zero where none has passed; then
// the loads are all there are.
func (r *Records) LoadsSinceGood(ctx context.Context, v *logbook.View, machine, duty string, before time.Time) ([]logbook.Cycle, time.Time, error) {
	var good time.Time
	d, _ := dutyNamed(duty)
	if d.Kind != "" {
		runs, err := r.testRuns(ctx, v, machine, d.Kind, before)
		if err != nil {
			return nil, good, err
		}
		for _, run := range runs {
			if run.passed {
				good = run.at
			}
		}
	} else {
		rows, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: duty, Steriliser: machine})
		if err != nil {
			return nil, good, err
		}
		for _, row := range rows {
			at := row.At
			if !row.Said.From.IsZero() {
				at = row.Said.From.Time
			}
			if row.Said.Outcome == "passed" && !row.Withdrawn && at.After(good) && at.Before(before) {
				good = at
			}
		}
	}
	from := ""
	if !good.IsZero() {
		from = r.localDay(good)
	}
	all, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: machine, Kind: cycle.Load.String(), From: from})
	if err != nil {
		return nil, good, err
	}
	var out []logbook.Cycle
	for _, c := range all {
		if c.Start.After(good) && c.ContinuedBy == "" {
			out = append(out, c)
		}
	}
	return out, good, nil
}

// kindsOfTest are the kinds of cycle that are tests.
var kindsOfTest = []cycle.Kind{cycle.PenetrationTest, cycle.ControlTest, cycle.LeakTest}
