package surgery

import (
	"cmp"
	"fmt"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// changes lists what came after the newest revision was drawn: of each entry what it
// says, and what stood before it.
func (b *dayBuilder) changes() error {
	if b.before.Revision == 0 {
		return nil
	}
	rows, err := logbook.Find[entry.Body](b.ctx, b.v, logbook.Filter{From: b.day.Date, To: b.day.Date, Superseded: true})
	if err != nil {
		return err
	}
	for i, row := range rows {
		if row.Number <= b.before.Covers || row.Of == entry.TypeSignature {
			continue
		}
		b.day.Changes = append(b.day.Changes, b.change(row, rows[:i]))
	}
	n := len(b.day.Changes)
	b.day.Record.Reason = fmt.Sprintf("%d later %s", n, plural(n, "entry", "entries"))
	if b.reason != "" {
		b.day.Record.Reason += "; " + b.reason
	}
	return nil
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// change says what an entry changes, by what the earlier ones said of the same thing.
func (b *dayBuilder) change(row logbook.Row[entry.Body], earlier []logbook.Row[entry.Body]) daily.Change {
	about, now := b.tell(row)
	out := daily.Change{Entry: row.Number, At: b.at(row.Entered), What: about, After: now, By: b.who(row.By), Reason: row.Reason}
	for _, old := range earlier {
		if row.Corrects != 0 {
			if old.Number == row.Corrects {
				out.What, out.Before = b.tell(old)
				b.apart(&out, old, row)
			}
			continue
		}
		if was, said := b.tell(old); was == about && old.Of == row.Of {
			out.Before = said
		}
	}
	if i, is := row.Body.(entry.Import); is && out.Reason == "" {
		out.Reason = "imported from " + i.File
	}
	if v, is := row.Body.(entry.Verdict); is && out.Reason == "" {
		out.Reason = "judged from " + v.Sources[0].File
	}
	return out
}

// apart says more of two notes that would read alike: in and out, product, how often.
func (b *dayBuilder) apart(c *daily.Change, old, now logbook.Row[entry.Body]) {
	was, is := old.Said.(entry.Note)
	if will, too := now.Said.(entry.Note); is && too && c.Before == c.After {
		c.Before, c.After = b.fully(was), b.fully(will)
	}
}

// fully is all that a note says beside its duty and place.
func (b *dayBuilder) fully(s entry.Note) string {
	data := dataOf(s)
	out := s.Outcome
	if out == "passed" || out == "failed" || out == "not done" {
		out = "" // the detail begins with it
	}
	out = join(join(out, data.Product), data.Strength)
	return cmp.Or(join(out, b.detail(s)), "noted")
}

// tell says what an entry is about and what it says.
func (b *dayBuilder) tell(row logbook.Row[entry.Body]) (about, says string) {
	about, says = string(row.Of), ""
	switch s := row.Said.(type) {
	case entry.Verdict:
		return "verdict on " + b.r.calls(s), s.Outcome
	case entry.Import:
		return "export " + s.File, "could not be read in full"
	case entry.Decision:
		return "decision on " + b.nameOf(s.Cycle), cmp.Or(pastTense[s.Act], s.Act)
	case entry.Release:
		return "release of " + b.r.calls(entry.Verdict{Steriliser: s.Steriliser, Number: s.Number}), cmp.Or(pastTense[s.Act], s.Act)
	case entry.Recall:
		return "recall of " + b.nameOf(s.Cycle), s.Act
	case entry.Note:
		about = s.Duty
		for _, of := range []string{s.Steriliser, s.Place, b.nameOf(s.Cycle)} {
			if of != "" {
				about += ", " + of
				break
			}
		}
		return about, cmp.Or(join(s.Outcome, b.detail(entry.Note{Value: s.Value, Unit: s.Unit, Text: s.Text})), "noted")
	}
	if row.Withdrawn {
		says = "withdrawn"
	}
	return about, says
}

// nameOf is what people call a cycle of the day; its key where it is of another.
func (b *dayBuilder) nameOf(key string) string {
	if c, ok := b.day.Find(key); ok {
		return c.Name()
	}
	return key
}
