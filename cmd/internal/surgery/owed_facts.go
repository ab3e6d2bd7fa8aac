package surgery

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate/routine"
)

const (
	nearNotes    = 14 // days back that entries are read for every duty (ours)
	nearClosures = 62 // days back that closures are looked at: what was due before is overdue in any case (ours)
)

// owing is what the routine of the site is held against on one day.
type owing struct {
	r     *Records
	ctx   context.Context
	v     *logbook.View
	day   string
	rule  routine.Routine
	facts routine.Facts
	done  []routine.Done

	notes map[int64]logbook.Row[entry.Note] // by their number
	tests map[string]logbook.Cycle          // of the machines, by key
	read  map[int64]string                  // the test that a note reads, by the note's number
	waits map[waitsAt]string                // why something begun that day does not count yet
	ran   map[string]bool                   // machines with a cycle that day
	names map[string]string                 // of people, by id
}

// waitsAt is a duty at its place.
type waitsAt struct{ duty, machine, place string }

// owing gathers it as of one moment.
func (r *Records) owing(ctx context.Context, v *logbook.View, day string) (*owing, error) {
	o := r.bareOwing(ctx, v, day)
	var err error
	if o.names, err = names(ctx, v); err != nil {
		return nil, err
	}
	for _, step := range []func() error{o.since, o.near, o.loads, o.signed, o.closures} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return o, nil
}

// bareOwing knows the settings and nothing that was entered.
func (r *Records) bareOwing(ctx context.Context, v *logbook.View, day string) *owing {
	o := &owing{r: r, ctx: ctx, v: v, day: day, rule: r.settings.Value.routineInForce(), notes: map[int64]logbook.Row[entry.Note]{},
		tests: map[string]logbook.Cycle{}, read: map[int64]string{}, waits: map[waitsAt]string{}, ran: map[string]bool{}}
	o.facts.WaterLines = slices.Clone(r.settings.Value.Chairs)
	for _, s := range r.settings.Value.Sterilisers {
		o.facts.Sterilisers = append(o.facts.Sterilisers, routine.Steriliser{ID: s.ID, Type: s.Type, AirDetector: s.AirDetector})
	}
	return o
}

// back is a day some days before another.
func back(day string, days int) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.AddDate(0, 0, -days).Format(time.DateOnly)
}

// since is the day on which the site began its logbook.
func (o *owing) since() (err error) {
	o.facts.Since, err = o.r.began(o.ctx, o.v)
	return err
}

// began is the day of the first entry, "" if there is none.
func (r *Records) began(ctx context.Context, v *logbook.View) (string, error) {
	first, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Entry: 1})
	if err != nil || len(first) == 0 {
		return "", err
	}
	return r.localDay(first[0].Entered), nil
}

// near reads the entries and the tests of the last days.
func (o *owing) near() error {
	notes, err := logbook.Find[entry.Note](o.ctx, o.v, logbook.Filter{From: back(o.day, nearNotes), To: o.day})
	if err != nil {
		return err
	}
	cycles, err := o.v.Cycles(o.ctx, logbook.CycleFilter{From: back(o.day, nearNotes), To: o.day})
	if err != nil {
		return err
	}
	for _, c := range cycles {
		if c.Day == o.day {
			o.ran[c.Steriliser] = true
			if c.Kind == cycle.Load.String() {
				o.facts.Loads = append(o.facts.Loads, routine.Load{Steriliser: c.Steriliser, Day: c.Day, At: c.Start.Time})
			}
		}
	}
	return o.add(notes, cycles)
}

// older reads what lies further back of those lines that nothing near was found for.
func (o *owing) older(due []routine.Owed) (bool, error) {
	var asked []string
	for _, d := range due {
		if d.Last != "" || d.Every.Days == 1 || d.Every == (routine.Every{}) || d.Proof != "note" || slices.Contains(asked, d.Duty) {
			continue
		}
		asked = append(asked, d.Duty)
		if err := o.before(d.Duty, back(o.day, nearNotes)); err != nil {
			return false, err
		}
	}
	return len(asked) > 0, nil
}

// before reads what was entered of a duty for days before one, and its tests.
func (o *owing) before(duty, day string) error {
	to := back(day, 1)
	notes, err := logbook.Find[entry.Note](o.ctx, o.v, logbook.Filter{Topic: duty, To: to})
	if err != nil {
		return err
	}
	var cycles []logbook.Cycle
	if kind, _ := dutyNamed(duty); kind.Kind != "" {
		const few = 20 // one of them decides; a few are read since some may have failed
		for _, s := range o.facts.Sterilisers {
			found, err := o.v.Cycles(o.ctx, logbook.CycleFilter{Steriliser: s.ID, Kind: kind.Kind, To: to, Newest: true, Limit: few})
			if err != nil {
				return err
			}
			cycles = append(cycles, found...)
		}
	}
	return o.add(notes, cycles)
}

