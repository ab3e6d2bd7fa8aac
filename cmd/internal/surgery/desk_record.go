package surgery

import (
	"context"
	"errors"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// RecordRead is a signed record as its own file tells it.
type RecordRead struct {
	daily.Day
	File     string
	SHA256   string // of the file as it is
	Entered  bool   // the logbook holds that hash
	Verified Verified
}

// ReadRecord reads the newest signed record of a day: the facts inside its file, what
// verifying the file shows, and whether it is the one that the logbook knows.
//
// Errors: [ErrNotKept] if the day is not signed; a file that is gone or holds no facts.
func (r *Records) ReadRecord(ctx context.Context, date string) (RecordRead, error) {
	path, name, err := r.RecordOf(ctx, date)
	if err != nil {
		return RecordRead{}, err
	}
	data, err := readRecord(path)
	if err != nil {
		return RecordRead{}, err
	}
	out := RecordRead{File: name, SHA256: entry.Sum(data), Verified: verifyRecord(data, seal.Trust{})}
	rows, err := logbook.Find[entry.Signature](ctx, r.book.View, logbook.Filter{Subject: date, Newest: true, Limit: 1})
	if err != nil {
		return out, err
	}
	out.Entered = len(rows) == 1 && rows[0].Said.SHA256 == out.SHA256
	files, err := seal.Verify(data, seal.Trust{}).Attachments()
	if err != nil {
		return out, err
	}
	for _, f := range files {
		if f.Name == dayFile && f.Relationship == "Data" {
			out.Day, err = daily.Parse(f.Bytes)
			return out, err
		}
	}
	return out, errors.New("the record has no day.json inside; it was not made by this program")
}
