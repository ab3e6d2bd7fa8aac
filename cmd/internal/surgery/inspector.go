package surgery

import (
	"context"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// sessionInspector is whom a session without a key is for.
const sessionInspector = "inspector"

// LetIn enters that a lead started a session in which an inspector may read everything
// until a moment, and change nothing. It returns the number of the entry.
//
// Errors: a [*Refusal]; [seal.ErrPassphrase].
func (r *Records) LetIn(ctx context.Context, by Proof, until time.Time) (int64, error) {
	now := r.Now()
	lead, err := r.prove(ctx, by, ActInspect, now)
	if err != nil {
		return 0, err
	}
	var n int64
	err = r.write(ctx, func(b *logbook.Batch) error {
		var err error
		n, err = b.Add(entry.Draft{At: now, By: lead.Person.Person, Proved: lead.how, Body: entry.Session{For: sessionInspector, Until: entry.At(until)}})
		return err
	})
	return n, err
}

// LetInShown is a session that was started for an inspector.
type LetInShown struct {
	Entry     int64
	At, Until time.Time
	By        string // name of the lead
}

// Sessions are those that were started for inspectors, the newest first.
func (r *Records) Sessions(ctx context.Context) ([]LetInShown, error) {
	var out []LetInShown
	err := r.book.Read(ctx, func(v *logbook.View) error {
		who, err := names(ctx, v)
		if err != nil {
			return err
		}
		rows, err := logbook.Find[entry.Session](ctx, v, logbook.Filter{Subject: sessionInspector, Newest: true})
		for _, row := range rows {
			by := who[row.By]
			if by == "" {
				by = row.By
			}
			out = append(out, LetInShown{Entry: row.Number, At: row.At.In(r.zone), Until: row.Said.Until.In(r.zone), By: by})
		}
		return err
	})
	return out, err
}
