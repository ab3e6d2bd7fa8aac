package cycle

import (
	"errors"
	"fmt"
	"time"
)

// Source tells where a record was read. Lines count from 1 and are those of readings.
type Source struct {
	File      string // as the person named it
	SHA256    string // of the original bytes of the whole file, lower-case hex
	FirstLine int
	LastLine  int
}

// Number is a number in a programme label, with the letter of its unit if one
// stands behind it. It touches no other digit.
type Number struct {
	Value float64
	Unit  string // "C", "F", or "" when the label does not say
}

// Label is the programme as the record names it, taken apart by the table of words.
type Label struct {
	Text    string
	Line    int
	Numbers []Number
	// Durations are the lengths of time in the label in seconds, without the Others,
	// which have a word for drying, cooling or pulses beside them.
	Durations []float64
	Others    int
	Kind      Kind
}

// Statement is what the recorder itself says about the cycle, in a column, before
// the heading or after the readings.
type Statement struct {
	Line int
	Text string
	Says Says
}

// Remark is something a person should know about how the record was read, such as
// an hour that was removed at a change of the clock.
type Remark struct {
	Line int
	Text string
}

// Cell is a cell of a judged temperature or of the pressure that holds no number.
type Cell struct {
	Line, Column int // from 1; Column counts cells
	Heading      string
	Text         string
}

// Header is what a record says beside its readings.
type Header struct {
	Source     Source
	Steriliser string // id of the configured steriliser, or the text of the record, or ""
	Configured bool   // Steriliser is the id of a configured steriliser
	Number     string // cycle number as written, "" if not said
	Label      Label
	Start      time.Time // of the first reading, in the zone of the site
	Statements []Statement
	Remarks    []Remark
	Unreadable []Cell // at most the first hundred
}

// Channel is one column of temperatures. A reading without a number is NaN.
type Channel struct {
	Role    Role
	Heading string
	Column  int       // from 1, in the file
	Celsius []Celsius // one a reading; not to be changed
}

// Pressure is the column of chamber pressures, in kPa above vacuum or above the
// surrounding air as Reference says. A reading without a number is NaN.
type Pressure struct {
	Reference Reference
	Heading   string
	Column    int
	KPa       []float64 // one a reading; not to be changed
}

// Readings are the columns of a record, all of one length.
type Readings struct {
	Seconds  []float64 // since the first reading, strictly ascending
	Lines    []int     // of the file, ascending
	Channels []Channel // in the order of the file
	Pressure *Pressure // nil: the record has no pressure
}

// Record is one cycle as it was written down. It is immutable: the slices it hands
// out are its own and must not be changed.
type Record struct {
	header   Header
	readings Readings
}

// New makes a record and takes the slices as its own.
//
// Errors: no reading, columns of different lengths, a first time that is not 0,
// times that do not ascend (NaN never does), lines that run backwards.
func New(h Header, r Readings) (*Record, error) {
	n := len(r.Seconds)
	if n == 0 {
		return nil, errors.New("a record needs at least one reading")
	}
	if len(r.Lines) != n {
		return nil, fmt.Errorf("%d lines for %d readings", len(r.Lines), n)
	}
	for _, c := range r.Channels {
		if len(c.Celsius) != n {
			return nil, fmt.Errorf("%d temperatures under %q for %d readings", len(c.Celsius), c.Heading, n)
		}
	}
	if r.Pressure != nil && len(r.Pressure.KPa) != n {
		return nil, fmt.Errorf("%d pressures for %d readings", len(r.Pressure.KPa), n)
	}
	if r.Seconds[0] != 0 {
		return nil, fmt.Errorf("the first reading is at %v s, not at 0", r.Seconds[0])
	}
	for i := 1; i < n; i++ {
		if !(r.Seconds[i] > r.Seconds[i-1]) {
			return nil, fmt.Errorf("reading %d is at %v s, the one before at %v s", i+1, r.Seconds[i], r.Seconds[i-1])
		}
		if r.Lines[i] < r.Lines[i-1] {
			return nil, fmt.Errorf("reading %d stands on line %d, the one before on line %d", i+1, r.Lines[i], r.Lines[i-1])
		}
	}
	return &Record{header: h, readings: r}, nil
}

// Header returns what the record says beside its readings.
func (r *Record) Header() Header { return r.header }

// Readings returns the columns of the record; not to be changed.
func (r *Record) Readings() Readings { return r.readings }

// Len returns the number of readings, at least 1.
func (r *Record) Len() int { return len(r.readings.Seconds) }

// ID returns the name of the cycle, see [Header.ID].
func (r *Record) ID() string { return r.header.ID() }

// ID returns the name of the cycle: steriliser, local date and time of the start,
// such as S1-20261102-081403; "b" is added in the hour that a change of the clock
// repeats. A record that names no steriliser starts with "unassigned".
func (h Header) ID() string {
	s := h.Steriliser
	if s == "" {
		s = "unassigned"
	}
	id := s + "-" + h.Start.Format("20060102-150405")
	if repeated(h.Start) {
		id += "b"
	}
	return id
}

// repeated tells whether the wall clock showed this time once before, which it
// does in the second of the two hours when clocks go back.
func repeated(t time.Time) bool {
	_, now := t.Zone()
	before := t.Add(-3 * time.Hour)
	_, then := before.Zone()
	if then <= now {
		return false
	}
	back := time.Duration(then-now) * time.Second
	earlier := t.Add(-back)
	return earlier.Format("20060102150405") == t.Format("20060102150405")
}
