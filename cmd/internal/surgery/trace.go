package surgery

import (
	"context"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Trace is the way back from a label, an id or a number: a cycle, its verdict, what was
// entered of the load, what people decided, and where it stands in a record.
type Trace struct {
	Shown
	Load    entry.Load // people by name; as the newest release at the machine says; empty where nobody did
	Records []TracedRecord
}

// TracedRecord is a signature under the record of the day.
type TracedRecord struct {
	File    string // in the records folder
	SHA256  string
	Meaning string // prepared, reviewed
	By      string
	Entry   int64
	Newest  bool // of the newest revision
}

// Trace finds a cycle by what a person has in hand: the id or the scanned text of a
// label, a cycle number, machine and number, or the number of a load.
//
// Errors: none of that name, several; sentences with the names to use.
func (r *Records) Trace(ctx context.Context, text string) (Trace, error) {
	var out Trace
	var key string
	err := r.book.Read(ctx, func(v *logbook.View) error {
		c, err := r.traced(ctx, v, text)
		if err != nil {
			return err
		}
		key = c.Key
		if out.Load, _, _, err = r.loadOf(ctx, v, c); err != nil {
			return err
		}
		people, err := names(ctx, v)
		if err != nil {
			return err
		}
		for _, id := range []*string{&out.Load.Packed, &out.Load.Loaded} {
			if n := people[*id]; n != "" {
				*id = n
			}
		}
		rows, err := logbook.Find[entry.Signature](ctx, v, logbook.Filter{Subject: c.Day})
		revision := int64(0)
		for _, s := range rows {
			revision = max(revision, s.Said.Revision)
		}
		for _, s := range rows {
			by := people[s.By]
			if by == "" {
				by = s.By
			}
			out.Records = append(out.Records, TracedRecord{File: s.Said.File, SHA256: s.Said.SHA256, Meaning: s.Said.Meaning, By: by, Entry: s.Number, Newest: s.Said.Revision == revision})
		}
		return err
	})
	if err != nil {
		return out, err
	}
	out.Shown, err = r.ShownCycle(ctx, key)
	return out, err
}

// traced finds the cycle that a text in a person's hand means: as [cycleNamed] does, in
// capitals too, since a reader may type small letters, with a hyphen between machine and
// number, and by the number of a load.
func (r *Records) traced(ctx context.Context, v *logbook.View, text string) (logbook.Cycle, error) {
	text = strings.Join(strings.Fields(text), " ")
	c, first := cycleNamed(ctx, v, text)
	if first == nil {
		return c, nil
	}
	tries := []string{strings.ToUpper(text)}
	if machine, number, both := strings.Cut(text, "-"); both {
		tries = append(tries, machine+"/"+number, strings.ToUpper(machine)+"/"+number)
	}
	for _, t := range tries {
		if c, err := cycleNamed(ctx, v, t); err == nil {
			return c, nil
		}
	}
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Newest: true})
	if err != nil {
		return c, err
	}
	keys := map[string]bool{}
	for _, row := range rows {
		if text != "" && row.Said.Load.Number == text && row.Cycle != "" {
			keys[row.Cycle] = true
		}
	}
	if len(keys) == 1 {
		for key := range keys {
			return v.Cycle(ctx, key)
		}
	}
	return c, first
}
