package surgery

import (
	"context"
	"time"

	"holdproof/report/logbook"
	"holdproof/validate/routine"
)

// OwedState is how a line of the routine stands on a day. The zero value is that it is
// still to be done.
type OwedState = routine.State

// The states of a line.
const (
	OwedOpen         = routine.Open
	OwedOverdue      = routine.Overdue
	OwedFailed       = routine.Failed
	OwedUnproven     = routine.Unproven
	OwedExplained    = routine.Explained
	OwedNeverEntered = routine.NeverEntered
	OwedNotDue       = routine.NotDue
	OwedDone         = routine.Complete
)

// OwedBefore is how a line that must pass before the first load stands to that load.
type OwedBefore = routine.Before

// What it can say; the zero value is that the line has no such condition that day.
const (
	OwedNoGate      = routine.NoGate
	OwedHoldsLoads  = routine.Waiting // not passed, and no load was run
	OwedInTime      = routine.InTime
	OwedLate        = routine.Late    // passed only after the first load started
	OwedLoadsWithin = routine.Missing // not passed, and a load was run
)

// Owed is one line of the routine of the site, for one machine, one chair or the whole
// surgery, as it stands at the end of a day as far as the entries go.
//
// Embedded are duty, sentence, when, interval, limits, source and its certainty, why the
// site changed it; state, figures and who did it last. By and LastBy are ids.
type Owed struct {
	routine.Owed
	ByName     string // who made the entry that decides, "" where there is none
	LastByName string
	Cycle      string // key of the test that it was read from, "" for none
	Product    string // of a line treatment, with its concentration
	Strength   string
	From, To   time.Time // of a treatment, in and out, in the site's zone; zero where not said
	Text       string    // what was said in words with the entry that decides
	More       string    // what else it says: the day of a sample, a control, whose figure it was held against
	Started    bool      // something was begun and its result is still to come
}

// Where is the machine or the chair, "" for the whole surgery.
func (o Owed) Where() string {
	if o.Place != "" {
		return o.Place
	}
	return o.Steriliser
}

// Wanted tells whether a person must still do something about the line.
func (o Owed) Wanted() bool {
	switch o.State {
	case OwedExplained, OwedNeverEntered, OwedNotDue, OwedDone:
		return false
	}
	return true
}

// Daily tells whether the line is owed each day of work.
func (o Owed) Daily() bool { return o.Every.Days == 1 }

// Owed returns every line of the site's routine as it stands on a day, in the order of
// the routine; none where the site names no routine. It is computed from the entries at
// one moment, and their order makes no difference. Of a day that is past, a machine that
// ran no cycle owes nothing that is owed each day; today it may still be used.
//
// Last is looked for two weeks back for what is owed each day, and without end otherwise.
//
// Error: a date that is none.
func (r *Records) Owed(ctx context.Context, date string) ([]Owed, error) {
	if err := checkDay(date); err != nil {
		return nil, err
	}
	var out []Owed
	err := r.book.Read(ctx, func(v *logbook.View) error {
		o, err := r.owing(ctx, v, date)
		if err != nil {
			return err
		}
		if out, err = o.lines(); err != nil {
			return err
		}
		if date < r.Today() {
			out = o.withoutUnused(out)
		}
		return nil
	})
	return out, err
}

// lines holds the routine against what was gathered.
func (o *owing) lines() ([]Owed, error) {
	due, err := routine.Due(o.rule, o.facts, o.day, o.done)
	if err != nil {
		return nil, err
	}
	old, err := o.older(due)
	if err != nil {
		return nil, err
	}
	if old {
		if due, err = routine.Due(o.rule, o.facts, o.day, o.done); err != nil {
			return nil, err
		}
	}
	var out []Owed
	for _, d := range due {
		out = append(out, o.told(d))
	}
	return out, nil
}

// told adds who did it and what was said.
func (o *owing) told(d routine.Owed) Owed {
	out := Owed{Owed: d, ByName: o.names[d.By], LastByName: o.names[d.LastBy], Cycle: o.read[d.Entry]}
	if n, is := o.notes[d.Entry]; is {
		out.Text = n.Said.Text
		if _, said := o.r.overAt(n); !said && out.Cycle == "" {
			out.At = time.Time{} // when it was typed is not when it was done
		}
		data := dataOf(n.Said)
		out.Product, out.Strength, out.More = data.Product, data.Strength, data.words()
		if low := data.NeedsMin; low != nil && data.Source != "" && (d.Low == nil || *low > *d.Low) {
			out.Low, out.LimitSource, out.LimitSure = low, data.Source, "" // the settings say where it stands; how sure that is, nobody said
		}
		out.From, out.To = o.r.local(n.Said.From.Time), o.r.local(n.Said.To.Time)
	}
	if why := o.waits[waitsAt{d.Duty, d.Steriliser, d.Place}]; why != "" && out.Wanted() && d.State != OwedFailed {
		out.Detail, out.Started = why, true
	}
	return out
}

// withoutUnused takes from machines that ran no cycle what is owed each day.
func (o *owing) withoutUnused(lines []Owed) []Owed {
	for i, l := range lines {
		if l.Steriliser == "" || !l.Daily() || o.ran[l.Steriliser] || l.State != OwedOpen {
			continue
		}
		lines[i].State, lines[i].Before, lines[i].Detail = OwedNotDue, OwedNoGate, "no cycle was run that day"
	}
	return lines
}

// local is a time of an entry in the site's zone, zero for none.
func (r *Records) local(t time.Time) time.Time {
	if t.IsZero() {
		return time.Time{}
	}
	return t.In(r.zone)
}
