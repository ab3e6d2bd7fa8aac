package surgery

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// LoadEntered is a release or a rejection that was entered at the machine.
type LoadEntered struct {
	Name  string // S1 · 1042
	Act   string // released, rejected
	By    string // name
	At    time.Time
	Entry int64
	Load  string // what was in it, in words
	Cycle string // key of its record, "" if that has not come
}

// LoadsEntered are those of a day, in their order.
func (r *Records) LoadsEntered(ctx context.Context, day string) ([]LoadEntered, error) {
	if err := checkDay(day); err != nil {
		return nil, ErrNotKept
	}
	var out []LoadEntered
	err := r.book.Read(ctx, func(v *logbook.View) error {
		names, err := names(ctx, v)
		if err != nil {
			return err
		}
		rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{From: day, To: day})
		for _, row := range rows {
			if row.Withdrawn {
				continue
			}
			out = append(out, LoadEntered{Name: r.calls(entry.Verdict{Steriliser: row.Said.Steriliser, Number: row.Said.Number}), Act: row.Said.Act,
				By: names[row.By], At: row.At.In(r.zone), Entry: row.Number, Load: loadWords(row.Said), Cycle: row.Cycle})
		}
		return err
	})
	return out, err
}

// LastNumber is the highest cycle number of a machine on a day or shortly before it
// that records and people named, "" if there is none: the number on the display is
// compared with it, never filled in from it.
func (r *Records) LastNumber(ctx context.Context, machine, day string) (string, error) {
	if err := checkDay(day); err != nil {
		return "", ErrNotKept
	}
	top, found := int64(0), ""
	take := func(number string) {
		if n, err := strconv.ParseInt(number, 10, 64); err == nil && n > top {
			top, found = n, number
		}
	}
	err := r.book.Read(ctx, func(v *logbook.View) error {
		last, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: machine, To: day, Newest: true, Limit: 20})
		if err != nil {
			return err
		}
		for _, c := range last {
			take(c.Number)
		}
		rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Steriliser: machine, From: day, To: day})
		for _, row := range rows {
			if !row.Withdrawn {
				take(row.Said.Number)
			}
		}
		return err
	})
	return found, err
}

// Unsuited are the remarks on machines whose programmes do not suit every load.
func (r *Records) Unsuited() []string {
	var out []string
	for _, s := range r.settings.Value.Sterilisers {
		if text := r.Remark(AtMachine{Steriliser: s.ID, Load: entry.Load{Wrapping: "wrapped"}}); text != "" {
			out = append(out, text)
		}
	}
	return out
}

// rerunDays is how long before a cycle a load may have run that is looked for as the
// one it repeats (ours): a year.
const rerunDays = 366

// RerunsOf are the cycles whose load was run again in this one, by what people decided.
func (r *Records) RerunsOf(ctx context.Context, s Shown) ([]Shown, error) {
	from := s.Start.In(r.zone).AddDate(0, 0, -rerunDays).Format(time.DateOnly)
	rows, err := logbook.Find[entry.Decision](ctx, r.book.View, logbook.Filter{Topic: DoReprocess, From: from, To: s.Day})
	if err != nil {
		return nil, err
	}
	var keys []string
	for _, row := range rows {
		if row.Said.Rerun == s.Key && !row.Withdrawn && !slices.Contains(keys, row.Cycle) {
			keys = append(keys, row.Cycle)
		}
	}
	var out []Shown
	for _, key := range keys {
		one, err := r.ShownCycle(ctx, key)
		if err != nil {
			return nil, fmt.Errorf("the load that %s repeats: %w", s.Name, err)
		}
		out = append(out, one)
	}
	return out, nil
}
