package surgery

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/pdf"
	"holdproof/validate"
)

// DayRecord is the record of a day before anybody signed it.
type DayRecord struct {
	Day     daily.Day
	Waiting bool // the newest revision is prepared and not reviewed
	Due     bool // what was signed does not say all that is in the logbook; also if nothing was

	parts pdf.Parts
}

// PDF draws the record, unsigned. The same record gives the same bytes.
func (d *DayRecord) PDF() ([]byte, error) { return pdf.Draw(d.Day, d.parts) }

// Preview is PDF with words on every page that nobody signed it.
func (d *DayRecord) Preview() ([]byte, error) {
	parts := d.parts
	parts.Preview = true
	return pdf.Draw(d.Day, parts)
}

// Day lays out the record of a day as the logbook holds it, under the configuration in
// force. It reads no clock: the same logbook gives the same record.
//
// Errors: a date that is none, a logbook without an entry, what the logbook cannot
// give. That the day lacks something is no error: see [daily.Day.Missing].
func (r *Records) Day(ctx context.Context, date string) (*DayRecord, error) {
	return r.dayWith(ctx, date, "")
}

// dayWith is Day with the reason why it is signed as it is, or made anew.
func (r *Records) dayWith(ctx context.Context, date, reason string) (*DayRecord, error) {
	if _, err := time.Parse(time.DateOnly, date); err != nil {
		return nil, fmt.Errorf("%q is no date, expected one such as 2026-11-02", date)
	}
	var out *DayRecord
	err := r.book.Read(ctx, func(v *logbook.View) error {
		b := &dayBuilder{r: r, ctx: ctx, v: v, reason: reason}
		if err := b.build(date); err != nil {
			return err
		}
		out = &DayRecord{Day: b.day, Waiting: b.before.PreparedEntry != 0 && b.before.ReviewedEntry == 0,
			Due: b.before.Revision == 0 || b.before.Due(), parts: b.parts}
		return nil
	})
	return out, err
}

// dayBuilder puts a day together from one moment of the logbook.
type dayBuilder struct {
	r      *Records
	ctx    context.Context
	v      *logbook.View
	reason string
	before logbook.Day // how the day stands: what was signed of it

	people map[string]entry.Person
	cycles []logbook.Cycle
	notes  []logbook.Row[entry.Note] // of the day, in their order
	period Period                    // what shows between the cycles
	owed   []Owed                    // what the routine owes
	gates  []validate.DayTest        // tests that it owes before the first load
	day    daily.Day
	parts  pdf.Parts
}

func (b *dayBuilder) build(date string) error {
	b.day = daily.Day{Version: daily.Version, Program: b.r.world.Version, Date: date,
		Surgery: daily.Surgery{Name: b.r.settings.Value.Site.Name, Zone: b.r.zone.String()},
		Signing: daily.Signing{Second: "required"}}
	if s := b.r.settings.Value.Site; s.SecondSignature == "none" {
		b.day.Signing = daily.Signing{Second: "none", Reason: s.SecondSignatureBecause}
	}
	b.settings()
	for _, step := range []func() error{b.gather, b.record, b.judged, b.across, b.decisions, b.recalls, b.drift} {
		if err := step(); err != nil {
			return err
		}
	}
	if err := b.lacks(); err != nil {
		return err
	}
	return b.changes()
}

// lacks fills in the tests, the duties, and what the day lacks.
func (b *dayBuilder) lacks() error {
	b.machines()
	if err := b.closures(); err != nil {
		return err
	}
	if err := b.owes(); err != nil {
		return err
	}
	b.tests()
	b.duties()
	return b.missing()
}

// settings names the configuration in force.
func (b *dayBuilder) settings() {
	c := b.r.settings.Value
	b.day.Settings = daily.Settings{File: called(b.r.settings.File), SHA256: b.r.sum, Limits: c.LimitsInForce(), Routine: c.Routine,
		LooserBecause: c.limitSet().LooserBecause}
}

