package surgery

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// What is asked about before a release at the machine is kept (ours).
const (
	mostAhead   = 20  // cycles of a machine in a day
	loadNumbers = 366 // days back in which a load number means one load
)

// TestsMissing says which tests that must pass before a load the entries of a day do not
// show as passed, a sentence; "" for none. A test whose record comes in the evening is
// among them until somebody notes what it showed. It stops nothing: that a load went out
// without its tests is said by the day too.
func (r *Records) TestsMissing(ctx context.Context, machine, day string) (string, error) {
	if day == "" {
		day = r.Today()
	}
	if err := checkDay(day); err != nil {
		return "", err
	}
	var missing []string
	err := r.book.Read(ctx, func(v *logbook.View) error {
		o, err := r.owing(ctx, v, day)
		if err != nil {
			return err
		}
		lines, err := o.lines()
		if err != nil {
			return err
		}
		missing = nil
		for _, l := range lines {
			if l.Steriliser != machine || l.Before != OwedHoldsLoads && l.Before != OwedLoadsWithin {
				continue
			}
			what := l.Duty
			if duty, _ := dutyNamed(l.Duty); duty.Kind != "" {
				what = duty.Kind
			}
			if !slices.Contains(missing, what) {
				missing = append(missing, what)
			}
		}
		return nil
	})
	if err != nil || len(missing) == 0 {
		return "", err
	}
	return fmt.Sprintf("Not entered as passed on %s for %s: %s. No patient load before its tests have passed.", machine, dayWords(day), strings.Join(missing, ", ")), nil
}

// testsAtMachine holds a load whose record has not come against the tests of its day as
// one with a record is held: one that failed, proves nothing or waits to be read stops
// it, with its record or by a note without one.
func (r *Records) testsAtMachine(ctx context.Context, v *logbook.View, machine, number, date string, at time.Time) error {
	day, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: machine, From: date, To: date})
	if err != nil {
		return err
	}
	load := logbook.Cycle{Steriliser: machine, Number: number, Day: date, Kind: cycle.Load.String(), Start: entry.At(at)}
	if err := r.testsPassed(ctx, v, load, day); err != nil {
		return err
	}
	for _, kind := range kindsOfTest {
		notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyReading(kind.String()), Steriliser: machine, From: date, To: date})
		if err != nil {
			return err
		}
		var last *logbook.Row[entry.Note]
		for i, n := range notes {
			if n.Cycle == "" && !n.Withdrawn && !n.At.After(at) && (last == nil || !n.At.Before(last.At)) {
				last = &notes[i]
			}
		}
		if last == nil || last.Said.Outcome != "failed" {
			continue
		}
		again := slices.ContainsFunc(day, func(c logbook.Cycle) bool { // it passed, or testsPassed had refused
			return c.Kind == kind.String() && c.Start.After(last.At) && c.Start.Before(at)
		})
		if !again {
			return &Refusal{Why: fmt.Sprintf("%s is not released: the %s of that day was read as failed (entry %d)", r.nameOf(load), kind, last.Number),
				Instead: "Run the test again, and enter what it showed with holdproof note. Until then --quarantine, or enter --reject."}
		}
	}
	return nil
}

// doubts asks about what is rather a slip of the hand than so: a number that does not
// fit those before it, if its record is not here to say, and a load number that another
// load has.
func (r *Records) doubts(ctx context.Context, v *logbook.View, m AtMachine, recorded bool) error {
	if m.Sure || m.Rejected { // to be careful is never held up
		return nil
	}
	var odd []string
	field := ""
	for _, d := range []struct {
		field string
		look  func() (string, error)
	}{
		{"number", func() (string, error) {
			if recorded {
				return "", nil
			}
			return r.oddNumber(ctx, v, m)
		}},
		{"load", func() (string, error) { return r.loadTwice(ctx, v, m) }},
	} {
		text, err := d.look()
		if err != nil {
			return err
		}
		if text != "" {
			odd = append(odd, text)
			if field == "" {
				field = d.field
			}
		}
	}
	if len(odd) == 0 {
		return nil
	}
	return &Refusal{Why: strings.Join(odd, "; "), Instead: "Read it once more and correct it. If it is so, say so with --yes.", Field: field, Confirm: true}
}

// oddNumber says what is odd about a cycle number beside the newest ones of its machine:
// other signs than figures, or a number further on or back than a machine gets in the
// days between. Numbers that began anew are not compared with those before.
func (r *Records) oddNumber(ctx context.Context, v *logbook.View, m AtMachine) (string, error) {
	last, day, err := r.lastNumber(ctx, v, m)
	if err != nil || last == "" {
		return "", err
	}
	was, err := strconv.ParseInt(last, 10, 64)
	if err != nil { // numbers of this machine are no numbers
		return "", nil
	}
	n, err := strconv.ParseInt(m.Number, 10, 64)
	if err != nil {
		return fmt.Sprintf("the number %q is no number as the others of %s, such as %s of %s", m.Number, m.Steriliser, last, dayWords(day)), nil
	}
	most := int64(mostAhead) * int64(1+daysBetween(day, m.Day))
	if n > was+most || n < was-most {
		return fmt.Sprintf("the number %s lies far from %s of %s, the newest of %s", m.Number, last, dayWords(day), m.Steriliser), nil
	}
	return "", nil
}

// daysBetween is how many days lie from one date to another, whichever comes first.
func daysBetween(a, b string) int {
	from, err1 := time.Parse(time.DateOnly, a)
	to, err2 := time.Parse(time.DateOnly, b)
	if err1 != nil || err2 != nil {
		return 0
	}
	return int(to.Sub(from).Abs().Hours() / 24)
}

// lastNumber is the newest number of a machine up to the day, by a record or by what was
// entered at the machine, and its day; "" where its numbers began anew since, or none is.
func (r *Records) lastNumber(ctx context.Context, v *logbook.View, m AtMachine) (number, day string, err error) {
	cycles, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: m.Steriliser, To: m.Day, Newest: true, Limit: 10})
	if err != nil {
		return "", "", err
	}
	for _, c := range cycles {
		if c.Number != "" {
			number, day = c.Number, c.Day
			break
		}
	}
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Steriliser: m.Steriliser, From: back(m.Day, mostAhead), To: m.Day, Newest: true})
	if err != nil {
		return "", "", err
	}
	for _, row := range rows {
		if row.Cycle == "" && !row.Withdrawn && row.Said.Day >= day {
			number, day = row.Said.Number, row.Said.Day
			break
		}
	}
	if number == "" {
		return "", "", nil
	}
	resets, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyReset, Steriliser: m.Steriliser, From: day, To: m.Day})
	if slices.ContainsFunc(resets, func(n logbook.Row[entry.Note]) bool { return !n.Withdrawn }) {
		return "", "", err
	}
	return number, day, err
}

// loadTwice says which other load has the load number of this one.
func (r *Records) loadTwice(ctx context.Context, v *logbook.View, m AtMachine) (string, error) {
	if m.Load.Number == "" {
		return "", nil
	}
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{From: back(m.Day, loadNumbers), Newest: true})
	if err != nil {
		return "", err
	}
	for _, row := range rows {
		s := row.Said
		same := s.Steriliser == m.Steriliser && s.Number == m.Number && s.Day == m.Day
		if !row.Withdrawn && !same && s.Act == "released" && s.Load.Number == m.Load.Number {
			return fmt.Sprintf("the load number %s is that of %s on %s already (entry %d)", m.Load.Number,
				r.calls(entry.Verdict{Steriliser: s.Steriliser, Number: s.Number}), dayWords(s.Day), row.Number), nil
		}
	}
	return "", nil
}
