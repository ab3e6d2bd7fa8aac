package cli

import (
	"context"
	"fmt"

	"holdproof/cmd/internal/surgery"
)

// errStopped is what a person's Ctrl-C comes to.
var errStopped = context.Canceled

// tally counts what decides the exit code and keeps what was not readable.
type tally struct {
	departures int // cycles that do not conform
	problems   []string
	hidden     int
}

// maxComplaints are printed on standard error (ours); --json has them all.
const maxComplaints = 20

func (t *tally) Cycle(j surgery.Judged) error {
	if j.Outcome() != surgery.Conforms {
		t.departures++
	}
	return nil
}

func (t *tally) File(f surgery.FileRead) error {
	for _, p := range f.Problems {
		if len(t.problems) == maxComplaints {
			t.hidden++
			continue
		}
		t.problems = append(t.problems, placeOf(f.Name, p)+": "+p.Message+"\n  "+p.Remedy)
	}
	return nil
}

// placeOf names a place as programs do: file, line, column.
func placeOf(name string, p surgery.Problem) string {
	if p.Line > 0 {
		name += fmt.Sprintf(":%d", p.Line)
		if p.Column > 0 {
			name += fmt.Sprintf(":%d", p.Column)
		}
	}
	return name
}

// complain says on standard error what could not be read.
func (t *tally) complain(p *page) {
	defer p.flush()
	for _, text := range t.problems {
		p.lines(text)
	}
	if t.hidden > 0 {
		p.lines(fmt.Sprintf("and %d more; --json lists them all", t.hidden))
	}
}

func (t *tally) status() error {
	switch {
	case len(t.problems) > 0:
		return status(exitHindered)
	case t.departures > 0:
		return status(exitFound)
	}
	return nil
}

// all hands everything to several receivers, in order.
type all []surgery.Receiver

func (a all) Cycle(j surgery.Judged) error {
	for _, r := range a {
		if err := r.Cycle(j); err != nil {
			return err
		}
	}
	return nil
}

func (a all) File(f surgery.FileRead) error {
	for _, r := range a {
		if err := r.File(f); err != nil {
			return err
		}
	}
	return nil
}
