package surgery

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// noteSays checks outcome, figure and words.
func (r *Records) noteSays(_ context.Context, _ *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	says := duty.says()
	switch {
	case len(says) == 0 && n.Outcome != "":
		return &Refusal{Why: duty.Name + " has no outcome", Instead: "Leave --outcome out.", Field: "outcome"}
	case len(says) > 0 && !slices.Contains(says, n.Outcome) && !(duty.Judge && n.Outcome == ""):
		return &Refusal{Why: fmt.Sprintf("%s needs an outcome, found %q", duty.Name, n.Outcome), Instead: "Give it with --outcome: " + Alternatives(says) + ".", Field: "outcome"}
	case duty.Text && strings.TrimSpace(n.Text) == "":
		return &Refusal{Why: duty.Name + " needs words", Instead: "Say it with --text. No names of patients.", Field: "text"}
	case duty.Unit == "" && n.Value != nil:
		return &Refusal{Why: duty.Name + " has no figure", Instead: "Leave --value out, or say it with --text.", Field: "value"}
	case duty.Needs && n.Value == nil && n.Outcome != "not done":
		return &Refusal{Why: duty.Name + " needs a figure in " + duty.Unit, Instead: "Give it with --value, as the instrument shows it.", Field: "value"}
	case n.Times != 0 && !duty.asks(asksTimes):
		return &Refusal{Why: duty.Name + " is not counted", Instead: "Leave --times out.", Field: "times"}
	case n.Times < 0 || n.Times > mostTimes || n.Times != 0 && n.Outcome == "not done":
		return &Refusal{Why: fmt.Sprintf("%d times cannot be", n.Times), Instead: fmt.Sprintf("Give how often it was done with --times, at most %d.", mostTimes), Field: "times"}
	case n.Value == nil:
		return nil
	}
	x := *n.Value
	whole := duty.Unit == "cycles" || duty.Unit == "CFU/mL"
	if math.IsNaN(x) || math.IsInf(x, 0) || math.Abs(x) > 1e12 || x < 0 && duty.Unit != "s" || whole && x != math.Trunc(x) ||
		duty.Name == dutySporeIn && (x == 0 || x > mostIncubation) {
		return &Refusal{Why: fmt.Sprintf("%g cannot be a figure in %s", x, duty.Unit), Instead: "Read it once more.", Field: "value"}
	}
	body.Value, body.Unit = n.Value, duty.Unit
	return nil
}

// What nobody does or waits for (ours).
const (
	mostTimes      = 200 // patients of a chair in a day
	mostIncubation = 240 // h
)

// noteTimes checks in and out. Without a day of its own a note belongs to the day on
// which it went in.
func (r *Records) noteTimes(_ context.Context, _ *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	if !duty.asks(asksSpan) && (!n.From.IsZero() || !n.To.IsZero()) {
		return &Refusal{Why: duty.Name + " has no in and out time", Instead: "Leave --in and --out out; --at says when it was done.", Field: "in"}
	}
	if duty.Name == dutySporeIn && !n.To.IsZero() {
		return &Refusal{Why: duty.Name + " has no out time", Instead: "Its result is an entry of its own: --duty \"" + dutySporeRead + "\".", Field: "out"}
	}
	if !n.To.IsZero() && (n.From.IsZero() || n.To.Before(n.From)) {
		return &Refusal{Why: "the out time is not after an in time", Instead: "Give both, --in before --out.", Field: "out"}
	}
	for _, t := range []struct {
		field string
		at    entry.Time
	}{{"in", body.From}, {"out", body.To}} {
		if _, err := r.happened(t.at.Time); !t.at.IsZero() && err != nil {
			return inField(err, t.field)
		}
	}
	if duty.asks(asksIn) && n.From.IsZero() && n.Outcome != "not done" {
		return &Refusal{Why: duty.Name + " needs its in time", Instead: "Give it with --in and, when it is over, --out.", Field: "in"}
	}
	if n.Day == "" && !n.From.IsZero() {
		body.Day = r.localDay(n.From)
	}
	return nil
}

// inField says which field a refusal is about, where it does not say so itself.
func inField(err error, field string) error {
	if no, is := err.(*Refusal); is && no.Field == "" {
		with := *no
		with.Field = field
		return &with
	}
	return err
}

// noteData settles the fields that only some duties have.
func (r *Records) noteData(ctx context.Context, v *logbook.View, n Noting, duty dutyKind, body *entry.Note) error {
	if err := noOther(n, duty); err != nil {
		return err
	}
	d := dutyData{Product: strings.TrimSpace(n.Product), Strength: strings.TrimSpace(n.Strength), Explains: []string{}, Times: n.Times, Row: n.row}
	x := &noting{r: r, ctx: ctx, v: v, n: n, duty: duty, body: body, data: &d}
	var err error
	switch duty.Name {
	case dutyDisinfected, dutySuction:
		err = x.disinfected()
	case dutyFile:
		err = x.file()
	case dutyExplained:
		var check string
		check, err = r.explains(ctx, v, body.Cycle, n.Explains)
		d.Explains = append(d.Explains, check)
	case dutyCount:
		err = x.counted()
	case dutySporeRead:
		err = x.sporesRead()
	case dutyVisit:
		err = x.visited()
	case dutyOutOfUse:
		err = x.outOfUse()
	case dutyBackInUse:
		err = x.backInUse()
	}
	if err == nil && d.said() {
		body.Data, err = plainJSON(d)
	}
	return err
}

// noOther refuses fields that the duty does not have.
func noOther(n Noting, duty dutyKind) error {
	for _, o := range []struct {
		given         bool
		what          asks
		why, flag, in string
	}{
		{n.Product != "" || n.Strength != "", asksProduct, "has no product", "--product and --concentration", "product"},
		{n.File != 0, asksFile, "is not about a file", "--entry", "entry"},
		{n.Sampled != "", asksSampled, "has no day of a sample", "--sampled", "sampled"},
		{n.Control != "", asksControl, "has no control", "--control", "control"},
		{len(n.Tests) > 0, asksTests, "owes no tests", "--test", "test"},
	} {
		if o.given && !duty.asks(o.what) {
			return &Refusal{Why: duty.Name + " " + o.why, Instead: "Leave " + o.flag + " out.", Field: o.in}
		}
	}
	if n.Of != 0 && duty.Of == "" {
		return &Refusal{Why: duty.Name + " is not the result of another entry", Instead: "Leave --entry out.", Field: "entry"}
	}
	return nil
}

// noting is one note while its own fields are settled.
type noting struct {
	r    *Records
	ctx  context.Context
	v    *logbook.View
	n    Noting
	duty dutyKind
	body *entry.Note
	data *dutyData
}

// file settles the file that could not be read.
func (x *noting) file() error {
	rows, err := logbook.Find[entry.Import](x.ctx, x.v, logbook.Filter{Entry: x.n.File})
	if err != nil {
		return err
	}
	if x.n.File == 0 || len(rows) == 0 {
		return &Refusal{Why: fmt.Sprintf("entry %d is no imported file", x.n.File), Instead: "Name it with --entry; holdproof review shows the number.", Field: "entry"}
	}
	x.body.Day, x.data.File = rows[0].Said.Day, &x.n.File
	if x.body.Day == "" {
		return &Refusal{Why: fmt.Sprintf("the file of entry %d could be read", x.n.File), Instead: "Nothing is needed.", Field: "entry"}
	}
	return nil
}
