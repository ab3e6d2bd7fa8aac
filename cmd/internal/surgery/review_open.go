package surgery

import (
	"context"
	"fmt"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// Pending is something that was begun and whose end or result is an entry still to come.
type Pending struct {
	Duty   string // of the entry that began it
	Result string // the duty of its result, "" where the entry itself is completed
	Where  string // machine or place
	Entry  int64
	Since  time.Time
	Due    time.Time // when its result is due, zero where that is not known
	By     string    // id
}

// Pending are those that are open: disinfections that were not taken out, spore tests in
// incubation, samples without a count. Oldest first of each.
func (r *Records) Pending(ctx context.Context) ([]Pending, error) {
	var out []Pending
	err := r.book.Read(ctx, func(v *logbook.View) error {
		var err error
		out, err = r.pending(ctx, v)
		return err
	})
	return out, err
}

func (r *Records) pending(ctx context.Context, v *logbook.View) ([]Pending, error) {
	var out []Pending
	in, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Topic: dutyDisinfected})
	if err != nil {
		return nil, err
	}
	for _, row := range in {
		s := row.Said
		if row.Withdrawn || s.From.IsZero() || !s.To.IsZero() || s.Outcome != "done" {
			continue
		}
		p := Pending{Duty: s.Duty, Where: s.Place, Entry: row.Number, Since: s.From.In(r.zone), By: row.By}
		if needs := dataOf(s).NeedsMin; needs != nil {
			p.Due = p.Since.Add(time.Duration(*needs * float64(time.Minute)))
		}
		out = append(out, p)
	}
	for _, of := range duties {
		if of.Of == "" {
			continue
		}
		all, err := startedOnes(ctx, v, of.Of, of.Name)
		if err != nil {
			return nil, err
		}
		for _, s := range all {
			if s.result != 0 {
				continue
			}
			p := Pending{Duty: of.Of, Result: of.Name, Where: s.Said.Steriliser + s.Said.Place, Entry: s.Number, Since: s.At.In(r.zone), By: s.By}
			if !s.Said.From.IsZero() {
				p.Since, p.Due = s.Said.From.In(r.zone), s.ready().In(r.zone)
			}
			out = append(out, p)
		}
	}
	return out, nil
}

// open adds what was begun and is not over: when it is due, what to do.
func (w *waits) open() error {
	all, err := w.r.pending(w.ctx, w.v)
	if err != nil {
		return err
	}
	for _, p := range all {
		now := w.r.Now()
		x := Waiting{Kind: WaitOpen, Name: p.Where, Day: w.r.localDay(p.Since), Outcome: validate.NotAssessed}
		switch {
		case p.Result == "":
			x.Instruction = "Take the disinfectant out and enter when."
			x.Type = fmt.Sprintf("note --correct %d --out TIME", p.Entry)
			x.Why = "It is in the lines since " + w.r.clockWords(p.Since)
		case p.Duty == dutySporeIn:
			x.Instruction = "Read the spore test and its control."
			x.Type = fmt.Sprintf("note --duty %q --entry %d --outcome OUTCOME --control CONTROL", p.Result, p.Entry)
			x.Why = "A spore test is in incubation since " + w.r.clockWords(p.Since)
		default:
			x.Instruction = "Enter the count when the laboratory's result comes."
			x.Type = fmt.Sprintf("note --duty %q --entry %d --value COUNT", p.Result, p.Entry)
			x.Why = "A water sample was taken on " + dayWords(x.Day)
		}
		switch {
		case p.Due.IsZero():
		case now.Before(p.Due):
			x.Why += " and is due at " + w.r.clockWords(p.Due)
			x.Instruction = "Not due yet. " + x.Instruction
		default:
			x.Why += " and was due at " + w.r.clockWords(p.Due)
		}
		x.Why += fmt.Sprintf(" (entry %d).", p.Entry)
		w.add(x, enough(ActNote)...)
	}
	return nil
}
