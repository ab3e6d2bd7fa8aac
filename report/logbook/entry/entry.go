// Package entry is one line of the logbook: what it may say, in which order, and
// the tree that the lines grow into. It knows no database, so that a reader of an
// exported ledger can check it with this package alone.
//
// A line is one JSON object without a line break, its fields always all there and
// in this order:
//
//	v         version of this form, 1
//	n         number, from 1, without a hole
//	type      what kind of entry; it settles the fields of body
//	at        when it happened
//	entered   when it was written down, by the clock of the computer
//	by        id of the person, "" when the program acted by itself
//	proved    how the person proved to be that person, such as "passphrase"
//	reason    why, in the person's words
//	subject   what it is about: a cycle, a day, a machine, a person, a file
//	corrects  number of the entry it corrects, null for all types but correction
//	body      the fields of its type, in the order of the Go type
//
// Times are UTC with milliseconds, such as 2026-11-02T08:14:03.000Z. A text that
// was not said is "", a number or a time that is not known is null. Lines are
// stored and hashed as these bytes and never written a second time.
package entry

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"time"
	"unicode/utf8"
)

// Version is the form of the lines this package writes, and the only one it reads.
const Version = 1

// MaxLine is the longest line in bytes.
const MaxLine = 4 << 20

// Type says what an entry records.
type Type string

// The types of entry.
const (
	TypeImport        Type = "import"
	TypeVerdict       Type = "verdict"
	TypeRelease       Type = "release"
	TypeDecision      Type = "decision"
	TypeRecall        Type = "recall"
	TypeNote          Type = "note"
	TypePerson        Type = "person"
	TypeCertificate   Type = "certificate"
	TypeConfiguration Type = "configuration"
	TypeSignature     Type = "signature"
	TypeSession       Type = "session"
	TypeCorrection    Type = "correction"
)

// Draft is what the writer of an entry says; number and entry time are the
// logbook's to add, type and subject follow from the body.
type Draft struct {
	At       time.Time // when it happened; required
	By       string    // id of a person, "" when the program acts by itself
	Proved   string    // how the person proved it; required with By, empty without
	Reason   string
	Corrects int64 // number of the corrected entry; with a [Correction] only
	Body     Body
}

// Entry is a line read back.
type Entry struct {
	Number   int64
	Type     Type
	At       time.Time
	Entered  time.Time
	By       string
	Proved   string
	Reason   string
	Subject  string
	Corrects int64 // 0: corrects nothing
	Body     Body  // of the Go type that Type names
	Line     []byte
}

// envelope is the line in its documented order.
type envelope struct {
	V        int             `json:"v"`
	N        int64           `json:"n"`
	Type     Type            `json:"type"`
	At       Time            `json:"at"`
	Entered  Time            `json:"entered"`
	By       string          `json:"by"`
	Proved   string          `json:"proved"`
	Reason   string          `json:"reason"`
	Subject  string          `json:"subject"`
	Corrects Ref             `json:"corrects"`
	Body     json.RawMessage `json:"body"`
}

// Line writes the draft as the line with that number and entry time.
//
// Errors: a body that its type refuses, no event time, a person without a proof or
// a proof without a person, text that is not UTF-8, a line above [MaxLine].
func (d Draft) Line(number int64, entered time.Time) ([]byte, error) {
	if err := d.check(number, entered); err != nil {
		return nil, err
	}
	if err := allUTF8(reflect.ValueOf(d)); err != nil {
		return nil, err
	}
	body, err := compact(d.Body)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", d.Body.entryType(), err)
	}
	line, err := compact(envelope{V: Version, N: number, Type: d.Body.entryType(), At: At(d.At), Entered: At(entered),
		By: d.By, Proved: d.Proved, Reason: d.Reason, Subject: FactsOf(d.Body).Subject, Corrects: Ref(d.Corrects), Body: body})
	if err != nil {
		return nil, err
	}
	if len(line) > MaxLine {
		return nil, fmt.Errorf("an entry of %d bytes, at most %d can be kept", len(line), MaxLine)
	}
	return line, nil
}

func (d Draft) check(number int64, entered time.Time) error {
	switch {
	case d.Body == nil:
		return errors.New("an entry needs a body")
	case number < 1:
		return fmt.Errorf("entries count from 1, not from %d", number)
	case d.At.IsZero() || entered.IsZero():
		return errors.New("an entry needs the time it happened and the time it was entered")
	case (d.By == "") != (d.Proved == ""):
		return errors.New("an entry names a person and how the person proved it, or neither")
	case (d.Corrects != 0) != (d.Body.entryType() == TypeCorrection):
		return errors.New("a correction names the entry it corrects, and no other entry does")
	case d.Corrects < 0 || d.Corrects >= number:
		return fmt.Errorf("entry %d cannot correct entry %d", number, d.Corrects)
	}
	return d.Body.check()
}

