package entry

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"
)

const timeForm = "2006-01-02T15:04:05.000Z"

// Time is a moment in UTC to the millisecond, null in JSON when it is not known.
type Time struct{ time.Time }

// At returns t in UTC, cut to the millisecond.
func At(t time.Time) Time {
	if t.IsZero() {
		return Time{}
	}
	return Time{t.UTC().Truncate(time.Millisecond)}
}

// String returns the form that lines use, "" for a time that is not known.
func (t Time) String() string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(timeForm)
}

// MarshalJSON writes the form that lines use. Years outside 1 to 9999 are refused.
func (t Time) MarshalJSON() ([]byte, error) {
	if t.IsZero() {
		return []byte("null"), nil
	}
	if y := t.UTC().Year(); y < 1 || y > 9999 {
		return nil, fmt.Errorf("the year %d cannot be written", y)
	}
	return []byte(`"` + t.String() + `"`), nil
}

// UnmarshalJSON reads exactly what MarshalJSON writes.
func (t *Time) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*t = Time{}
		return nil
	}
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return err
	}
	at, err := ParseTime(s)
	if err != nil {
		return err
	}
	*t = at
	return nil
}

// ParseTime reads the form that lines use. The year 0 and the zero time, which is
// written as null, are refused: they cannot be written so.
func ParseTime(s string) (Time, error) {
	at, err := time.Parse(timeForm, s)
	if err != nil || at.Format(timeForm) != s || at.Year() < 1 || at.IsZero() {
		return Time{}, fmt.Errorf("%q is not a time such as 2026-11-02T08:14:03.000Z", s)
	}
	return Time{at}, nil
}

// Ref is the number of an entry; 0 is none and null in JSON.
type Ref int64

// MarshalJSON writes the number, or null.
func (r Ref) MarshalJSON() ([]byte, error) {
	if r == 0 {
		return []byte("null"), nil
	}
	return strconv.AppendInt(nil, int64(r), 10), nil
}

// UnmarshalJSON reads a number of at least 1, or null.
func (r *Ref) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*r = 0
		return nil
	}
	n, err := strconv.ParseInt(string(b), 10, 64)
	if err != nil || n < 1 {
		return fmt.Errorf("%s is not the number of an entry", b)
	}
	*r = Ref(n)
	return nil
}

// one requires one of the words; the empty word counts only when it is listed.
func one(field, got string, words ...string) error {
	for _, w := range words {
		if got == w {
			return nil
		}
	}
	return fmt.Errorf("%s: %q is none of %q", field, got, words)
}

func need(field, got string) error {
	if got == "" {
		return fmt.Errorf("%s: must be said", field)
	}
	return nil
}

func isDay(field, got string) error {
	if d, err := time.Parse(time.DateOnly, got); err != nil || d.Format(time.DateOnly) != got {
		return fmt.Errorf("%s: %q is not a date such as 2026-11-02", field, got)
	}
	return nil
}

func maybeDay(field, got string) error {
	if got == "" {
		return nil
	}
	return isDay(field, got)
}

func isSum(field, got string) error {
	b, err := hex.DecodeString(got)
	if err != nil || len(b) != 32 || hex.EncodeToString(b) != got {
		return fmt.Errorf("%s: %q is not a SHA-256 in lower-case hex", field, got)
	}
	return nil
}

// shape requires that opaque JSON starts as an array '[' or an object '{'; null
// is allowed, a missing value is not.
func shape(field string, raw json.RawMessage, first byte) error {
	if len(raw) == 0 {
		return fmt.Errorf("%s: must be JSON, or null", field)
	}
	if string(raw) != "null" && raw[0] != first {
		return fmt.Errorf("%s: must start with %q", field, first)
	}
	return nil
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

var errNoTime = errors.New("must be a time")

func needTime(field string, t Time) error {
	if t.IsZero() {
		return fmt.Errorf("%s: %w", field, errNoTime)
	}
	return nil
}
