package surgery

import (
	"context"
	"fmt"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/pdf"
)

// Awaited is a load whose record has not come: what a person entered at the machine.
type Awaited struct {
	Name, Steriliser, Number, Day string
	Rejected                      bool
	Load                          entry.Load // people by name
	By                            string     // by name
	At                            time.Time  // in the site's zone
	Entry                         int64
}

// Awaited finds a load without a record by machine and number, by its number, or by the
// number of the load; nil if there is none.
//
// Error: several are called so.
func (r *Records) Awaited(ctx context.Context, text string) (*Awaited, error) {
	var out *Awaited
	err := r.book.Read(ctx, func(v *logbook.View) error {
		row, err := r.awaited(ctx, v, text)
		if err != nil || row == nil {
			return err
		}
		people, err := names(ctx, v)
		if err != nil {
			return err
		}
		name := func(id string) string {
			if n := people[id]; n != "" {
				return n
			}
			return id
		}
		s := row.Said
		out = &Awaited{Name: r.calls(entry.Verdict{Steriliser: s.Steriliser, Number: s.Number}), Steriliser: s.Steriliser, Number: s.Number, Day: s.Day,
			Rejected: s.Act != "released", Load: s.Load, By: name(row.By), At: row.At.In(r.zone), Entry: row.Number}
		out.Load.Packed, out.Load.Loaded = name(s.Load.Packed), name(s.Load.Loaded)
		return nil
	})
	return out, err
}

// awaited is the entry of such a load.
func (r *Records) awaited(ctx context.Context, v *logbook.View, text string) (*logbook.Row[entry.Release], error) {
	text = strings.Join(strings.Fields(text), " ")
	if text == "" {
		return nil, nil
	}
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Newest: true})
	if err != nil {
		return nil, err
	}
	var found []logbook.Row[entry.Release]
	for _, row := range rows {
		if s := row.Said; row.Cycle == "" && !row.Withdrawn && meansLoad(text, s) {
			found = append(found, row)
		}
	}
	switch len(found) {
	case 0:
		return nil, nil
	case 1:
		return &found[0], nil
	}
	var which []string
	for _, f := range found[:min(len(found), 5)] {
		which = append(which, fmt.Sprintf("%s/%s of %s", f.Said.Steriliser, f.Said.Number, dayWords(f.Said.Day)))
	}
	return nil, fmt.Errorf("%d loads without a record are called %q: %s; name one by its machine and number", len(found), text, strings.Join(which, ", "))
}

// meansLoad tells whether a text in a person's hand means what was entered.
func meansLoad(text string, s entry.Release) bool {
	if text == s.Number || text == s.Load.Number {
		return true
	}
	for _, sign := range []string{"·", "/", ":", " ", "-"} {
		machine, number, both := strings.Cut(text, sign)
		if both && strings.EqualFold(strings.TrimSpace(machine), s.Steriliser) && strings.TrimSpace(number) == s.Number {
			return true
		}
	}
	return false
}

// labelAwaited is the label of a load that was released at the machine and whose record
// has not come: packs are labelled when they come out. It says that no record was judged,
// and is to be had on the day of the cycle only; after that the record has to be there.
func (r *Records) labelAwaited(ctx context.Context, v *logbook.View, row logbook.Row[entry.Release], people map[string]string) (pdf.Label, error) {
	s := row.Said
	name := r.calls(entry.Verdict{Steriliser: s.Steriliser, Number: s.Number})
	no := func(why, instead string) (pdf.Label, error) {
		return pdf.Label{}, &Refusal{Why: name + " has no label: " + why, Instead: instead}
	}
	switch {
	case s.Act != "released":
		return no("it was rejected at the machine", "Label its new run, once that is released.")
	case s.Day != r.Today():
		return no("it ran on "+dayWords(s.Day)+", and its record has not come", "Export and import its record, and look at its verdict.")
	}
	if err := r.testsAtMachine(ctx, v, s.Steriliser, s.Number, s.Day, r.Now()); err != nil {
		if refused, is := err.(*Refusal); is {
			return no(strings.TrimPrefix(refused.Why, name+" is not released: "), refused.Instead)
		}
		return pdf.Label{}, err
	}
	called := func(id string) string {
		if n := people[id]; n != "" {
			return n
		}
		return id
	}
	out := pdf.Label{ID: s.Steriliser + "/" + s.Number, Name: name, Began: dayWords(s.Day), Kind: "record not yet judged", Packed: called(s.Load.Packed),
		Released: called(row.By), Contents: contentsOf(s.Load), Surgery: r.settings.Value.Site.Name}
	if s.Load.UseBy != "" {
		out.UseBy = dayWords(s.Load.UseBy)
	}
	return out, nil
}
