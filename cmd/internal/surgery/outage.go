package surgery

import (
	"cmp"
	"context"
	"slices"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate/routine"
)

// outage is a time in which a machine was out of service.
type outage struct {
	machine  string
	from, to time.Time // to zero: not over by the last day that was looked at
	reason   string
	by       string // id of the person
	entry    int64
}

// holds tells whether the machine was out of service at a moment.
func (o outage) holds(at time.Time) bool {
	return !at.Before(o.from) && (o.to.IsZero() || at.Before(o.to))
}

// outages are the times out of service of every machine, as entered for days up to one,
// by machine and beginning. A time out of service ends with its own end, or with the next
// entry that the machine is in service again. An entry made for another day than that on
// which it was made, without a time, speaks of the whole day.
func (r *Records) outages(ctx context.Context, v *logbook.View, upTo string) ([]outage, error) {
	ended := map[string][]time.Time{}
	again, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyBackInUse, To: upTo})
	if err != nil {
		return nil, err
	}
	for _, n := range again {
		_, end := r.spanOf(n)
		ended[n.Said.Steriliser] = append(ended[n.Said.Steriliser], end)
	}
	rows, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyOutOfUse, To: upTo})
	if err != nil {
		return nil, err
	}
	var out []outage
	for _, n := range rows {
		from, _ := r.spanOf(n)
		o := outage{machine: n.Said.Steriliser, from: from, to: r.local(n.Said.To.Time), reason: n.Said.Text, by: n.By, entry: n.Number}
		for _, end := range ended[o.machine] {
			if end.After(from) && (o.to.IsZero() || end.Before(o.to)) {
				o.to = end
			}
		}
		out = append(out, o)
	}
	slices.SortFunc(out, func(a, b outage) int {
		return cmp.Or(cmp.Compare(a.machine, b.machine), a.from.Compare(b.from), a.to.Compare(b.to), cmp.Compare(a.reason, b.reason), cmp.Compare(a.entry, b.entry))
	})
	return out, nil
}

// spanOf is the earliest and the latest moment that an entry can speak of: its own time,
// or the whole of a day before it.
func (r *Records) spanOf(n logbook.Row[entry.Note]) (first, last time.Time) {
	switch {
	case !n.Said.From.IsZero():
		at := r.local(n.Said.From.Time)
		return at, at
	case n.Said.Day == r.localDay(n.At):
		at := r.local(n.At)
		return at, at
	}
	day, err := time.ParseInLocation(time.DateOnly, n.Said.Day, r.zone)
	if err != nil { // cannot be: the logbook keeps days in this form
		at := r.local(n.At)
		return at, at
	}
	return day, day.AddDate(0, 0, 1)
}

// outOfServiceAt is the time out of service that a machine was in at a moment, nil for none.
func (r *Records) outOfServiceAt(ctx context.Context, v *logbook.View, machine string, at time.Time) (*outage, error) {
	all, err := r.outages(ctx, v, r.localDay(at))
	if err != nil {
		return nil, err
	}
	for i, o := range all {
		if o.machine == machine && o.holds(at) {
			return &all[i], nil
		}
	}
	return nil, nil
}

// closures are the days on which the surgery was closed, and those that a machine was out
// of service. A day on which it ran loads is none of them, nor one for which work is
// entered, nor that on which a machine was back: what that day owes is owed.
func (o *owing) closures() error {
	from := back(o.day, nearClosures)
	closed, err := logbook.Find[entry.Note](o.ctx, o.v, logbook.Filter{Topic: dutyClosed, From: from, To: o.day})
	if err != nil {
		return err
	}
	for _, n := range closed {
		worked, err := work(o.ctx, o.v, n.Said.Day)
		if err != nil {
			return err
		}
		if len(worked) > 0 {
			continue
		}
		o.facts.Closed = append(o.facts.Closed, routine.Closure{From: n.Said.Day, To: n.Said.Day, Reason: n.Said.Text})
	}
	out, err := o.r.outages(o.ctx, o.v, o.day)
	if err != nil {
		return err
	}
	for _, x := range out {
		c := routine.Closure{Steriliser: x.machine, From: x.from.Format(time.DateOnly), Reason: x.reason}
		if !x.to.IsZero() {
			if c.To, c.Back = x.to.Format(time.DateOnly), true; c.To < from {
				continue
			}
		}
		o.facts.Closed = append(o.facts.Closed, c)
	}
	return o.loadsOnClosed(from)
}

// loadsOnClosed adds the loads of days before this one that a closure speaks of.
func (o *owing) loadsOnClosed(from string) error {
	if len(o.facts.Closed) == 0 {
		return nil
	}
	first := o.day
	for _, c := range o.facts.Closed {
		first = min(first, max(c.From, from))
	}
	if first == o.day {
		return nil
	}
	cycles, err := o.v.Cycles(o.ctx, logbook.CycleFilter{From: first, To: back(o.day, 1)})
	if err != nil {
		return err
	}
	for _, c := range cycles {
		if c.Kind == cycle.Load.String() {
			o.facts.Loads = append(o.facts.Loads, routine.Load{Steriliser: c.Steriliser, Day: c.Day, At: c.Start.Time})
		}
	}
	return nil
}
