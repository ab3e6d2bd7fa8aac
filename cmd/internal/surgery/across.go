package surgery

import (
	"context"
	"slices"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// before is how many days before a period are laid beside it, so that a number that
// is missing at its beginning shows (ours).
const daysBefore = 14

// Period is what shows when the cycles of some days are laid side by side.
type Period struct {
	Findings []Between
	// Again are the keys of cycles that failed where the one before on the same
	// steriliser failed too.
	Again []string
}

// Across lays the cycles from one day to another side by side, ends included, as
// they stand now: the order in which they were imported makes no difference.
func (r *Records) Across(ctx context.Context, from, to string) (Period, error) {
	var p Period
	err := r.book.Read(ctx, func(v *logbook.View) error {
		var err error
		p, err = r.across(ctx, v, from, to)
		return err
	})
	return p, err
}

func (r *Records) across(ctx context.Context, v *logbook.View, from, to string) (Period, error) {
	return r.acrossWith(ctx, v, from, to, false)
}

// acrossWith is across, and with tests looks also for loads before the tests that the
// routine owes before them.
func (r *Records) acrossWith(ctx context.Context, v *logbook.View, from, to string, tests bool) (Period, error) {
	first := from
	if day, err := time.Parse(time.DateOnly, from); err == nil {
		first = day.AddDate(0, 0, -daysBefore).Format(time.DateOnly)
	}
	cycles, err := v.Cycles(ctx, logbook.CycleFilter{From: first, To: to})
	if err != nil {
		return Period{}, err
	}
	facts, err := r.facts(ctx, v, first, to)
	if err != nil {
		return Period{}, err
	}
	inside := map[string]bool{}
	var called []string // keys, and what people call their cycles
	list := make([]validate.Summary, 0, len(cycles))
	for _, c := range cycles {
		inside[c.Key] = c.Day >= from
		list = append(list, r.summaryOf(c))
		called = append(called, c.Key, r.nameOf(c))
	}
	inWords := strings.NewReplacer(called...)
	facts.Counters = slices.DeleteFunc(facts.Counters, func(c validate.Counter) bool { return r.localDay(c.At) < from })
	if tests {
		if facts.Tests, err = r.dayTests(ctx, v, cycles); err != nil {
			return Period{}, err
		}
	}
	var out Period
	for _, a := range validate.AcrossCycles(list, facts) {
		if len(a.Cycles) == 0 || slices.ContainsFunc(a.Cycles, func(key string) bool { return inside[key] }) {
			a.Message = inWords.Replace(a.Message)
			out.Findings = append(out.Findings, a)
		}
	}
	ran, err := r.ranOut(ctx, v, cycles)
	if err != nil {
		return Period{}, err
	}
	for _, a := range ran {
		if slices.ContainsFunc(a.Cycles, func(key string) bool { return inside[key] }) {
			out.Findings = append(out.Findings, a)
		}
	}
	for _, key := range validate.FailedAgain(list) {
		if inside[key] {
			out.Again = append(out.Again, key)
		}
	}
	return out, nil
}

// facts are what people entered that the records do not hold: counters and resets.
func (r *Records) facts(ctx context.Context, v *logbook.View, from, to string) (validate.Facts, error) {
	var f validate.Facts
	counted, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyCounter, From: from, To: to})
	if err != nil {
		return f, err
	}
	for _, n := range counted {
		if n.Said.Value != nil {
			f.Counters = append(f.Counters, validate.Counter{Steriliser: n.Said.Steriliser, At: n.At.In(r.zone), Count: int64(*n.Said.Value)})
		}
	}
	f.Resets, err = r.resets(ctx, v, from, to)
	return f, err
}

// resets are the times at which a machine began to count anew.
func (r *Records) resets(ctx context.Context, v *logbook.View, from, to string) ([]validate.Reset, error) {
	notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyReset, From: from, To: to})
	var out []validate.Reset
	for _, n := range notes {
		out = append(out, validate.Reset{Steriliser: n.Said.Steriliser, At: n.At.In(r.zone)})
	}
	return out, err
}

// stops returns what keeps the load of a cycle from being released until a person has
// decided: another cycle of its number or start, or with its very readings.
func (r *Records) stops(ctx context.Context, v *logbook.View, c logbook.Cycle) ([]Between, error) {
	near := map[string]logbook.Cycle{c.Key: c}
	for _, f := range []logbook.CycleFilter{
		{Digest: c.Digest}, {Steriliser: c.Steriliser, Number: c.Number}, {From: c.Day, To: c.Day},
	} {
		if f.Digest == "" && f.From == "" && (f.Number == "" || f.Steriliser == "") {
			continue
		}
		found, err := v.Cycles(ctx, f)
		if err != nil {
			return nil, err
		}
		for _, o := range found {
			near[o.Key] = o
		}
	}
	var list []validate.Summary
	for _, o := range near {
		list = append(list, r.summaryOf(o))
	}
	resets, err := r.resets(ctx, v, "", c.Day)
	if err != nil {
		return nil, err
	}
	var out []Between
	for _, a := range validate.AcrossCycles(list, validate.Facts{Resets: resets}) {
		if a.StopsRelease() && slices.Contains(a.Cycles, c.Key) {
			out = append(out, a)
		}
	}
	return out, nil
}
