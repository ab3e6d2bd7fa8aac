package surgery

import (
	"context"
	"errors"
	"slices"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// DayShown is a day as a page shows it: that of its record, without exports and figures.
type DayShown struct {
	daily.Day
	Shown  []Shown  // its cycles, by steriliser and number
	Ready  AllReady // loads that conform and wait for release
	Stands logbook.Day
	Again  []string // keys of cycles that failed after a failed one
}

// DayShown lays out a day as of one moment.
func (r *Records) DayShown(ctx context.Context, date string) (DayShown, error) {
	if err := checkDay(date); err != nil {
		return DayShown{}, ErrNotKept
	}
	shown, err := r.ShownCycles(ctx, ShownQuery{From: date, To: date})
	if err != nil {
		return DayShown{}, err
	}
	out := DayShown{Shown: shown}
	if out.Ready, err = r.Conforming(ctx, date); err != nil {
		return out, err
	}
	err = r.book.Read(ctx, func(v *logbook.View) error {
		b := &dayBuilder{r: r, ctx: ctx, v: v}
		if err := b.outline(date); err != nil {
			return err
		}
		out.Day, out.Stands, out.Again = b.day, b.before, b.period.Again
		return nil
	})
	return out, err
}

// outline is build without what a page does not show.
func (b *dayBuilder) outline(date string) error {
	b.day = daily.Day{Version: daily.Version, Program: b.r.world.Version, Date: date,
		Surgery: daily.Surgery{Name: b.r.settings.Value.Site.Name, Zone: b.r.zone.String()}}
	b.settings()
	if err := b.gather(); err != nil {
		return err
	}
	days, err := b.v.Days(b.ctx, date, date)
	if err != nil {
		return err
	}
	if len(days) > 0 {
		b.before = days[0]
	}
	if b.period, err = b.r.across(b.ctx, b.v, date, date); err != nil {
		return err
	}
	for _, c := range b.cycles {
		out, err := b.cycle(c)
		if err != nil {
			return err
		}
		b.day.Cycles = append(b.day.Cycles, out)
	}
	for _, step := range []func() error{b.across, b.decisions, b.recalls} {
		if err := step(); err != nil {
			return err
		}
	}
	return b.lacks()
}

// The states of a day on a calendar.
const (
	DaySigned   = "signed"
	DayPrepared = "waits for the second signature"
	DayChanged  = "changed since it was signed"
	DayOpen     = "open"
	DayClosed   = "closed"
	DayMissing  = "nothing recorded"
	DayEarlier  = "imported later" // it was before the logbook began
	DayAhead    = ""               // nothing is expected of it
)

// MonthDay is a day of a calendar.
type MonthDay struct {
	logbook.Day
	Date  time.Time
	State string
	Why   string // of a closed day
}

// Open tells whether somebody has something to do about the day.
func (m MonthDay) Open() bool {
	return m.State == DayOpen || m.State == DayPrepared || m.State == DayChanged
}

// Month returns every day of the month that a date lies in.
func (r *Records) Month(ctx context.Context, in time.Time) ([]MonthDay, error) {
	first := time.Date(in.Year(), in.Month(), 1, 0, 0, 0, 0, time.UTC)
	last := first.AddDate(0, 1, -1)
	from, to := first.Format(time.DateOnly), last.Format(time.DateOnly)
	var out []MonthDay
	err := r.book.Read(ctx, func(v *logbook.View) error {
		days, err := v.Days(ctx, from, to)
		if err != nil {
			return err
		}
		began, err := r.began(ctx, v)
		if err != nil {
			return err
		}
		notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyClosed, From: from, To: to})
		if err != nil {
			return err
		}
		for d := first; !d.After(last); d = d.AddDate(0, 0, 1) {
			m := MonthDay{Date: d, Day: logbook.Day{Day: d.Format(time.DateOnly)}}
			if i := slices.IndexFunc(days, func(k logbook.Day) bool { return k.Day == m.Day.Day }); i >= 0 {
				m.Day = days[i]
			}
			if i := slices.IndexFunc(notes, func(n logbook.Row[entry.Note]) bool { return n.Said.Day == m.Day.Day }); i >= 0 {
				m.Why = orUnsaid(notes[i].Said.Text)
			}
			m.State = r.stateOf(m, began)
			out = append(out, m)
		}
		return nil
	})
	return out, err
}

