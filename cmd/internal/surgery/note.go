package surgery

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Noting is something a person did or saw beside the cycles. What is left empty is
// found where only one thing can be meant, and asked for otherwise.
type Noting struct {
	Duty       string
	Day        string // local date, "" for today
	Steriliser string
	Place      string // a chair, a water line
	Cycle      string // as people name it
	Outcome    string // done, not done, passed, failed
	Value      *float64
	From, To   time.Time
	Text       string
	Product    string // of a line treatment
	Strength   string // its concentration
	File       int64  // number of the import entry of a file that could not be read
	Explains   string // the check between cycles, such as number-gap; "" if only one waits
	By         Proof
	At         time.Time // zero: now
	Reason     string
}

// dutyData are the fields that only some duties have.
type dutyData struct {
	Product    string   `json:"product"`
	Strength   string   `json:"concentration"`
	ContactMin *float64 `json:"contact_min"` // out less in, null while it is still in
	File       *int64   `json:"file_entry"`
	Explains   []string `json:"explains"` // checks between cycles
}

// Noted is a note that was kept.
type Noted struct {
	Entry int64
	Says  []string // sentences: what was computed, what is still to be done
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
	var act Act
	var was Sight
	err = r.book.Read(ctx, func(v *logbook.View) error {
		body, err := r.noteBody(ctx, v, n)
		if err != nil {
			return err
		}
		duty, _ := dutyNamed(n.Duty)
		act = duty.act()
		if body.Cycle == "" {
			return nil
		}
		c, err := v.Cycle(ctx, body.Cycle)
		was = SightOf(c)
		if err == nil && duty.Kind != "" && body.Outcome == "passed" && c.Outcome == Borderline.String() {
			act = ActOddTest
		}
		return err
	})
	if err != nil {
		return out, err
	}
	by, err := r.prove(ctx, n.By, act, at)
	if err != nil {
		return out, err
	}
	err = r.write(ctx, func(b *logbook.Batch) error {
		body, err := r.noteBody(ctx, b.View, n)
		if err != nil {
			return err
		}
		if body.Cycle != "" {
			c, err := b.Cycle(ctx, body.Cycle)
			if err != nil {
				return err
			}
			if now := SightOf(c); now.Key != was.Key || now.Verdict != was.Verdict {
				return fmt.Errorf("%s is not as it was: %w", r.nameOf(c), logbook.ErrStale)
			}
		}
		out.Says = r.afterNote(body)
		out.Entry, err = b.Add(entry.Draft{At: at, By: by.Person.Person, Proved: by.how, Reason: n.Reason, Body: body})
		return err
	})
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
		return body, &Refusal{Why: fmt.Sprintf("%q is no duty", n.Duty), Instead: instead}
	}
	if body.Day == "" {
		body.Day = r.Today()
	}
	if err := checkDay(body.Day); err != nil {
		return body, err
	}
	for _, step := range []func(context.Context, *logbook.View, Noting, dutyKind, *entry.Note) error{r.noteWhere, r.noteCycle, r.noteSays, r.noteData, r.noteClosed} {
		if err := step(ctx, v, n, duty, &body); err != nil {
			return body, err
		}
	}
	return body, nil
}

