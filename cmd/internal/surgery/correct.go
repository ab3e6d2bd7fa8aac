package surgery

import (
	"cmp"
	"context"
	"fmt"
	"reflect"
	"strings"
	"time"

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
	if strings.TrimSpace(c.Reason) == "" && !c.takesOut() {
		return out, &Refusal{Why: "a correction needs a reason", Instead: "Give it with --reason."}
	}
	if !c.Note.At.IsZero() {
		if _, err := r.happened(c.Note.At); err != nil {
			return out, err
		}
	}
	row, _, err := r.correction(ctx, r.book.View, c)
	if err != nil {
		return out, err
	}
	if old, is := row.Said.(entry.Note); strings.TrimSpace(c.Reason) == "" && (!is || !old.To.IsZero()) {
		return out, &Refusal{Why: "the out time is entered already, and a correction needs a reason", Instead: "Give it with --reason."}
	}
	act := ActCorrect
	old, is := row.Said.(entry.Note)
	switch {
	case is && c.takesOut() && !old.From.IsZero() && old.To.IsZero():
		act = ActNote // whoever takes it out says what is new, and corrects nobody
	case row.By == c.By.Person:
		act = ActCorrectOwn
	}
	by, err := r.prove(ctx, c.By, act, r.Now())
	if err != nil {
		return out, err
	}
	err = r.write(ctx, func(b *logbook.Batch) error {
		row, body, err := r.correction(ctx, b.View, c)
		if err != nil {
			return err
		}
		if err := r.mayStill(ctx, b.View, body, by.Person); err != nil {
			return err
		}
		at := r.Now()
		if note, is := body.Body.(entry.Note); is {
			// What is said otherwise happened when the old entry says, or as it is said now;
			// when it was corrected is the time of its entering.
			if at = c.Note.At; at.IsZero() {
				at = row.At
			}
			out.Outcome = note.Outcome
		}
		out.Entry, err = b.Add(entry.Draft{At: at, By: by.Person.Person, Proved: by.how, Reason: c.Reason, Corrects: c.Entry, Body: body})
		if note, is := body.Body.(entry.Note); is && err == nil {
			out.Says, err = r.afterNote(ctx, b.View, note, out.Entry)
		}
		return err
	})
	return out, err
}

// takesOut tells whether nothing is said but when it came out: what was not over yet is
// then completed, which needs no reason.
func (c Correcting) takesOut() bool {
	n := c.Note
	n.By, n.To, n.Sure = Proof{}, time.Time{}, false
	return !c.Withdraw && !c.Note.To.IsZero() && reflect.DeepEqual(n, Noting{})
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
		return row, out, &Refusal{Why: fmt.Sprintf("entry %d is %s, which nobody corrects", c.Entry, withArticle(string(row.Of))), Instead: "Notes, releases, decisions and recalls are corrected."}
	}
	if c.Withdraw {
		out.Settled = settled
		return row, out, nil
	}
	old, is := row.Said.(entry.Note)
	if !is {
		return row, out, &Refusal{Why: fmt.Sprintf("entry %d is %s, which is withdrawn and not changed", c.Entry, withArticle(string(row.Of))), Instead: "Use --withdraw, then enter what is right."}
	}
	if err := r.noPatient(ctx, v, c.Note.Sure, c.Reason); err != nil {
		return row, out, err
	}
	n := c.Note.over(old)
	n.Sure = n.Sure || c.Note.Text == "" && c.Note.Place == "" // of the old words it was said then
	n.corrects, n.Reason = c.Entry, c.Reason
	if n.At.IsZero() {
		n.At = row.At
	}
	body, err := r.noteBody(ctx, v, n)
	if err == nil {
		out.Body = body
	}
	return row, out, err
}

// over lays what is said otherwise over the old note.
func (n Noting) over(old entry.Note) Noting {
	d := dataOf(old)
	text := func(now, was string) string {
		if now == "" {
			return was
		}
		return now
	}
	n.Duty, n.Day = text(n.Duty, old.Duty), text(n.Day, old.Day)
	duty, _ := dutyNamed(n.Duty)
	n.Steriliser, n.Place, n.Cycle = text(n.Steriliser, old.Steriliser), text(n.Place, old.Place), text(n.Cycle, old.Cycle)
	n.Text = text(n.Text, old.Text)
	if n.Duty == old.Duty {
		n = n.overData(d, duty)
	}
	switch { // what the program judged, it judges anew
	case n.Outcome != "":
	case duty.Name == dutyDisinfected && old.Outcome != "not done":
	case duty.Name == dutyCount && n.Value != nil && d.Most != nil:
	case duty.Name == dutySporeRead && old.Outcome == "not done":
		n.Outcome = "passed"
	default:
		n.Outcome = old.Outcome
	}
	if n.Value == nil && n.Outcome != "not done" {
		n.Value = old.Value
	}
	if duty.asks(asksSpan) && n.From.IsZero() {
		n.From = old.From.Time
	}
	if duty.asks(asksSpan) && n.To.IsZero() {
		n.To = old.To.Time
	}
	return n
}

// overData keeps the fields of the duty that are not said otherwise.
func (n Noting) overData(d dutyData, duty dutyKind) Noting {
	n.Product, n.Strength = cmp.Or(n.Product, d.Product), cmp.Or(n.Strength, d.Strength)
	n.Control, n.Of, n.Times = cmp.Or(n.Control, d.Control), cmp.Or(n.Of, d.Of), cmp.Or(n.Times, d.Times)
	n.row = d.Row
	if n.Of == 0 || n.Of != d.Of { // the day of a sample with an entry of its own stands there
		n.Sampled = cmp.Or(n.Sampled, d.Sampled)
	}
	if n.Explains == "" && len(d.Explains) > 0 {
		n.Explains = d.Explains[0]
	}
	if n.File == 0 && d.File != nil {
		n.File = *d.File
	}
	if n.Tests == nil && duty.asks(asksTests) {
		if n.Tests = d.Tests; n.Tests == nil {
			n.Tests = []string{noTest}
		}
	}
	return n
}

// withArticle puts a or an before a word.
func withArticle(word string) string {
	if word != "" && strings.Contains("aeiou", word[:1]) {
		return "an " + word
	}
	return "a " + word
}