// stateOf is the state of a day; nobody is asked to sign or to explain one from before the
// logbook began, whose old records were imported later.
func (r *Records) stateOf(m MonthDay, began string) string {
	switch d := m.Day; {
	case d.Due():
		return DayChanged
	case d.Revision > 0 && d.ReviewedEntry == 0 && r.settings.Value.Site.SecondSignature != "none":
		return DayPrepared
	case d.Revision > 0:
		return DaySigned
	case m.Why != "":
		return DayClosed
	case (d.Changed > 0 || d.Cycles > 0) && d.Day < began:
		return DayEarlier
	case d.Changed > 0 || d.Cycles > 0:
		return DayOpen
	case d.Day >= r.Today(), d.Day < began:
		return DayAhead
	}
	return DayMissing
}

// RecordOf is the file of the newest signed record of a day, and the name to give it.
//
// Error: [ErrNotKept] if the day is not signed.
func (r *Records) RecordOf(ctx context.Context, date string) (path, name string, err error) {
	if checkDay(date) != nil {
		return "", "", ErrNotKept
	}
	days, err := r.book.Days(ctx, date, date)
	if err != nil {
		return "", "", err
	}
	if len(days) == 0 || days[0].PreparedEntry == 0 {
		return "", "", ErrNotKept
	}
	rows, err := logbook.Find[entry.Signature](ctx, r.book.View, logbook.Filter{Entry: max(days[0].PreparedEntry, days[0].ReviewedEntry)})
	if err != nil {
		return "", "", err
	}
	if len(rows) == 0 {
		return "", "", ErrNotKept
	}
	return r.recordPath(rows[0].Said.File), rows[0].Said.File, nil
}

// RecordNamed is the file of a signed record by its name, such as that of a revision
// before the newest.
//
// Error: [ErrNotKept] if no signature names it.
func (r *Records) RecordNamed(ctx context.Context, name string) (path, file string, err error) {
	if len(name) < len(time.DateOnly) || checkDay(name[:len(time.DateOnly)]) != nil {
		return "", "", ErrNotKept
	}
	rows, err := logbook.Find[entry.Signature](ctx, r.book.View, logbook.Filter{Subject: name[:len(time.DateOnly)]})
	if err != nil {
		return "", "", err
	}
	for _, row := range rows {
		if row.Said.File == name {
			return r.recordPath(name), name, nil
		}
	}
	return "", "", ErrNotKept
}

// Signatures are those under the newest record of a day, in words.
func (r *Records) Signatures(ctx context.Context, date string) ([]Happening, error) {
	var out []Happening
	err := r.book.Read(ctx, func(v *logbook.View) error {
		days, err := v.Days(ctx, date, date)
		if err != nil || len(days) == 0 {
			return err
		}
		names, err := names(ctx, v)
		if err != nil {
			return err
		}
		for _, n := range []int64{days[0].PreparedEntry, days[0].ReviewedEntry} {
			if n == 0 {
				continue
			}
			rows, err := logbook.Find[entry.Signature](ctx, v, logbook.Filter{Entry: n})
			if err != nil {
				return err
			}
			for _, row := range rows {
				out = append(out, Happening{Entry: row.Number, At: row.At.In(r.zone), By: names[row.By], What: row.Said.Meaning, Reason: row.Said.Role})
			}
		}
		return nil
	})
	return out, err
}

// DutyForTest is the duty under which the reading of a test of that kind is noted.
func DutyForTest(kind string) string { return dutyReading(kind) }

// DutyExplained is the duty under which something between cycles is explained.
const DutyExplained = dutyExplained

// Machines are the sterilisers of the configuration.
func (r *Records) Machines() []Steriliser { return r.settings.Value.Sterilisers }

// Count is how many cycles the day has.
func (m MonthDay) Count() int { return int(m.Day.Cycles) }

// MayReview says why a person may not sign a day as reviewed, "" if it may be signed.
func (r *Records) MayReview(ctx context.Context, date, who string) (string, error) {
	_, err := r.reviewable(ctx, r.book.View, date, who)
	var no *Refusal
	if errors.As(err, &no) {
		return no.Why, nil
	}
	return "", err
}
