package surgery

import (
	"context"
	"fmt"
	"os"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// Countersign signs the newest record of a day as reviewed. The second signature is
// put behind the bytes of the first; file and entry change while nobody else writes,
// and what interrupts it between the two is taken up by the next call.
//
// Errors: a [*Refusal]: nothing to review, a change since it was prepared, the person
// who prepared it; [seal.ErrPassphrase]; a folder or disk that takes no file. Then
// nothing is kept.
func (r *Records) Countersign(ctx context.Context, date string, who Proof) (Signed, error) {
	if err := checkDay(date); err != nil {
		return Signed{}, err
	}
	if _, err := r.entitled(ctx, r.book.View, who.Person, ActReview, r.Now()); err != nil {
		return Signed{}, err
	}
	first, err := r.reviewable(ctx, r.book.View, date, who.Person)
	if err != nil {
		return Signed{}, err
	}
	path := r.recordPath(first.Said.File)
	old, err := os.ReadFile(path)
	if err != nil {
		return Signed{}, fmt.Errorf("the record cannot be read: %w", err)
	}
	by, err := r.proveToSign(ctx, who, ActReview)
	if err != nil {
		return Signed{}, err
	}
	out := Signed{File: path, Revision: first.Said.Revision, Name: by.Name, Meaning: seal.Reviewed}
	statement, data, err := r.second(ctx, first.Said, old, by, &out)
	if err != nil {
		return Signed{}, err
	}
	body := first.Said
	body.Meaning, body.Role, body.SHA256, body.Size = seal.Reviewed, statement.Role, entry.Sum(data), int64(len(data))
	body.Certificate, body.TimeFrom = entry.Sum(by.key.Certificate().Raw), r.timeFrom()
	out.SHA256, out.Stamped = body.SHA256, r.settings.Value.Timestamp.URL != ""
	extended := false
	err = r.write(ctx, func(b *logbook.Batch) error {
		if _, err := r.reviewable(ctx, b.View, date, who.Person); err != nil {
			return err
		}
		if out.Entry, err = b.Add(entry.Draft{At: statement.Time, By: by.Person.Person, Proved: by.how, Body: body}); err != nil || out.Resumed {
			return err
		}
		if err := sameFile(path, first.Said); err != nil {
			return err
		}
		extended = true
		if err := extendRecord(path, data); err != nil || r.afterFile == nil {
			return err
		}
		return r.afterFile()
	})
	if err != nil && extended {
		return Signed{}, fmt.Errorf("%w; if the second signature is in %s already, countersign again: it will be entered", err, path)
	}
	return out, err
}

// reviewable returns the first signature of the newest record of a day if it waits for
// a second one by that person.
func (r *Records) reviewable(ctx context.Context, v *logbook.View, date, who string) (logbook.Row[entry.Signature], error) {
	var none logbook.Row[entry.Signature]
	days, err := v.Days(ctx, date, date)
	if err != nil {
		return none, err
	}
	prepare := "Sign it as prepared first: holdproof day " + date + " --sign PERSON."
	switch {
	case len(days) == 0 || days[0].Revision == 0:
		return none, &Refusal{Why: dayWords(date) + " is not signed as prepared", Instead: prepare}
	case days[0].Due():
		return none, &Refusal{Why: dayWords(date) + " was changed after it was signed as prepared", Instead: "Make the new revision first: holdproof day " + date + " --sign PERSON."}
	case days[0].ReviewedEntry != 0:
		return none, &Refusal{Why: dayWords(date) + " is reviewed already", Instead: "Nothing more is needed."}
	}
	rows, err := logbook.Find[entry.Signature](ctx, v, logbook.Filter{Entry: days[0].PreparedEntry})
	switch {
	case err != nil:
		return none, err
	case len(rows) == 0:
		return none, fmt.Errorf("the signature of %s is not found; see holdproof audit", date)
	case rows[0].By == who:
		return none, &Refusal{Why: fmt.Sprintf("%s prepared the record of %s and does not review it", who, dayWords(date)), Instead: "Ask another lead."}
	}
	return rows[0], nil
}

// second returns the record with its second signature: one that an interrupted call
// left in the file, or a new one.
func (r *Records) second(ctx context.Context, first entry.Signature, old []byte, by proven, out *Signed) (seal.Statement, []byte, error) {
	if int64(len(old)) > first.Size && entry.Sum(old[:first.Size]) == first.SHA256 {
		report := seal.Verify(old, seal.Trust{})
		if report.OK && len(report.Signatures) == 2 && report.Signatures[1].Certificate.Equal(by.key.Certificate()) {
			out.Resumed = true
			two := report.Signatures[1]
			return seal.Statement{Role: two.Role, Surgery: two.Surgery, Time: two.Printed}, old, nil
		}
	}
	if entry.Sum(old) != first.SHA256 {
		return seal.Statement{}, nil, changedRecord(out.File)
	}
	if report := seal.Verify(old, seal.Trust{}); report.OK && !report.Waiting {
		return seal.Statement{}, nil, &Refusal{Why: "the record asks for no second signature", Instead: "Nothing more is needed."}
	}
	stamp, err := r.stamper(ctx)
	if err != nil {
		return seal.Statement{}, nil, err
	}
	s := r.statement(by)
	data, err := seal.Countersign(old, by.key, s, stamp)
	if err != nil {
		return s, nil, unsigned(err)
	}
	return s, data, nil
}

// sameFile makes sure that the file is the one that was signed as prepared.
func sameFile(path string, s entry.Signature) error {
	now, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("the record cannot be read: %w", err)
	}
	if entry.Sum(now) != s.SHA256 {
		return changedRecord(path)
	}
	return nil
}

func changedRecord(path string) error {
	return &Refusal{Why: path + " is not the file that was signed as prepared",
		Instead: "Look for who changed it: holdproof audit. Copy the signed file back."}
}