// add makes what the routine knows of notes and tests.
func (o *owing) add(notes []logbook.Row[entry.Note], cycles []logbook.Cycle) error {
	for _, n := range notes {
		o.notes[n.Number] = n
	}
	readings := readingsOf(notes)
	for _, c := range cycles {
		if !isTest(c) || c.Steriliser == "" {
			continue
		}
		if _, again := o.tests[c.Key]; again {
			continue
		}
		o.tests[c.Key] = c
		if err := o.addTest(c, readings[c.Key]); err != nil {
			return err
		}
	}
	for _, n := range notes {
		if duty, _ := dutyNamed(n.Said.Duty); duty.Kind != "" && n.Cycle != "" {
			continue // it speaks through its test
		}
		if d, why := o.r.doneBy(n); why == "" {
			o.done = append(o.done, d)
		} else if n.Said.Day == o.day {
			o.waits[waitsAt{d.Duty, d.Steriliser, d.Place}] = why
		}
	}
	return nil
}

// addTest adds a test with a record.
func (o *owing) addTest(c logbook.Cycle, read *logbook.Row[entry.Note]) error {
	s := o.r.testStands(c, read)
	d := routine.Done{Duty: dutyReading(c.Kind), Steriliser: c.Steriliser, Day: c.Day, At: s.at, By: s.by, Outcome: s.state}
	if read != nil {
		d.Entry = read.Number
		o.read[read.Number] = c.Key
	}
	if s.state == "open" {
		if c.Day == o.day {
			o.waits[waitsAt{d.Duty, d.Steriliser, ""}] = s.detail
		}
		return nil
	}
	if c.Kind == cycle.LeakTest.String() && c.Day == o.day {
		full, err := o.v.Cycle(o.ctx, c.Key)
		if err != nil {
			return err
		}
		if m, _, err := said(full.Verdict); err == nil && m.Leak != nil {
			d.Value, d.Unit = m.Leak, "kPa/min"
		}
	}
	o.done = append(o.done, d)
	return nil
}

// doneBy is an entry as the routine knows it; why says what still keeps it from counting,
// "" for nothing.
func (r *Records) doneBy(n logbook.Row[entry.Note]) (d routine.Done, why string) {
	s := n.Said
	at, _ := r.overAt(n)
	d = routine.Done{Duty: s.Duty, Steriliser: s.Steriliser, Place: s.Place, Day: s.Day, At: at, By: n.By, Outcome: s.Outcome,
		Value: s.Value, Unit: s.Unit, Text: s.Text, Entry: n.Number}
	data := dataOf(s)
	d.Low, d.Times = data.NeedsMin, data.Times
	if d.Value == nil && data.ContactMin != nil {
		d.Value, d.Unit = data.ContactMin, "min"
	}
	duty, _ := dutyNamed(s.Duty)
	switch {
	case s.Duty == dutyDisinfected && s.Outcome == "done" && !s.From.IsZero() && s.To.IsZero():
		why = "it is in, and when it was taken out was not entered"
	case duty.Says == sayPassed && s.Outcome == "":
		why = "its result was not entered"
	}
	return d, why
}

// overAt is when what a note tells of was over: its out time, else when it was done. Where
// the note was entered on another day and gives no time, it is the end of its own day, and
// said is false.
func (r *Records) overAt(n logbook.Row[entry.Note]) (at time.Time, said bool) {
	s := n.Said
	switch {
	case !s.To.IsZero():
		return r.local(s.To.Time), true
	case r.localDay(n.At) == s.Day:
		return n.At, true
	case !s.From.IsZero():
		return r.local(s.From.Time), true
	}
	day, err := time.ParseInLocation(time.DateOnly, s.Day, r.zone)
	if err != nil { // cannot be: the logbook keeps days in this form
		return n.At, true
	}
	return day.AddDate(0, 0, 1).Add(-time.Second), false
}

// dataOf are the fields that only some duties have.
func dataOf(n entry.Note) dutyData {
	var d dutyData
	_ = json.Unmarshal(n.Data, &d) // a note without fields of its own has null
	return d
}

// loads are the releases and rejections of the day, one for each load.
func (o *owing) loads() error {
	var duties []string
	for _, l := range o.rule.Lines {
		if l.Proof == "release" {
			duties = append(duties, l.Duty)
		}
	}
	if len(duties) == 0 {
		return nil
	}
	cycles, err := o.v.Cycles(o.ctx, logbook.CycleFilter{From: o.day, To: o.day, Kind: cycle.Load.String()})
	if err != nil {
		return err
	}
	for _, c := range cycles {
		if c.Release == "" && c.Decision == "" {
			continue
		}
		for _, duty := range duties {
			o.done = append(o.done, routine.Done{Duty: duty, Steriliser: c.Steriliser, Day: c.Day, At: c.End.Time, Outcome: "done"})
		}
	}
	return nil
}

// signed are the days whose record is signed by all who must.
func (o *owing) signed() error {
	days, err := o.v.Days(o.ctx, back(o.day, nearNotes), o.day)
	if err != nil {
		return err
	}
	for _, d := range days {
		n := d.ReviewedEntry
		if o.r.settings.Value.Site.SecondSignature == "none" {
			n = d.PreparedEntry
		}
		if n == 0 {
			continue
		}
		rows, err := logbook.Find[entry.Signature](o.ctx, o.v, logbook.Filter{Entry: n})
		if err != nil {
			return err
		}
		for _, l := range o.rule.Lines {
			for _, row := range rows {
				if l.Proof == "signature" {
					o.done = append(o.done, routine.Done{Duty: l.Duty, Day: d.Day, At: row.At, By: row.By, Outcome: "done"})
				}
			}
		}
	}
	return nil
}
