package surgery

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Correcting puts right what an earlier entry says, or withdraws it. Notes can be
// said anew; a release or a decision is withdrawn, and decided again.
type Correcting struct {
	Entry    int64
	Withdraw bool
	Note     Noting // what is said otherwise; what is left empty stays
	By       Proof
	Reason   string
}

// Correct keeps the correction; the old entry stays, with its number in the new one.
//
// Errors: a [*Refusal]; [logbook.ErrStale] if it was corrected meanwhile.
func (r *Records) Correct(ctx context.Context, c Correcting) (Noted, error) {
	var out Noted
	if strings.TrimSpace(c.Reason) == "" {
		return out, &Refusal{Why: "a correction needs a reason", Instead: "Give it with --reason."}
	}
	row, _, err := r.correction(ctx, r.book.View, c)
	if err != nil {
		return out, err
	}
	act := ActCorrect
	if row.By == c.By.Person {
		act = ActCorrectOwn
	}
	by, err := r.prove(ctx, c.By, act, r.Now())
	if err != nil {
		return out, err
	}
	err = r.write(ctx, func(b *logbook.Batch) error {
		_, body, err := r.correction(ctx, b.View, c)
		if err != nil {
			return err
		}
		if err := r.mayStill(ctx, b.View, body, by.Person); err != nil {
			return err
		}
		if note, is := body.Body.(entry.Note); is {
			out.Says = r.afterNote(note)
		}
		out.Entry, err = b.Add(entry.Draft{At: r.Now(), By: by.Person.Person, Proved: by.how, Reason: c.Reason, Corrects: c.Entry, Body: body})
		return err
	})
	return out, err
}

// mayStill refuses a correction that would say what the person may not say by a note.
func (r *Records) mayStill(ctx context.Context, v *logbook.View, body entry.Correction, p entry.Person) error {
	note, is := body.Body.(entry.Note)
	if !is {
		return nil
	}
	duty, _ := dutyNamed(note.Duty)
	if err := may(p, duty.act(), r.Today()); err != nil || duty.Kind == "" || note.Outcome != "passed" {
		return err
	}
	c, err := v.Cycle(ctx, note.Cycle)
	if err == nil && c.Outcome == Borderline.String() {
		err = may(p, ActOddTest, r.Today())
	}
	return err
}

// correction finds the entry and makes what takes its place.
func (r *Records) correction(ctx context.Context, v *logbook.View, c Correcting) (logbook.Row[entry.Body], entry.Correction, error) {
	rows, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Entry: c.Entry, Superseded: true})
	if err != nil {
		return logbook.Row[entry.Body]{}, entry.Correction{}, err
	}
	if c.Entry < 1 || len(rows) == 0 {
		return logbook.Row[entry.Body]{}, entry.Correction{}, &Refusal{Why: fmt.Sprintf("entry %d is not in the logbook", c.Entry), Instead: "Check the number."}
	}
	row := rows[0]
	out := entry.Correction{Of: row.Of, About: row.Subject}
	if row.CorrectedBy != 0 {
		return row, out, &Refusal{Why: fmt.Sprintf("entry %d was corrected by entry %d", c.Entry, row.CorrectedBy), Instead: fmt.Sprintf("Correct entry %d.", row.CorrectedBy)}
	}
	if row.Withdrawn {
		return row, out, &Refusal{Why: fmt.Sprintf("entry %d withdrew what it corrects", c.Entry), Instead: "Enter what is right as a new entry."}
	}
	settled := false
	switch said := row.Said.(type) {
	case entry.Note:
		if said.Duty == dutyProposed && !c.Withdraw {
			return row, out, &Refusal{Why: "a proposal is withdrawn and not changed", Instead: "Use --withdraw, and propose again."}
		}
		if duty, _ := dutyNamed(said.Duty); duty.Kind == "" && said.Cycle != "" {
			now, err := v.Cycle(ctx, said.Cycle)
			if err != nil {
				return row, out, err
			}
			settled = now.Settled
		}
	case entry.Release, entry.Decision:
	case entry.Recall:
		if said.Act == "opened" {
			return row, out, &Refusal{Why: "a recall is closed and not withdrawn", Instead: "The lead closes it with what became of each pack: holdproof decide --close."}
		}
	default:
		return row, out, &Refusal{Why: fmt.Sprintf("entry %d is a %s, which nobody corrects", c.Entry, row.Of), Instead: "Notes, releases, decisions and recalls are corrected."}
	}
	if c.Withdraw {
		out.Settled = settled
		return row, out, nil
	}
	old, is := row.Said.(entry.Note)
	if !is {
		return row, out, &Refusal{Why: fmt.Sprintf("entry %d is a %s, which is withdrawn and not changed", c.Entry, row.Of), Instead: "Use --withdraw, then enter what is right."}
	}
	body, err := r.noteBody(ctx, v, c.Note.over(old))
	if err == nil {
		out.Body = body
	}
	return row, out, err
}

// over lays what is said otherwise over the old note.
func (n Noting) over(old entry.Note) Noting {
	var d dutyData
	_ = json.Unmarshal(old.Data, &d) // a note without fields of its own has none to keep
	text := func(now, was string) string {
		if now == "" {
			return was
		}
		return now
	}
	n.Duty, n.Day = text(n.Duty, old.Duty), text(n.Day, old.Day)
	n.Steriliser, n.Place, n.Cycle = text(n.Steriliser, old.Steriliser), text(n.Place, old.Place), text(n.Cycle, old.Cycle)
	n.Outcome, n.Text = text(n.Outcome, old.Outcome), text(n.Text, old.Text)
	n.Product, n.Strength = text(n.Product, d.Product), text(n.Strength, d.Strength)
	if n.Value == nil && n.Outcome != "not done" {
		n.Value = old.Value
	}
	if n.From.IsZero() {
		n.From = old.From.Time
	}
	if n.To.IsZero() {
		n.To = old.To.Time
	}
	if n.Explains == "" && len(d.Explains) > 0 {
		n.Explains = d.Explains[0]
	}
	if n.File == 0 && d.File != nil {
		n.File = *d.File
	}
	return n
}
