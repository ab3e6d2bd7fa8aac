package daily

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"time"
	"unicode/utf8"

	"holdproof/validate"
)

// Marshal writes the JSON form, fields in the documented order, an empty list as
// [] and never null. The same Day gives the same bytes.
//
// Errors: whatever [Day.Check] says.
func (d Day) Marshal() ([]byte, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	full := reflect.ValueOf(&d).Elem()
	filled(full)
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(full.Interface()); err != nil {
		return nil, fmt.Errorf("writing day.json: %w", err)
	}
	return b.Bytes(), nil
}

// filled replaces every nil list by an empty one, in copies, so that the caller's
// slices stay as they are.
func filled(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			filled(v.Field(i))
		}
	case reflect.Slice:
		copied := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		reflect.Copy(copied, v)
		v.Set(copied)
		for i := range v.Len() {
			filled(v.Index(i))
		}
	}
}

// Parse reads a day.json. It takes only what [Day.Marshal] writes, byte for byte:
// a key twice, an unknown key, a changed order or other spacing is refused.
func Parse(data []byte) (Day, error) {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	var d Day
	if err := dec.Decode(&d); err != nil {
		return Day{}, fmt.Errorf("reading day.json: %w", err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return Day{}, errors.New("reading day.json: something stands behind the day")
	}
	again, err := d.Marshal()
	if err != nil {
		return Day{}, err
	}
	if !bytes.Equal(again, data) {
		return Day{}, fmt.Errorf("reading day.json: it differs at byte %d from what this program writes of the same day", differ(again, data))
	}
	return d, nil
}

func differ(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

// Check returns what is wrong with the Day, all of it, or nil. A Day that says of
// a cycle another outcome than its findings is wrong.
func (d Day) Check() error {
	var errs []error
	say := func(format string, args ...any) { errs = append(errs, fmt.Errorf("day record: "+format, args...)) }
	if d.Version != Version && d.Version != first {
		say("version %d, this program knows versions %d and %d", d.Version, first, Version)
	}
	if d.Version == first {
		d.checkFirst(say)
	}
	if _, err := time.Parse(time.DateOnly, d.Date); err != nil {
		say("date %q, expected one such as 2026-11-02", d.Date)
	}
	if d.Record.ID == "" || d.Record.Revision < 1 {
		say("record %q, revision %d: a record has an id and a revision from 1", d.Record.ID, d.Record.Revision)
	}
	moment(say, "the record was made", d.Record.Made, true)
	hash(say, "the log's root", d.Record.LogRoot)
	hash(say, "the previous record's hash", d.Record.Previous.SHA256)
	hash(say, "the replaced record's hash", d.Record.Replaces.SHA256)
	hash(say, "the settings' hash", d.Settings.SHA256)
	if s := d.Signing; s.Second != "required" && (s.Second != "none" || s.Reason == "") {
		say("second signature %q: it is required, or none with a reason", s.Second)
	}
	for _, s := range d.Sources {
		hash(say, "the hash of "+s.Name, s.SHA256)
	}
	d.checkCycles(say)
	d.checkRows(say)
	d.checkDrift(say)
	if what := unwritable(reflect.ValueOf(d)); what != "" {
		say("%s cannot be written as JSON", what)
	}
	return errors.Join(errs...)
}

func (d Day) checkCycles(say func(string, ...any)) {
	seen := map[string]bool{}
	for _, c := range d.Cycles {
		if c.ID == "" || seen[c.ID] {
			say("cycle id %q is empty or stands twice", c.ID)
		}
		seen[c.ID] = true
		moment(say, "cycle "+c.ID+" started", c.Start, true)
		if c.Outcome != c.Result().String() {
			say("cycle %s says %q, its findings come to %q", c.ID, c.Outcome, c.Result())
		}
		for _, f := range c.Findings {
			if _, ok := validate.OutcomeNamed(f.Outcome); !ok {
				say("cycle %s: %s has the outcome %q, which is none", c.ID, f.Check, f.Outcome)
			}
		}
	}
}

func (d Day) checkRows(say func(string, ...any)) {
	for _, t := range d.Tests {
		switch t.State {
		case "passed", "failed", "open", "missing":
		default:
			say("%s of %s has the state %q", t.Kind, t.Machine, t.State)
		}
		moment(say, t.Kind+" of "+t.Machine, t.At, false)
	}
	for _, u := range d.Duties {
		if !slices.Contains(dutyStates, u.State) {
			say("%q has the state %q", u.What, u.State)
		}
		for _, at := range []string{u.At, u.In, u.Out} {
			moment(say, u.What, at, false)
		}
		for _, day := range []string{u.Last, u.DueBy} {
			if _, err := time.Parse(time.DateOnly, day); day != "" && err != nil {
				say("%q names the day %q, expected one such as 2026-11-02", u.What, day)
			}
		}
	}
	for _, c := range d.Closed {
		moment(say, "the beginning of a time out of service", c.From, false)
		moment(say, "the end of a time out of service", c.To, false)
	}
	for _, x := range d.Decisions {
		moment(say, "the decision on "+x.Cycle, x.At, true)
	}
	for _, c := range d.Changes {
		moment(say, fmt.Sprintf("the change by entry %d", c.Entry), c.At, true)
	}
	for _, r := range d.Recalls {
		moment(say, "the recall of "+r.Cycle, r.Opened, true)
		moment(say, "the end of the recall of "+r.Cycle, r.Closed, false)
	}
}

// checkFirst refuses what a record of the first version cannot say.
func (d Day) checkFirst(say func(string, ...any)) {
	later := len(d.Settings.Changes) > 0 || len(d.Drift) > 0
	for _, c := range d.Closed {
		later = later || c.From != "" || c.To != ""
	}
	for _, u := range d.Duties {
		old := Duty{When: u.When, What: u.What, Where: u.Where, State: u.State, At: u.At, By: u.By, Detail: u.Detail, Source: u.Source, Sure: u.Sure}
		later = later || u != old || !slices.Contains([]string{"done", "open", "missed", "not due"}, u.State)
	}
	if later {
		say("version %d holds what only version %d can say", first, Version)
	}
}

func moment(say func(string, ...any), what, at string, must bool) {
	if at == "" && !must {
		return
	}
	if _, err := time.Parse(time.RFC3339, at); err != nil {
		say("%s at %q, expected a time such as 2026-11-02T08:14:03Z", what, at)
	}
}

func hash(say func(string, ...any), what, hex64 string) {
	b, err := hex.DecodeString(hex64)
	if hex64 != "" && (err != nil || len(b) != 32 || hex.EncodeToString(b) != hex64) {
		say("%s is %q, expected 64 digits of lower-case hex", what, hex64)
	}
}

// unwritable names the first value that JSON cannot hold: NaN, an infinity, or
// text that is not UTF-8.
func unwritable(v reflect.Value) string {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			return unwritable(v.Elem())
		}
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return fmt.Sprintf("the figure %v", f)
		}
	case reflect.String:
		if s := v.String(); !utf8.ValidString(s) {
			return fmt.Sprintf("the text %q", s)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if what := unwritable(v.Field(i)); what != "" {
				return what
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			if what := unwritable(v.Index(i)); what != "" {
				return what
			}
		}
	}
	return ""
}
