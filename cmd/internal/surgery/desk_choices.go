package surgery

import (
	"context"
	"errors"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Choice is something that could be done with a load, and whether this person may.
type Choice struct {
	Do     string
	Why    string // why it is not allowed, a sentence without its full stop; "" if it is
	Reason bool   // a reason must be given
	Second bool   // a second person must prove it in the same act
	Packs  bool   // what became of each pack must be said
}

// Allowed tells whether it can be done.
func (c Choice) Allowed() bool { return c.Why == "" }

// Choices applies the rules to each thing that could be done with a load, for the
// person of a session.
func (r *Records) Choices(ctx context.Context, key string, by SignedIn) ([]Choice, error) {
	var out []Choice
	err := r.book.Read(ctx, func(v *logbook.View) error {
		out = nil
		c, err := v.Cycle(ctx, key)
		if err != nil {
			return ErrNotKept
		}
		for _, do := range []string{DoRelease, DoPropose, DoQuarantine, DoReprocess, DoUsed, DoRecall, DoFollow, DoClose} {
			choice, err := r.choice(ctx, v, c, do, by)
			if err != nil {
				return err
			}
			out = append(out, choice)
		}
		return nil
	})
	return out, err
}

func (r *Records) choice(ctx context.Context, v *logbook.View, c logbook.Cycle, do string, by SignedIn) (Choice, error) {
	odd := c.Outcome == Borderline.String()
	out := Choice{Do: do, Reason: odd && (do == DoRelease || do == DoPropose) || do == DoRecall, Packs: do == DoFollow || do == DoClose}
	// What the form will ask for is taken as given; the act itself checks it.
	d := Deciding{Do: do, By: Proof{Person: by.Person}, Reason: "given", proposals: map[string]logbook.Row[entry.Note]{}}
	if out.Packs {
		d.Packs = []entry.Pack{{Pack: "given", Became: "given"}}
	}
	if do == DoRelease && odd {
		open, err := proposed(ctx, v, c)
		if err != nil {
			return out, err
		}
		out.Second = open == nil || open.By == by.Person
	}
	var no *Refusal
	err := r.allowed(ctx, v, &d, c, r.Now())
	if out.Second && errors.As(err, &no) { // the second person comes with the form
		d.Second.Person = aLead(ctx, v, r.Today(), by.Person)
		if d.Second.Person != "" {
			err = r.allowed(ctx, v, &d, c, r.Now())
		}
	}
	if err == nil {
		_, err = r.entitled(ctx, v, by.Person, doing[do], r.Now())
	}
	if errors.As(err, &no) {
		out.Why = no.Why
		return out, nil
	}
	return out, err
}

// aLead is somebody else who may be the second person: a lead if there is one.
func aLead(ctx context.Context, v *logbook.View, day, but string) string {
	all, err := everybody(ctx, v)
	if err != nil {
		return ""
	}
	other := ""
	for _, p := range all {
		switch {
		case p.Person == but:
		case holds(p, roleLead, day):
			return p.Person
		case holds(p, roleRelease, day):
			other = p.Person
		}
	}
	return other
}