// compact marshals on one line and leaves <, > and & as they are.
func compact(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// allUTF8 refuses text that JSON would quietly replace.
func allUTF8(v reflect.Value) error {
	switch v.Kind() {
	case reflect.String:
		if !utf8.ValidString(v.String()) {
			return fmt.Errorf("%q is not UTF-8 text", v.String())
		}
	case reflect.Interface, reflect.Pointer:
		if !v.IsNil() {
			return allUTF8(v.Elem())
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return nil
		}
		for i := range v.NumField() {
			if err := allUTF8(v.Field(i)); err != nil {
				return err
			}
		}
	case reflect.Slice:
		if raw, ok := v.Interface().(json.RawMessage); ok && !utf8.Valid(raw) {
			return fmt.Errorf("%q is not UTF-8 text", raw)
		}
		if v.Type().Elem().Kind() == reflect.Uint8 {
			return nil
		}
		for i := range v.Len() {
			if err := allUTF8(v.Index(i)); err != nil {
				return err
			}
		}
	}
	return nil
}

// Parse reads a line back, strictly: every field, in order, none twice, none more,
// the body as its type wants it, the subject that the body names.
func Parse(line []byte) (Entry, error) {
	e, err := parse(line)
	if err != nil {
		return Entry{}, fmt.Errorf("not an entry: %w", err)
	}
	return e, nil
}

func parse(line []byte) (Entry, error) {
	if len(line) > MaxLine {
		return Entry{}, fmt.Errorf("%d bytes, at most %d are read", len(line), MaxLine)
	}
	if !utf8.Valid(line) || bytes.ContainsAny(line, "\r\n") {
		return Entry{}, errors.New("want UTF-8 on one line")
	}
	var v envelope
	if err := inOrder(line, []field{{"v", &v.V}, {"n", &v.N}, {"type", &v.Type}, {"at", &v.At}, {"entered", &v.Entered},
		{"by", &v.By}, {"proved", &v.Proved}, {"reason", &v.Reason}, {"subject", &v.Subject}, {"corrects", &v.Corrects},
		{"body", &v.Body}}); err != nil {
		return Entry{}, err
	}
	if v.V != Version {
		return Entry{}, fmt.Errorf("version %d, this program reads version %d", v.V, Version)
	}
	body, err := decode(v.Type, v.Body)
	if err != nil {
		return Entry{}, err
	}
	d := Draft{At: v.At.Time, By: v.By, Proved: v.Proved, Reason: v.Reason, Corrects: int64(v.Corrects), Body: body}
	if err := d.check(v.N, v.Entered.Time); err != nil {
		return Entry{}, err
	}
	if want := FactsOf(body).Subject; v.Subject != want {
		return Entry{}, fmt.Errorf("subject %q, the body is about %q", v.Subject, want)
	}
	return Entry{Number: v.N, Type: v.Type, At: d.At, Entered: v.Entered.Time, By: d.By, Proved: d.Proved, Reason: d.Reason,
		Subject: v.Subject, Corrects: d.Corrects, Body: body, Line: line}, nil
}

type field struct {
	name string
	into any
}

// inOrder reads a JSON object that has exactly these fields in this order.
func inOrder(line []byte, fields []field) error {
	d := json.NewDecoder(bytes.NewReader(line))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return errors.New("want a JSON object")
	}
	for _, f := range fields {
		if t, err := d.Token(); err != nil || t != f.name {
			return fmt.Errorf("want the field %q, found %v", f.name, t)
		}
		if err := d.Decode(f.into); err != nil {
			return fmt.Errorf("%s: %w", f.name, err)
		}
	}
	if t, err := d.Token(); err != nil || t != json.Delim('}') {
		return fmt.Errorf("nothing may follow %q, found %v", fields[len(fields)-1].name, t)
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("something follows the JSON object")
	}
	return nil
}

// decode reads the body of a type; a field nobody knows is refused.
func decode(t Type, raw json.RawMessage) (Body, error) {
	empty, known := bodies[t]
	if !known {
		return nil, fmt.Errorf("type %q is not known", t)
	}
	into := reflect.New(reflect.TypeOf(empty))
	if len(raw) == 0 || raw[0] != '{' { // null would leave the body as it is
		return nil, errors.New("body: want a JSON object")
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(into.Interface()); err != nil {
		return nil, fmt.Errorf("body of %s: %w", t, err)
	}
	return into.Elem().Interface().(Body), nil
}
