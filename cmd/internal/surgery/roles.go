package surgery

import (
	"context"
	"fmt"
	"slices"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// RoleChange is a change of what a person may do.
type RoleChange struct {
	ID     string
	Roles  []string // with Until: those that end, none for all; else those that begin
	Since  string   // "" for today
	Until  string   // last day, "" for a beginning
	By     Proof    // a lead
	Reason string
}

// ChangeRoles gives roles to a person, or ends them.
//
// Error: a [*Refusal], such as one that nobody would be lead any more.
func (r *Records) ChangeRoles(ctx context.Context, c RoleChange) error {
	if _, err := r.rolesAfter(ctx, r.book.View, c); err != nil {
		return err
	}
	lead, err := r.prove(ctx, c.By, ActPeople, r.Now())
	if err != nil {
		return err
	}
	return r.write(ctx, func(b *logbook.Batch) error {
		p, err := r.rolesAfter(ctx, b.View, c)
		if err != nil {
			return err
		}
		if _, err := r.entitled(ctx, b.View, c.By.Person, ActPeople, r.Now()); err != nil {
			return err
		}
		return r.addAll(b, lead, c.Reason, p)
	})
}

// rolesAfter is what the person may do after the change.
func (r *Records) rolesAfter(ctx context.Context, v *logbook.View, c RoleChange) (entry.Person, error) {
	p, err := person(ctx, v, c.ID)
	if err != nil {
		return p, err
	}
	p.May = slices.Clone(p.May)
	if c.Until == "" {
		more, err := r.grants(c.Roles, c.Since)
		if err != nil {
			return p, err
		}
		for _, m := range more {
			if holds(p, m.Act, m.Since) {
				return p, &Refusal{Why: fmt.Sprintf("%s has the role %s already on %s", c.ID, m.Act, dayWords(m.Since)), Instead: "Nothing was changed."}
			}
		}
		p.May = append(p.May, more...)
		return p, nil
	}
	if err := checkDay(c.Until); err != nil {
		return p, err
	}
	ended := false
	for i, m := range p.May {
		if len(c.Roles) > 0 && !slices.Contains(c.Roles, m.Act) || m.Until != "" && m.Until <= c.Until || m.Since > c.Until {
			continue
		}
		p.May[i].Until, ended = c.Until, true
	}
	if !ended {
		return p, &Refusal{Why: fmt.Sprintf("%s has no such role that lasts beyond %s", c.ID, dayWords(c.Until)), Instead: "holdproof people shows who has which role."}
	}
	return p, stillLed(ctx, v, p)
}

// stillLed refuses a change after which nobody would be lead for good.
func stillLed(ctx context.Context, v *logbook.View, changed entry.Person) error {
	all, err := everybody(ctx, v)
	if err != nil {
		return err
	}
	for _, p := range all {
		if p.Person == changed.Person {
			p = changed
		}
		if slices.ContainsFunc(p.May, func(m entry.May) bool { return m.Act == roleLead && m.Until == "" }) {
			return nil
		}
	}
	return &Refusal{Why: "nobody would be lead any more", Instead: "Give the role lead to somebody else first, with holdproof people role."}
}
