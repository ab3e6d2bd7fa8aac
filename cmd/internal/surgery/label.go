package surgery

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/pdf"
)

// Labels draws the labels of loads, copies of each, as a PDF with a page of 62 by 29 mm
// for each label. It keeps nothing. The same logbook gives the same bytes.
//
// A load released at the machine whose record has not come has one on the day of its
// cycle, which says so.
//
// Errors: a [*Refusal] for a load that is not released, or that is called back, sent
// back, in quarantine, or past its use-by date: a label must not make it look fit. One
// refusal refuses all.
func (r *Records) Labels(ctx context.Context, copies int, loads ...string) ([]byte, error) {
	const most = 200
	if copies < 1 || copies > most {
		return nil, fmt.Errorf("found %d copies, expected 1 to %d", copies, most)
	}
	if len(loads) == 0 {
		return nil, errors.New("no load is named")
	}
	var list []pdf.Label
	var made time.Time
	err := r.book.Read(ctx, func(v *logbook.View) error {
		people, err := names(ctx, v)
		if err != nil {
			return err
		}
		for _, name := range loads {
			l, at, err := r.labelOf(ctx, v, name, people)
			if err != nil {
				return err
			}
			for range copies {
				list = append(list, l)
			}
			if at.After(made) {
				made = at
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return pdf.Labels(list, made, r.world.Version)
}

// labelOf is the label of a load by what a person calls it, and when it was released.
func (r *Records) labelOf(ctx context.Context, v *logbook.View, name string, people map[string]string) (pdf.Label, time.Time, error) {
	c, err := r.traced(ctx, v, name)
	if err == nil {
		return r.label(ctx, v, c, people)
	}
	row, failed := r.awaited(ctx, v, name)
	if failed != nil || row == nil {
		return pdf.Label{}, time.Time{}, cmp.Or(failed, err)
	}
	l, err := r.labelAwaited(ctx, v, *row, people)
	return l, row.At, err
}

// CanLabel tells why a load has no label, nil if it has one.
func (r *Records) CanLabel(ctx context.Context, key string) error {
	return r.book.Read(ctx, func(v *logbook.View) error {
		c, err := v.Cycle(ctx, key)
		if err != nil {
			return err
		}
		_, _, err = r.label(ctx, v, c, nil)
		return err
	})
}

// label is that of one load, and when it was released.
func (r *Records) label(ctx context.Context, v *logbook.View, c logbook.Cycle, people map[string]string) (pdf.Label, time.Time, error) {
	var out pdf.Label
	if err := r.fitForLabel(ctx, v, c); err != nil {
		return out, time.Time{}, err
	}
	load, released, at, err := r.loadOf(ctx, v, c)
	if err != nil {
		return out, at, err
	}
	if load.UseBy != "" && load.UseBy < r.Today() {
		return out, at, &Refusal{Why: fmt.Sprintf("%s has no label: its use-by date %s has passed", r.nameOf(c), dayWords(load.UseBy)),
			Instead: "Pack it anew and run it again."}
	}
	name := func(id string) string {
		if n := people[id]; n != "" {
			return n
		}
		return id
	}
	out = pdf.Label{ID: c.Key, Name: r.nameOf(c), Began: c.Start.In(r.zone).Format("2 Jan 2006 15:04"), Kind: c.Programme, Packed: name(load.Packed),
		Released: name(released), Contents: contentsOf(load), Surgery: r.settings.Value.Site.Name}
	if load.UseBy != "" {
		out.UseBy = dayWords(load.UseBy)
	}
	return out, at, nil
}

// fitForLabel refuses what a label must not make look fit.
func (r *Records) fitForLabel(ctx context.Context, v *logbook.View, c logbook.Cycle) error {
	name, byDecision := r.nameOf(c), c.Decision == DoRelease
	no := func(why, instead string) error {
		return &Refusal{Why: name + " has no label: " + why, Instead: instead}
	}
	const again = "Do not use this load. Repack it and run it again."
	switch {
	case c.Kind != cycle.Load.String():
		return no("it is a "+c.Kind+" and no load", "Name a load.")
	case c.Recall == "opened" || c.Recall == "followed":
		return no("it is being called back", "Find every pack; holdproof review says how to go on.")
	case c.Recall == "closed":
		return no("it was called back", again)
	case c.Outcome != Conforms.String() && !(c.Outcome == Borderline.String() && byDecision):
		return no("its record is "+c.Outcome+whyOf(*c.Verdict)+"; a label would make it look fit", c.Instruction)
	case !c.Configured:
		return no("its record names no steriliser of the settings", "Ask the lead to set sterilisers in holdproof.yaml and to run holdproof rejudge.")
	case c.Decision != "" && !byDecision:
		return no("it was "+actWords[c.Decision], "Label its new run, once that is released.")
	case c.Release == "rejected":
		return no("it was rejected at the machine", "Label its new run, once that is released.")
	case !byDecision && c.Release != "released":
		return no("nobody has released it", "Release it first: holdproof decide "+typed(c)+" --release --by PERSON.")
	case byDecision:
		return nil
	}
	// Released on the machine's display: the day's tests and the other cycles were not
	// looked at then.
	var refused *Refusal
	err := r.explained(ctx, v, c)
	if errors.As(err, &refused) {
		return no(strings.TrimPrefix(refused.Why, name+" is not released: "), refused.Instead)
	}
	return err
}

// loadOf is what people entered of a load, who released it, and when.
func (r *Records) loadOf(ctx context.Context, v *logbook.View, c logbook.Cycle) (load entry.Load, by string, at time.Time, err error) {
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Cycle: c.Key, Newest: true, Limit: 1})
	if err != nil {
		return load, by, at, err
	}
	if len(rows) > 0 {
		load = rows[0].Said.Load
		if rows[0].Said.Act == "released" {
			by, at = rows[0].By, rows[0].At
		}
	}
	if c.Decision == DoRelease {
		decided, err := logbook.Find[entry.Decision](ctx, v, logbook.Filter{Entry: c.DecisionEntry, Superseded: true})
		if err != nil {
			return load, by, at, err
		}
		if len(decided) > 0 {
			by, at = decided[0].By, decided[0].At
		}
	}
	return load, by, at, nil
}

// contentsOf is what stood in the chamber, in words.
func contentsOf(l entry.Load) string {
	out := strings.TrimSpace(l.Contents)
	if l.Count != nil && out != "" {
		packs := " packs"
		if *l.Count == 1 {
			packs = " pack"
		}
		out += fmt.Sprintf(", %d%s", *l.Count, packs)
	}
	return out
}