// noteWhere settles machine or place.
func (r *Records) noteWhere(_ context.Context, _ *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	switch {
	case duty.On == onPlace && body.Place == "":
		return &Refusal{Why: duty.Name + " needs a place", Instead: "Name the chair or the line with --place, such as \"chair 1\"."}
	case duty.On == onPlace:
		return r.settings.Value.knownChair(body.Place)
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
	if body.Steriliser == "" && n.Cycle != "" {
		return nil // the cycle says
	}
	if body.Steriliser == "" {
		return &Refusal{Why: duty.Name + " needs a steriliser", Instead: machinesThereAre(ids)}
	}
	if !slices.Contains(ids, body.Steriliser) {
		return &Refusal{Why: fmt.Sprintf("no steriliser %q is in the settings", body.Steriliser), Instead: machinesThereAre(ids)}
	}
	return nil
}

// noteCycle settles the cycle a note reads: the one named, or the only test of that
// kind on that machine and day which waits.
func (r *Records) noteCycle(ctx context.Context, v *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	if !duty.Cycle {
		if n.Cycle != "" {
			return &Refusal{Why: duty.Name + " is not about a cycle", Instead: "Leave --cycle out."}
		}
		return nil
	}
	var c logbook.Cycle
	switch {
	case n.Cycle != "":
		var err error
		if c, err = cycleNamed(ctx, v, n.Cycle); err != nil {
			return err
		}
	case duty.Kind == "" && duty.Name == dutyExplained:
		return &Refusal{Why: duty.Name + " needs a cycle", Instead: "Name one of the cycles with --cycle; holdproof review shows them."}
	case duty.Kind == "":
		return nil
	default:
		tests, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: body.Steriliser, From: body.Day, To: body.Day, Kind: duty.Kind, Waiting: true, Verdicts: true})
		if err != nil {
			return err
		}
		if len(tests) == 0 && strings.TrimSpace(n.Text) != "" {
			return nil // a test without a record, in the person's words
		}
		if len(tests) != 1 {
			return &Refusal{Why: fmt.Sprintf("%d tests of this kind wait on %s on %s", len(tests), body.Steriliser, dayWords(body.Day)),
				Instead: "Name the test with --cycle, by its number. Import its record first; if there is none, say so with --text."}
		}
		c = tests[0]
	}
	if duty.Kind != "" && c.Kind != duty.Kind {
		return &Refusal{Why: fmt.Sprintf("%s is a %s, and %q reads a %s", r.nameOf(c), c.Kind, duty.Name, duty.Kind), Instead: "Name the test with --cycle."}
	}
	if body.Steriliser != "" && c.Steriliser != body.Steriliser {
		return &Refusal{Why: fmt.Sprintf("%s is not of %s", r.nameOf(c), body.Steriliser), Instead: "Leave --steriliser out, or name another cycle."}
	}
	body.Cycle, body.Steriliser = c.Key, c.Steriliser
	if n.Day == "" && duty.Kind != "" {
		body.Day = c.Day
	}
	body.Settled = c.Settled
	if duty.Kind == "" {
		return nil
	}
	if n.Outcome == "passed" && (c.Outcome == Failed.String() || c.Outcome == NotProven.String()) {
		return &Refusal{Why: fmt.Sprintf("%s cannot be read as passed: its record is %s%s", r.nameOf(c), c.Outcome, whyOf(*c.Verdict)),
			Instead: "Run the test again. Enter --outcome failed for this one."}
	}
	body.Settled = n.Outcome == "passed"
	return nil
}

// noteSays checks outcome, figure and words.
func (r *Records) noteSays(_ context.Context, _ *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	says := duty.says()
	switch {
	case len(says) == 0 && n.Outcome != "":
		return &Refusal{Why: duty.Name + " has no outcome", Instead: "Leave --outcome out."}
	case len(says) > 0 && !slices.Contains(says, n.Outcome):
		return &Refusal{Why: fmt.Sprintf("%s needs an outcome, found %q", duty.Name, n.Outcome), Instead: "Give it with --outcome: " + Alternatives(says) + "."}
	case duty.Text && strings.TrimSpace(n.Text) == "":
		return &Refusal{Why: duty.Name + " needs words", Instead: "Say it with --text. No names of patients."}
	case duty.Unit == "" && n.Value != nil:
		return &Refusal{Why: duty.Name + " has no figure", Instead: "Leave --value out, or say it with --text."}
	case duty.Needs && n.Value == nil && n.Outcome != "not done":
		return &Refusal{Why: duty.Name + " needs a figure in " + duty.Unit, Instead: "Give it with --value, as the instrument shows it."}
	case n.Value == nil:
		return nil
	}
	x := *n.Value
	whole := duty.Unit == "cycles" || duty.Unit == "CFU/mL"
	if math.IsNaN(x) || math.IsInf(x, 0) || math.Abs(x) > 1e12 || x < 0 && duty.Unit != "s" || whole && x != math.Trunc(x) {
		return &Refusal{Why: fmt.Sprintf("%g cannot be a figure in %s", x, duty.Unit), Instead: "Read it once more."}
	}
	body.Value, body.Unit = n.Value, duty.Unit
	return nil
}

