package surgery

import (
	"errors"

	"holdproof/report/logbook"
)

// Remedy is what to do about an error, a sentence; "" where the error says it itself.
func Remedy(err error) string {
	var kept *logbook.Error
	var file *Problem
	var no *Refusal
	switch {
	case errors.As(err, &no):
		return no.Instead
	case errors.Is(err, logbook.ErrStale):
		return "Nothing was kept. Look at it as it is now, and decide again."
	case errors.As(err, &kept):
		return kept.Remedy
	case errors.As(err, &file):
		return file.Remedy
	}
	return ""
}
