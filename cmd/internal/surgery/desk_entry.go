package surgery

import (
	"cmp"
	"context"
	"errors"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// EntryShown is one entry as a page shows it: what it says, what it corrects, what
// corrected it, and what this person may do about it.
type EntryShown struct {
	Happening
	Entered     time.Time
	Proved      string // how the person showed to be that person, "" for the program
	Of          string // note, release, decision, recall; else another type
	Day         string // whose record it belongs to, "" for none
	Cycle       string // key, "" for none
	CycleName   string
	Corrects    int64 // 0 for none
	CorrectedBy int64
	Withdraws   bool       // it takes back what it corrects
	Note        *NoteShown // of a note that stands
	Line        string     // as it is kept
	NoChange    string     // why it cannot be said anew here, "" if it can
	NoWithdraw  string     // why it cannot be taken back, "" if it can
}

// NoteShown is a note as a form has it: the fields of its duty, and what they say. The
// outcome is left empty where the program judges it.
type NoteShown struct {
	Form    DutyForm
	Said    Noting
	Outcome string // as it was kept
	Unit    string // of the figure
}

// EntryShown returns an entry by its number, with what the person of a session may do
// about it; nil for somebody who only reads.
//
// Error: [ErrNotKept].
func (r *Records) EntryShown(ctx context.Context, n int64, by *SignedIn) (EntryShown, error) {
	var out EntryShown
	err := r.book.Read(ctx, func(v *logbook.View) error {
		rows, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Entry: n, Superseded: true})
		if err != nil {
			return err
		}
		if n < 1 || len(rows) == 0 {
			return ErrNotKept
		}
		row := rows[0]
		names, err := names(ctx, v)
		if err != nil {
			return err
		}
		c, err := cycleOf(ctx, v, row.Cycle)
		if err != nil {
			return err
		}
		out = EntryShown{Happening: r.happening(row, names, c), Entered: row.Entered.In(r.zone), Proved: row.Proved, Of: string(row.Of),
			Cycle: c.Key, CorrectedBy: row.CorrectedBy, Corrects: row.Corrects, Withdraws: row.Withdrawn, Line: string(row.Line)}
		if c.Key != "" {
			out.CycleName, out.Day = r.nameOf(c), c.Day
		}
		if row.Said != nil && entry.FactsOf(row.Said).Day != "" {
			out.Day = entry.FactsOf(row.Said).Day
		}
		if note, is := row.Said.(entry.Note); is {
			out.Note = r.noteShown(note)
		}
		return r.mayCorrect(ctx, v, row, by, &out)
	})
	return out, err
}

// DayEntry is an entry of a day, with what corrected it.
type DayEntry struct {
	Happening
	About       string // the cycle, machine or place, "" for the day itself
	Cycle       string // key, "" for none
	CorrectedBy int64  // 0 for none
	Corrects    int64
}

// EntriesOf are all entries that belong to the record of a day and were made by people,
// in the order of the log, those that were corrected too.
//
// Error: [ErrNotKept] for what is no day.
func (r *Records) EntriesOf(ctx context.Context, date string) ([]DayEntry, error) {
	if checkDay(date) != nil {
		return nil, ErrNotKept
	}
	var out []DayEntry
	err := r.book.Read(ctx, func(v *logbook.View) error {
		names, err := names(ctx, v)
		if err != nil {
			return err
		}
		rows, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{From: date, To: date, Superseded: true})
		if err != nil {
			return err
		}
		for _, row := range rows {
			if row.By == "" {
				continue
			}
			e := DayEntry{Happening: r.happening(row, names, logbook.Cycle{}), Cycle: row.Cycle, CorrectedBy: row.CorrectedBy, Corrects: row.Corrects}
			c, err := cycleOf(ctx, v, row.Cycle)
			if err != nil {
				return err
			}
			if c.Key != "" {
				e.About = r.nameOf(c)
			} else if note, is := row.Said.(entry.Note); is {
				e.About = cmp.Or(note.Place, note.Steriliser)
			} else if load, is := row.Said.(entry.Release); is {
				e.About = r.calls(entry.Verdict{Steriliser: load.Steriliser, Number: load.Number})
			}
			out = append(out, e)
		}
		return nil
	})
	return out, err
}

// cycleOf is the cycle an entry belongs to, an empty one if it belongs to none.
func cycleOf(ctx context.Context, v *logbook.View, key string) (logbook.Cycle, error) {
	if key == "" {
		return logbook.Cycle{}, nil
	}
	return v.Cycle(ctx, key)
}

func (r *Records) noteShown(n entry.Note) *NoteShown {
	form, _ := DutyNamed(n.Duty)
	out := &NoteShown{Form: form, Said: Noting{}.over(n), Outcome: n.Outcome, Unit: n.Unit}
	out.Said.From, out.Said.To = r.local(n.From.Time), r.local(n.To.Time)
	return out
}

// mayCorrect applies the rules of corrections for the person.
func (r *Records) mayCorrect(ctx context.Context, v *logbook.View, row logbook.Row[entry.Body], by *SignedIn, out *EntryShown) error {
	why := func(withdraw bool) (string, error) {
		if by == nil {
			return "this session only reads", nil
		}
		_, _, err := r.correction(ctx, v, Correcting{Entry: row.Number, Withdraw: withdraw})
		act := ActCorrect
		if row.By == by.Person {
			act = ActCorrectOwn
		}
		if err == nil {
			_, err = r.entitled(ctx, v, by.Person, act, r.Now())
		}
		var no *Refusal
		if errors.As(err, &no) {
			return no.Why, nil
		}
		return "", err
	}
	var err error
	if out.NoWithdraw, err = why(true); err != nil {
		return err
	}
	out.NoChange, err = why(false)
	return err
}
