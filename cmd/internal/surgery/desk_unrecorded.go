package surgery

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Unrecorded is what people entered about a cycle number of which no record is here.
type Unrecorded struct {
	Happening
	Name string // S1 · 1048
}

// gapReach is how far beside a number the cycles are looked for that border its gap (ours).
const gapReach = 20

// Unrecorded returns what was entered at the machine for a number without a record, and
// how people explained the gap it lies in, machine by machine; of every machine for "".
func (r *Records) Unrecorded(ctx context.Context, machine, number string) ([]Unrecorded, error) {
	number = strings.TrimSpace(number)
	if number == "" {
		return nil, nil
	}
	var out []Unrecorded
	err := r.book.Read(ctx, func(v *logbook.View) error {
		out = nil
		names, err := names(ctx, v)
		if err != nil {
			return err
		}
		for _, m := range r.settings.Value.Sterilisers {
			if machine != "" && m.ID != machine {
				continue
			}
			here, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: m.ID, Number: number, Limit: 1})
			if err != nil {
				return err
			}
			if len(here) > 0 {
				continue
			}
			rows, err := r.ofNumber(ctx, v, m.ID, number)
			if err != nil {
				return err
			}
			name := r.calls(entry.Verdict{Steriliser: m.ID, Number: number})
			for _, row := range rows {
				out = append(out, Unrecorded{r.happening(row, names, logbook.Cycle{}), name})
			}
		}
		return nil
	})
	return out, err
}

// ofNumber are the entries about a number of a machine: what was done at the machine, and
// explanations of a gap on the cycles that border it.
func (r *Records) ofNumber(ctx context.Context, v *logbook.View, machine, number string) ([]logbook.Row[entry.Body], error) {
	rows, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Steriliser: machine, Number: number})
	if err != nil {
		return nil, err
	}
	rows = slices.DeleteFunc(rows, func(row logbook.Row[entry.Body]) bool {
		load, is := row.Said.(entry.Release)
		return !is || row.Withdrawn || load.Cycle != "" || load.Number != number
	})
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil {
		return rows, nil // a number in words has no neighbours
	}
	for _, step := range []int64{-1, 1} {
		key, err := r.beside(ctx, v, machine, n, step)
		if err != nil {
			return nil, err
		}
		if key == "" {
			continue
		}
		notes, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Cycle: key, Topic: dutyExplained})
		if err != nil {
			return nil, err
		}
		for _, row := range notes {
			if note, is := row.Said.(entry.Note); is && !row.Withdrawn && slices.Contains(dataOf(note).Explains, checkGap) {
				rows = append(rows, row)
			}
		}
	}
	return rows, nil
}

// checkGap is the check that finds missing numbers.
const checkGap = "number-gap"

// beside is the key of the nearest recorded cycle in one direction, "" for none near.
func (r *Records) beside(ctx context.Context, v *logbook.View, machine string, n, step int64) (string, error) {
	for i := int64(1); i <= gapReach; i++ {
		list, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: machine, Number: strconv.FormatInt(n+i*step, 10), Newest: true, Limit: 1})
		if err != nil {
			return "", err
		}
		if len(list) > 0 {
			return list[0].Key, nil
		}
	}
	return "", nil
}