// noteData checks times and the duty's own fields.
func (r *Records) noteData(ctx context.Context, v *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	if !duty.Span && (!n.From.IsZero() || !n.To.IsZero()) {
		return &Refusal{Why: duty.Name + " has no in and out time", Instead: "Leave --in and --out out; --at says when it was done."}
	}
	if !n.To.IsZero() && (n.From.IsZero() || n.To.Before(n.From)) {
		return &Refusal{Why: "the out time is not after an in time", Instead: "Give both, --in before --out."}
	}
	for _, t := range []time.Time{n.From, n.To} {
		if _, err := r.happened(t); !t.IsZero() && err != nil {
			return err
		}
	}
	treatment := duty.Name == dutyDisinfected || duty.Name == "suction disinfected"
	switch {
	case !treatment && (n.Product != "" || n.Strength != ""):
		return &Refusal{Why: duty.Name + " has no product", Instead: "Leave --product and --concentration out."}
	case treatment && n.Outcome == "done" && n.Product == "":
		return &Refusal{Why: duty.Name + " needs a product", Instead: "Name it with --product, and its strength with --concentration."}
	case duty.Name == dutyDisinfected && n.Outcome == "done" && (n.From.IsZero() || n.Strength == ""):
		return &Refusal{Why: duty.Name + " needs its concentration and its in time", Instead: "Give --concentration, --in and, when it is over, --out."}
	case duty.Name == dutyFile:
		rows, err := logbook.Find[entry.Import](ctx, v, logbook.Filter{Entry: n.File})
		if err != nil {
			return err
		}
		if n.File == 0 || len(rows) == 0 {
			return &Refusal{Why: fmt.Sprintf("entry %d is no imported file", n.File), Instead: "Name it with --entry; holdproof review shows the number."}
		}
		body.Day = rows[0].Said.Day
		if body.Day == "" {
			return &Refusal{Why: fmt.Sprintf("the file of entry %d could be read", n.File), Instead: "Nothing is needed."}
		}
	case n.File != 0:
		return &Refusal{Why: duty.Name + " is not about a file", Instead: "Leave --entry out."}
	}
	if !treatment && duty.Name != dutyFile && duty.Name != dutyExplained {
		return nil
	}
	d := dutyData{Product: n.Product, Strength: n.Strength, Explains: []string{}}
	if duty.Name == dutyExplained {
		check, err := r.explains(ctx, v, body.Cycle, n.Explains)
		if err != nil {
			return err
		}
		d.Explains = append(d.Explains, check)
	}
	if !n.To.IsZero() {
		minutes := n.To.Sub(n.From).Minutes()
		d.ContactMin = &minutes
	}
	if n.File != 0 {
		d.File = &n.File
	}
	var err error
	body.Data, err = plainJSON(d)
	return err
}

// noteClosed refuses a closed day on which a machine ran.
func (r *Records) noteClosed(ctx context.Context, v *logbook.View, _ Noting, duty dutyKind, body *entry.Note) error {
	if duty.Name != dutyClosed {
		if body.Day > r.Today() {
			return &Refusal{Why: dayWords(body.Day) + " lies ahead", Instead: "Enter it when it has been done."}
		}
		return nil
	}
	ran, err := v.Cycles(ctx, logbook.CycleFilter{From: body.Day, To: body.Day})
	if err == nil && len(ran) > 0 {
		err = &Refusal{Why: fmt.Sprintf("on %s %d cycles ran, the first of them %s", dayWords(body.Day), len(ran), r.nameOf(ran[0])), Instead: "Check the day given with --date."}
	}
	return err
}

// afterNote says what a note came to.
func (r *Records) afterNote(body entry.Note) []string {
	var out []string
	duty, _ := dutyNamed(body.Duty)
	switch {
	case duty.Name == dutyDisinfected && body.To.IsZero() && !body.From.IsZero():
		out = append(out, "It is still in. When it is over, add --out with holdproof note --correct.")
	case duty.Name == dutyDisinfected && !body.To.IsZero():
		out = append(out, fmt.Sprintf("Contact time %s min. Compare it with the maker's figure.", shortFigure(math.Floor(body.To.Sub(body.From.Time).Minutes()))))
	case duty.Kind != "" && body.Outcome == "failed":
		out = append(out, "Take the steriliser out of use. Tell the lead.")
	}
	return out
}

func shortFigure(x float64) string { return fmt.Sprintf("%g", x) }

// kindsOfTest are the kinds of cycle that are tests.
var kindsOfTest = []cycle.Kind{cycle.PenetrationTest, cycle.ControlTest, cycle.LeakTest}
