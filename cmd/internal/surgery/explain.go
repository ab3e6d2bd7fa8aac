package surgery

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// explanation returns the newest note in which a person said what lies between cycles:
// about that check, on one of them, after the last of them came in. Nil if there is none.
func (r *Records) explanation(ctx context.Context, v *logbook.View, a Between) (*logbook.Row[entry.Note], error) {
	var out *logbook.Row[entry.Note]
	last := int64(0)
	for _, key := range a.Cycles {
		c, err := v.Standing(ctx, key)
		if err != nil {
			return nil, err
		}
		last = max(last, c.FirstEntry)
		notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Cycle: key, Topic: dutyExplained})
		if err != nil {
			return nil, err
		}
		for i, n := range notes {
			var d dutyData
			if json.Unmarshal(n.Said.Data, &d) == nil && slices.Contains(d.Explains, a.Check) && (out == nil || n.Number > out.Number) {
				out = &notes[i]
			}
		}
	}
	if out != nil && out.Number < last {
		return nil, nil
	}
	return out, nil
}

// explains settles which check between cycles a note on a cycle is about: the one
// named, or the only one that nobody explained.
func (r *Records) explains(ctx context.Context, v *logbook.View, key, named string) (string, error) {
	c, err := v.Cycle(ctx, key)
	if err != nil {
		return "", err
	}
	if named == explainsTest {
		return named, r.explainsFailed(ctx, v, c)
	}
	day, err := time.Parse(time.DateOnly, c.Day)
	if err != nil {
		return "", err
	}
	p, err := r.acrossWith(ctx, v, c.Day, day.AddDate(0, 0, reviewDays).Format(time.DateOnly), true)
	if err != nil {
		return "", err
	}
	stops, err := r.stops(ctx, v, c)
	if err != nil {
		return "", err
	}
	var open, all []string
	for _, a := range slices.Concat(p.Findings, stops) {
		if !slices.Contains(a.Cycles, key) || slices.Contains(open, a.Check) {
			continue
		}
		note, err := r.explanation(ctx, v, a)
		if err != nil {
			return "", err
		}
		all = append(all, a.Check)
		if note == nil {
			open = append(open, a.Check)
		}
	}
	switch {
	case named != "" && slices.Contains(all, named):
		return named, nil
	case named != "":
		return "", &Refusal{Why: fmt.Sprintf("%s has no %s to explain", r.nameOf(c), named), Instead: "holdproof review shows what waits."}
	case len(open) == 1:
		return open[0], nil
	case len(open) == 0:
		return "", &Refusal{Why: "nothing between " + r.nameOf(c) + " and other cycles waits", Instead: "holdproof review shows what waits."}
	}
	return "", &Refusal{Why: fmt.Sprintf("%d things about %s wait", len(open), r.nameOf(c)), Instead: "Name the one that this explains with --explains: " + Alternatives(open) + "."}
}
