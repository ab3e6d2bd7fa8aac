package surgery

import (
	"context"
	"encoding/json"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// dutyLetIn is the note of a session for an inspector. Nobody notes it by hand: it is
// made with the session.
const dutyLetIn = "inspector let in"

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
		n, err = b.Add(entry.Draft{At: now, By: lead.Person.Person, Proved: lead.how, Body: entry.Note{Duty: dutyLetIn, Day: r.Today(),
			From: entry.At(now), To: entry.At(until), Text: "It only reads.", Data: json.RawMessage("null")}})
		return err
	})
	return n, err
}