// gather reads who people are, the cycles and the notes of the day.
func (b *dayBuilder) gather() error {
	people, err := logbook.Find[entry.Person](b.ctx, b.v, logbook.Filter{})
	if err != nil {
		return err
	}
	b.people = map[string]entry.Person{}
	for _, p := range people {
		b.people[p.Said.Person] = p.Said
	}
	if b.cycles, err = b.v.Cycles(b.ctx, logbook.CycleFilter{From: b.day.Date, To: b.day.Date, Verdicts: true}); err != nil {
		return err
	}
	notes, err := logbook.Find[entry.Note](b.ctx, b.v, logbook.Filter{From: b.day.Date, To: b.day.Date})
	if err != nil {
		return err
	}
	for _, n := range notes {
		if !n.Withdrawn {
			b.notes = append(b.notes, n)
		}
	}
	return nil
}

// record ties the record to the log, to the one it replaces and to the one of the day
// before.
func (b *dayBuilder) record() error {
	tip, err := b.v.Checkpoint(b.ctx)
	if err != nil {
		return err
	}
	if tip.Size == 0 {
		return errors.New("there is nothing in the logbook yet")
	}
	days, err := b.v.Days(b.ctx, b.day.Date, b.day.Date)
	if err != nil {
		return err
	}
	if len(days) > 0 {
		b.before = days[0]
	}
	n := b.before.Revision + 1
	b.day.Record = daily.Record{ID: recordID(b.day.Date, n), Revision: int(n), Made: b.at(tip.Time.Time),
		LogSize: tip.Size, LogRoot: rootWords(tip)}
	if b.before.Revision > 0 {
		last, err := b.newestSignature(b.before)
		if err != nil {
			return err
		}
		b.day.Record.Replaces = daily.Link{ID: recordID(b.day.Date, last.Revision), SHA256: last.SHA256}
	}
	return b.previous()
}

// recordID names a record.
func recordID(date string, revision int64) string { return fmt.Sprintf("%s-r%d", date, revision) }

// rootWords writes the root of the tree in lower-case hex.
func rootWords(c entry.Checkpoint) string { return fmt.Sprintf("%x", c.Root[:]) }

// newestSignature is the last signature under the newest revision of a day.
func (b *dayBuilder) newestSignature(d logbook.Day) (entry.Signature, error) {
	n := max(d.PreparedEntry, d.ReviewedEntry)
	rows, err := logbook.Find[entry.Signature](b.ctx, b.v, logbook.Filter{Entry: n})
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("the signature of %s, entry %d, is not found; see holdproof audit", d.Day, n)
	}
	if err != nil {
		return entry.Signature{}, err
	}
	return rows[0].Said, nil
}

// nearDays is how many days back the record before is looked for first (ours): reading
// all days of twenty years for each record would be slow.
const nearDays = 60

// previous finds the last signed day before this one.
func (b *dayBuilder) previous() error {
	date, err := time.Parse(time.DateOnly, b.day.Date)
	if err != nil {
		return err
	}
	to := date.AddDate(0, 0, -1).Format(time.DateOnly)
	for _, from := range []string{date.AddDate(0, 0, -nearDays).Format(time.DateOnly), "0001-01-01"} {
		days, err := b.v.Days(b.ctx, from, to)
		if err != nil {
			return err
		}
		for _, d := range slices.Backward(days) {
			if d.PreparedEntry == 0 {
				continue
			}
			last, err := b.newestSignature(d)
			b.day.Record.Previous = daily.Link{ID: recordID(d.Day, last.Revision), SHA256: last.SHA256}
			return err
		}
	}
	return nil
}

// at writes a moment with the surgery's offset, "" for one that is not known.
func (b *dayBuilder) at(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(b.r.zone).Format(time.RFC3339)
}

// who is the name of a person; the id where nobody has it.
func (b *dayBuilder) who(id string) string {
	if p, known := b.people[id]; known {
		return p.Name
	}
	return id
}

// roleOf is the highest role that a person held on a date, in words; "" for none.
func roleOf(p entry.Person, day string) string {
	for _, role := range []string{roleLead, roleRelease, roleOperate} {
		if holds(p, role, day) {
			return roleWords[role]
		}
	}
	return ""
}

// roleWords are the roles as records print them.
var roleWords = map[string]string{roleLead: "lead", roleRelease: "may release loads", roleOperate: "may operate"}
