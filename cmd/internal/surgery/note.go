package surgery

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Noting is something a person did or saw beside the cycles. What is left empty is
// found where only one thing can be meant, and asked for otherwise. [DutyNamed] tells
// which fields a duty has.
type Noting struct {
	Duty       string
	Day        string // local date, "" for today
	Steriliser string
	Place      string // a chair, a water line
	Cycle      string // as people name it
	Outcome    string // done, not done, passed, failed; "" where the program judges it, or there is none
	Value      *float64
	Times      int       // how often, 0 for once
	From, To   time.Time // in, out; To may follow as a correction
	Text       string    // no names of patients
	Product    string    // of a disinfection
	Strength   string    // its concentration, such as "3 %"
	Sampled    string    // local date on which a water sample was taken
	Control    string    // of a spore test: one of [ControlWords]
	Tests      []string  // of an engineer's visit: those of [TestWords] owed before return
	Of         int64     // number of the entry that this is the result of; 0: the only open one
	File       int64     // number of the import entry of a file that could not be read
	Explains   string    // the check between cycles, such as number-gap; "" if only one waits
	By         Proof
	At         time.Time // when it was done; zero: now
	Reason     string
	Sure       bool // the person looked again: what looks like a person's name or birthday is none of a patient

	corrects int64  // the entry it takes the place of
	row      string // hash of the row of a list that it comes from
}

// dutyData are the fields that only some duties have; those that were added later
// stand only where they say something.
type dutyData struct {
	Product      string   `json:"product"`
	Strength     string   `json:"concentration"`
	ContactMin   *float64 `json:"contact_min"` // out less in, null while it is still in
	File         *int64   `json:"file_entry"`
	Explains     []string `json:"explains"`                              // checks between cycles
	NeedsMin     *float64 `json:"contact_needs_min,omitempty"`           // the figure the contact time was held against
	NeedsPercent *float64 `json:"concentration_needs_percent,omitempty"` // that of the concentration
	Most         *float64 `json:"most,omitempty"`                        // the limit a count was held against
	Source       string   `json:"source,omitempty"`                      // of these figures
	Times        int      `json:"times,omitempty"`                       // how often it was done
	Sampled      string   `json:"sampled,omitempty"`                     // day of the sample
	Control      string   `json:"control,omitempty"`                     // of a spore test
	Of           int64    `json:"of_entry,omitempty"`                    // the entry it is the result of
	Tests        []string `json:"tests,omitempty"`                       // owed before return to service
	Without      []string `json:"without_tests,omitempty"`               // returned to service without these
	Row          string   `json:"row,omitempty"`                         // SHA-256 of the row of a list that it came from
}

// said tells whether there is anything in it to be kept.
func (d dutyData) said() bool {
	return d.Product != "" || d.Strength != "" || d.ContactMin != nil || d.File != nil || len(d.Explains) > 0 || d.Times != 0 || d.Sampled != "" ||
		d.Control != "" || d.Of != 0 || d.Tests != nil || d.Without != nil || d.Most != nil || d.Row != ""
}

// words are what the fields say that a record has no place of its own for.
func (d dutyData) words() string {
	out := ""
	if d.Source != "" && d.NeedsMin != nil {
		out = "by " + d.Source
	}
	if has, ok := percent(d.Strength); ok && d.NeedsPercent != nil && has < *d.NeedsPercent-roundOff {
		out = join(fmt.Sprintf("the contact time is for %s %%", number(*d.NeedsPercent)), out)
	}
	if d.Sampled != "" {
		out = join(out, "sample of "+dayWords(d.Sampled))
	}
	if d.Control != "" {
		out = join(out, "the control "+d.Control)
	}
	if len(d.Tests) > 0 {
		out = join(out, "owed before it returned: "+strings.Join(d.Tests, ", "))
	}
	return out
}

// Noted is a note that was kept.
type Noted struct {
	Entry   int64
	Outcome string   // what it came to, as it was kept
	Says    []string // sentences: what was computed, what is still to be done
}

// Note keeps it.
//
// Errors: a [*Refusal]; [logbook.ErrStale]; [seal.ErrPassphrase].
func (r *Records) Note(ctx context.Context, n Noting) (Noted, error) {
	var out Noted
	at, err := r.happened(n.At)
	if err != nil {
		return out, err
	}
	n.At = at
	var p planned
	err = r.book.Read(ctx, func(v *logbook.View) error {
		p, err = r.plan(ctx, v, n)
		return err
	})
	if err != nil {
		return out, err
	}
	by, err := r.prove(ctx, n.By, p.act, at)
	if err != nil {
		return out, err
	}
	err = r.write(ctx, func(b *logbook.Batch) error {
		now, err := r.plan(ctx, b.View, n)
		if err != nil {
			return err
		}
		if now.was.Key != p.was.Key || now.was.Verdict != p.was.Verdict || now.act != p.act {
			return fmt.Errorf("%s is not as it was: %w", p.called, logbook.ErrStale)
		}
		out, err = r.keepNote(ctx, b, now, by, n)
		return err
	})
	return out, err
}

