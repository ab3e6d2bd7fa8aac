package parse

import (
	"fmt"
	"strings"
	"time"

	"holdproof/parse/cycle"
)

// Limits of a cycle and of its times.
const (
	mostReadings   = 200_000 // readings of one cycle
	mostUnderStamp = 5       // readings under one time stamp
	pause          = 10 * 60 * second
	mostProblems   = 20 // of one cycle that are said
	mostStatements = 500
	mostUnreadable = 100
)

// builder gathers the readings of one cycle. Its slices are used again for the next.
type builder struct {
	open     bool
	started  bool // a first reading is there
	stopped  bool // its times count from nothing that is known
	start    time.Time
	under    int // readings under the last stamp
	backward int // steps back that were refused
	ns       []int64
	lines    []int
	values   [][]float64 // temperatures in the order of the layout, then the pressure
	problems []*Error
	header   cycle.Header
	said     []string // last text of each statement column
	number   string
	preamble string // the cycle number before the heading
	machine  string
	label    string // of the programme column, at the first reading that has one
	byNumber bool   // number comes from a column
	lastLine int
	whole    int // readings read, also of a bad cycle
}

// reset makes the builder ready for a new cycle under a layout.
func (b *builder) reset(channels int) {
	said := b.said[:0]
	values := b.values
	for len(values) < channels {
		values = append(values, nil)
	}
	for i := range values {
		values[i] = values[i][:0]
	}
	*b = builder{ns: b.ns[:0], lines: b.lines[:0], values: values[:channels:cap(values)], said: said}
}

func (b *builder) problem(e *Error) {
	if len(b.problems) < mostProblems {
		b.problems = append(b.problems, e)
	}
}

func (b *builder) remark(line int, text string) {
	b.header.Remarks = append(b.header.Remarks, cycle.Remark{Line: line, Text: text})
}

func (b *builder) state(s cycle.Statement) {
	if len(b.header.Statements) < mostStatements || (s.Says == cycle.SaysFault && len(b.header.Statements) < 2*mostStatements) {
		b.header.Statements = append(b.header.Statements, s)
	}
}

// spread gives every reading its seconds since the first: readings under one
// stamp are spread evenly to the next stamp, those of the last stamp over the
// distance between the two before it.
func (b *builder) spread() ([]float64, *Error) {
	n := len(b.ns)
	out := make([]float64, n)
	first := b.ns[0]
	var gaps [2]int64 // distances between the stamps before, the latest last
	for i := 0; i < n; {
		j := i + 1
		for j < n && b.ns[j] == b.ns[i] {
			j++
		}
		var gap int64
		if j < n {
			gap = b.ns[j] - b.ns[i]
		} else if gap = gaps[0]; gap == 0 {
			gap = gaps[1]
		}
		if j == n && j-i > 1 && gap == 0 {
			return nil, &Error{Line: b.lines[i], Found: fmt.Sprintf("%d readings under one time stamp and no other stamp", j-i), Want: "a time stamp for each reading",
				Remedy: "Set the recorder to write the seconds of each reading, and export the cycle again."}
		}
		at := float64(b.ns[i]-first) / 1e9
		for k := i; k < j; k++ {
			out[k] = at
			if k > i {
				out[k] = (float64(b.ns[i]-first) + float64(gap)*float64(k-i)/float64(j-i)) / 1e9
			}
		}
		gaps[0], gaps[1] = gaps[1], gap
		i = j
	}
	return out, nil
}

// finish makes the record, or a bad cycle with its problems.
func (b *builder) finish(file string, l *layout) Cycle {
	h := b.header
	h.Source.File = file
	h.Source.LastLine = b.lastLine
	h.Number = b.number
	h.Start = b.start
	c := Cycle{Header: h, Problems: b.problems}
	if len(b.problems) > 0 || len(b.ns) == 0 {
		return c
	}
	seconds, bad := b.spread()
	if bad != nil {
		bad.File = file
		c.Problems = append(c.Problems, bad)
		return c
	}
	r := cycle.Readings{Seconds: seconds, Lines: append([]int(nil), b.lines...)}
	k := 0
	for _, i := range l.temperatures {
		col := l.columns[i]
		celsius := make([]cycle.Celsius, len(b.ns))
		for j, v := range b.values[k] {
			celsius[j] = cycle.Celsius(v)
		}
		r.Channels = append(r.Channels, cycle.Channel{Role: col.role, Heading: col.heading, Column: col.n, Celsius: celsius})
		k++
	}
	if l.pressure >= 0 {
		col := l.columns[l.pressure]
		r.Pressure = &cycle.Pressure{Reference: col.ref, Heading: col.heading, Column: col.n, KPa: append([]float64(nil), b.values[k]...)}
	}
	record, err := cycle.New(h, r)
	if err != nil { // what parse lets through and the vocabulary refuses is a defect of parse; the cycle is not lost
		c.Problems = append(c.Problems, &Error{File: file, Line: h.Source.FirstLine, Found: err.Error(), Want: "readings in the order of time",
			Remedy: "Export the cycle again."})
		return c
	}
	c.Record = record
	return c
}

// celsius converts a temperature as written.
func celsius(v float64, u unit) float64 {
	switch u.name {
	case "degF":
		return (v - 32) * 5 / 9
	case "K":
		return v - cycle.IcePoint
	}
	return v
}

// kilopascal converts a pressure that [scaled] read with the unit's power of ten.
func kilopascal(v float64, u unit) float64 { return v * u.mul / u.div }

// sameName tells whether two names of a machine are one, letter case and blanks aside.
func sameName(a, b string) bool {
	return a != "" && strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}
