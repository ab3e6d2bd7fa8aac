package surgery

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// recallable returns nil if a recall of the load may be opened, followed or closed.
func (r *Records) recallable(ctx context.Context, v *logbook.View, d *Deciding, c logbook.Cycle) error {
	name := r.nameOf(c)
	open := c.Recall == "opened" || c.Recall == "followed"
	for _, p := range d.Packs {
		if strings.TrimSpace(p.Pack) == "" {
			return &Refusal{Why: "a pack has no name", Instead: "Write --pack \"PACK=what became of it\"."}
		}
	}
	switch {
	case d.Do == DoRecall && open:
		return &Refusal{Why: name + " is being recalled already", Instead: "Enter what was found with --follow and --pack."}
	case d.Do == DoRecall:
		if strings.TrimSpace(d.Reason) == "" {
			return &Refusal{Why: "no reason for the recall of " + name + " is given", Instead: "Give it with --reason."}
		}
		return nil
	case !open:
		return &Refusal{Why: "no recall of " + name + " is open", Instead: "Open one with --recall --reason TEXT."}
	case d.Do == DoFollow:
		if len(d.Packs) == 0 && strings.TrimSpace(d.Reason) == "" {
			return &Refusal{Why: "nothing new is said of the recall of " + name, Instead: "Name packs with --pack \"PACK=what became of it\", or say more with --reason."}
		}
		return nil
	}
	packs, err := r.packs(ctx, v, c, d.Packs)
	if err != nil {
		return err
	}
	if len(packs) == 0 {
		return &Refusal{Why: "the recall of " + name + " is not closed: it is not said what became of its packs",
			Instead: "Name every pack with --pack \"PACK=what became of it\"."}
	}
	var lost []string
	for _, p := range packs {
		if strings.TrimSpace(p.Became) == "" {
			lost = append(lost, p.Pack)
		}
	}
	if len(lost) > 0 {
		return &Refusal{Why: fmt.Sprintf("the recall of %s is not closed: what became of %s is not known", name, Alternatives(lost)),
			Instead: "Name each with --pack \"PACK=what became of it\"; that it could not be found is an answer too."}
	}
	return nil
}

// packs are the packs of an open recall: of each the newest that is known, in the
// order in which they were first named.
func (r *Records) packs(ctx context.Context, v *logbook.View, c logbook.Cycle, more []entry.Pack) ([]entry.Pack, error) {
	rows, err := logbook.Find[entry.Recall](ctx, v, logbook.Filter{Cycle: c.Key})
	if err != nil {
		return nil, err
	}
	out := []entry.Pack{}
	put := func(p entry.Pack) {
		i := slices.IndexFunc(out, func(o entry.Pack) bool { return o.Pack == p.Pack })
		switch {
		case i < 0:
			out = append(out, p)
		case p.Became != "":
			out[i].Became = p.Became
		}
	}
	for _, row := range rows {
		if row.Said.Act == "opened" {
			out = out[:0]
		}
		for _, p := range row.Said.Packs {
			put(p)
		}
	}
	for _, p := range more {
		put(p)
	}
	return out, nil
}

// recallBody is the entry that opens, follows or closes a recall.
func (r *Records) recallBody(ctx context.Context, v *logbook.View, d Deciding, c logbook.Cycle) (entry.Recall, error) {
	body := entry.Recall{Cycle: c.Key, Day: c.Day, Because: d.Reason, Packs: packsOf(d.Packs)}
	switch d.Do {
	case DoRecall:
		body.Act = "opened"
		return body, nil
	case DoFollow:
		body.Act = "followed"
	case DoClose:
		body.Act, body.Settled = "closed", true
		var err error
		if body.Packs, err = r.packs(ctx, v, c, d.Packs); err != nil {
			return body, err
		}
	}
	// The reason of the opening stays in front of whoever reads the newest entry.
	rows, err := logbook.Find[entry.Recall](ctx, v, logbook.Filter{Cycle: c.Key, Topic: "opened", Newest: true, Limit: 1})
	if err == nil && len(rows) > 0 {
		body.Because = rows[0].Said.Because
	}
	return body, err
}