// planned is a note that nothing stands against.
type planned struct {
	body   entry.Note
	act    Act    // what the person does who notes it
	was    Sight  // of its cycle
	called string // what people call the cycle
}

// plan checks a note and says what will be kept.
func (r *Records) plan(ctx context.Context, v *logbook.View, n Noting) (planned, error) {
	body, err := r.noteBody(ctx, v, n)
	if err != nil {
		return planned{}, err
	}
	duty, _ := dutyNamed(n.Duty)
	out := planned{body: body, act: duty.act()}
	if slices.Contains(dataOf(body).Explains, explainsTest) {
		out.act = ActClose // that a load stays as it is after a failed test, the lead decides
	}
	if body.Cycle == "" {
		return out, nil
	}
	c, err := v.Cycle(ctx, body.Cycle)
	out.was, out.called = SightOf(c), r.nameOf(c)
	if err == nil && duty.Kind != "" && body.Outcome == "passed" && c.Outcome == Borderline.String() {
		out.act = ActOddTest
	}
	return out, err
}

// keepNote adds the entry and says what it came to.
func (r *Records) keepNote(ctx context.Context, b *logbook.Batch, p planned, by proven, n Noting) (Noted, error) {
	out := Noted{Outcome: p.body.Outcome}
	var err error
	out.Entry, err = b.Add(entry.Draft{At: n.At, By: by.Person.Person, Proved: by.how, Reason: n.Reason, Body: p.body})
	if err == nil {
		out.Says, err = r.afterNote(ctx, b.View, p.body, out.Entry)
	}
	return out, err
}

// noteBody checks a note against its duty and completes it.
func (r *Records) noteBody(ctx context.Context, v *logbook.View, n Noting) (entry.Note, error) {
	body := entry.Note{Duty: n.Duty, Day: n.Day, Place: strings.TrimSpace(n.Place), Outcome: n.Outcome, From: entry.At(n.From), To: entry.At(n.To), Text: n.Text,
		Data: json.RawMessage("null")}
	duty, known := dutyNamed(n.Duty)
	if !known {
		instead := "The duties are listed by holdproof note --help."
		if near := Nearest(n.Duty, DutyNames()); near != "" {
			instead = fmt.Sprintf("Did you mean %q?", near)
		}
		return body, &Refusal{Why: fmt.Sprintf("%q is no duty", n.Duty), Instead: instead, Field: "duty"}
	}
	if body.Day == "" {
		if body.Day = r.Today(); !n.At.IsZero() {
			body.Day = r.localDay(n.At)
		}
	}
	if err := checkDay(body.Day); err != nil {
		return body, err
	}
	for _, step := range []func(context.Context, *logbook.View, Noting, dutyKind, *entry.Note) error{
		r.noteWords, r.noteWhere, r.noteCycle, r.noteSays, r.noteTimes, r.noteData, r.noteClosed, r.noteAsks} {
		if err := step(ctx, v, n, duty, &body); err != nil {
			return body, err
		}
	}
	return body, nil
}

// noteWhere settles machine or place.
func (r *Records) noteWhere(_ context.Context, _ *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	switch {
	case duty.On == onPlace && body.Place == "" && n.Of == 0:
		return &Refusal{Why: duty.Name + " needs a place", Instead: "Name the chair or the line with --place, such as \"chair 1\".", Field: "place"}
	case duty.On == onPlace && body.Place == "": // the earlier entry says
		return nil
	case duty.On == onPlace:
		return inField(r.settings.Value.knownChair(body.Place), "place")
	case duty.On != onSteriliser:
		return nil
	}
	var ids []string
	for _, s := range r.settings.Value.Sterilisers {
		ids = append(ids, s.ID)
	}
	body.Steriliser = n.Steriliser
	if body.Steriliser == "" && len(ids) == 1 {
		body.Steriliser = ids[0]
	}
	if body.Steriliser == "" && (n.Cycle != "" || n.Of != 0) {
		return nil // the cycle, or the earlier entry, says
	}
	if body.Steriliser == "" {
		return &Refusal{Why: duty.Name + " needs a steriliser", Instead: machinesThereAre(ids), Field: "steriliser"}
	}
	if !slices.Contains(ids, body.Steriliser) {
		return &Refusal{Why: fmt.Sprintf("no steriliser %q is in the settings", body.Steriliser), Instead: machinesThereAre(ids), Field: "steriliser"}
	}
	return nil
}
