package surgery

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// releasable returns nil if the load may be released: its record conforms, or is
// borderline and two people say why; nothing about it waits; it was not rejected,
// used, sent back or recalled.
func (r *Records) releasable(ctx context.Context, v *logbook.View, d *Deciding, c logbook.Cycle) error {
	name := r.nameOf(c)
	switch c.Outcome {
	case Conforms.String():
		if d.Do == DoPropose {
			return &Refusal{Why: name + " conforms, and its release needs one person", Instead: "Release it with --release."}
		}
	case Borderline.String():
		if err := r.borderline(ctx, v, d, c); err != nil {
			return err
		}
	default:
		return &Refusal{Why: fmt.Sprintf("%s is not released: its record is %s%s", name, c.Outcome, whyOf(*c.Verdict)),
			Instead: "Repack it and run it again. Enter --quarantine or --reprocess; if it went out already, say --already-used."}
	}
	if !c.Configured {
		return &Refusal{Why: name + " is not released: its record names no steriliser of the settings, so it was judged without those of its machine",
			Instead: "Ask the lead to set sterilisers in holdproof.yaml and to run holdproof rejudge."}
	}
	if err := r.undone(ctx, v, c); err != nil {
		return err
	}
	at := d.At
	if at.IsZero() {
		at = r.Now()
	}
	if err := r.inService(ctx, v, c.Steriliser, name, c.Start.Time, at, d.Reason); err != nil {
		return err
	}
	return r.explained(ctx, v, c)
}

// explained returns nil if nothing between the cycles stands against a release, and the
// tests of the day that ran before the load passed.
func (r *Records) explained(ctx context.Context, v *logbook.View, c logbook.Cycle) error {
	name := r.nameOf(c)
	waiting, err := r.stops(ctx, v, c)
	if err != nil {
		return err
	}
	for _, a := range waiting {
		note, err := r.explanation(ctx, v, a)
		if err != nil {
			return err
		}
		if note == nil {
			return &Refusal{Why: name + " is not released: " + a.Message,
				Instead: "Find out which record belongs to which load. Then enter it: holdproof note --duty \"" + dutyExplained + "\" --cycle " + c.Key + " --explains " + a.Check + " --text TEXT. Until then --quarantine."}
		}
	}
	day, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: c.Steriliser, From: c.Day, To: c.Day})
	if err != nil {
		return err
	}
	return r.testsPassed(ctx, v, c, day)
}

// undone returns nil if nothing that was done with the load stands against its release.
func (r *Records) undone(ctx context.Context, v *logbook.View, c logbook.Cycle) error {
	name := r.nameOf(c)
	people, err := names(ctx, v)
	if err != nil {
		return err
	}
	whose := func(n int64) string {
		rows, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Entry: n})
		if err != nil || len(rows) == 0 || rows[0].By == "" {
			return fmt.Sprintf("entry %d", n)
		}
		return fmt.Sprintf("%s, entry %d", cmp.Or(people[rows[0].By], rows[0].By), n)
	}
	switch {
	case c.Recall == "opened" || c.Recall == "followed":
		return &Refusal{Why: name + " is being recalled", Instead: "The lead closes the recall with what became of each pack: --close."}
	case c.Decision == DoRelease:
		return &Refusal{Why: fmt.Sprintf("%s is released already (%s)", name, whose(c.DecisionEntry)), Instead: "Nothing more is needed."}
	case c.Decision == DoReprocess:
		return &Refusal{Why: fmt.Sprintf("%s was sent back to be processed again (%s)", name, whose(c.DecisionEntry)),
			Instead: "Release its new run. If the entry is wrong, withdraw it with holdproof note --correct."}
	case c.Decision == DoUsed:
		return &Refusal{Why: fmt.Sprintf("%s was used already (%s)", name, whose(c.DecisionEntry)), Instead: "If the entry is wrong, withdraw it with holdproof note --correct."}
	case c.Release == "rejected":
		return &Refusal{Why: fmt.Sprintf("%s was rejected at the machine (%s)", name, whose(c.ReleaseEntry)),
			Instead: "Send it back with --reprocess. If the entry is wrong, withdraw it with holdproof note --correct."}
	}
	return nil
}

// borderline returns nil if two people and a reason stand behind the release.
func (r *Records) borderline(ctx context.Context, v *logbook.View, d *Deciding, c logbook.Cycle) error {
	name := r.nameOf(c)
	if strings.TrimSpace(d.Reason) == "" {
		return &Refusal{Why: name + " is borderline" + whyOf(*c.Verdict) + ", and no reason is given", Instead: "Give the reason with --reason, or put the load in quarantine with --quarantine."}
	}
	if d.Do == DoPropose {
		return nil
	}
	other := d.Second.Person
	if other == "" {
		open, err := proposed(ctx, v, c)
		if err != nil {
			return err
		}
		if open != nil && open.By != d.By.Person {
			other = open.By
			d.proposals[c.Key] = *open
		}
	}
	if other == "" || other == d.By.Person {
		return &Refusal{Why: name + " is borderline" + whyOf(*c.Verdict) + ", and its release needs a second person",
			Instead: "Name the other person with --second, or enter your half with --propose. If nobody else is there, put it in quarantine until tomorrow with --quarantine."}
	}
	for _, id := range []string{d.By.Person, other} {
		p, err := person(ctx, v, id)
		if err != nil {
			return err
		}
		if holds(p, roleLead, r.Today()) {
			return nil
		}
	}
	return &Refusal{Why: fmt.Sprintf("%s is borderline, and neither of %s is lead", name, who(d.By.Person, other)),
		Instead: "One of the two must be a lead. If none is there, put it in quarantine until tomorrow with --quarantine."}
}

// proposed returns the newest proposal to release that was made on the verdict which
// counts, nil if there is none.
func proposed(ctx context.Context, v *logbook.View, c logbook.Cycle) (*logbook.Row[entry.Note], error) {
	rows, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Cycle: c.Key, Topic: dutyProposed, Newest: true})
	if err != nil {
		return nil, err
	}
	for i := range rows {
		var p proposal
		if json.Unmarshal(rows[i].Said.Data, &p) == nil && p.Verdict == c.VerdictEntry && rows[i].Number > c.DecisionEntry {
			return &rows[i], nil
		}
	}
	return nil, nil
}

// testsPassed returns nil if no test of the machine on that day, run before the load,
// failed, is unproven, or waits for what its indicator showed. Day are the machine's
// cycles of the day. That a test was owed
// and not run at all is said by the day and does not stop a load here.
func (r *Records) testsPassed(ctx context.Context, v *logbook.View, c logbook.Cycle, day []logbook.Cycle) error {
	for _, kind := range kindsOfTest {
		var last *logbook.Cycle
		for i, o := range day {
			if o.Kind == kind.String() && o.Start.Before(c.Start.Time) && (last == nil || o.Start.After(last.Start.Time)) {
				last = &day[i]
			}
		}
		if last == nil {
			continue
		}
		why, err := r.testState(ctx, v, *last)
		if err != nil {
			return err
		}
		if why != "" {
			return &Refusal{Why: fmt.Sprintf("%s is not released: the %s %s of that day %s", r.nameOf(c), last.Kind, r.nameOf(*last), why),
				Instead: "Enter what the test showed with holdproof note, or run it again. Until then --quarantine."}
		}
	}
	return nil
}

// testState says why a test does not count as passed, "" if it does.
func (r *Records) testState(ctx context.Context, v *logbook.View, c logbook.Cycle) (string, error) {
	rows, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Cycle: c.Key})
	if err != nil {
		return "", err
	}
	read := ""
	if n := readingsOf(rows)[c.Key]; n != nil {
		read = n.Said.Outcome
	}
	switch {
	case read == "failed":
		return "was read as failed", nil
	case c.Outcome == Failed.String() || c.Outcome == NotProven.String():
		return "is " + c.Outcome, nil
	case read == "passed":
		return "", nil
	case c.Kind == cycle.PenetrationTest.String():
		return "waits for what its indicator showed", nil
	case c.Outcome == Borderline.String():
		return "is borderline and waits for the lead", nil
	}
	return "", nil
}

// AtMachine is what a person did at the machine, on its display and the packs'
// indicators, maybe before the record came.
type AtMachine struct {
	Steriliser, Number string
	Day                string // local date of the cycle
	Rejected           bool
	Load               entry.Load
	Indicator          string // passed, failed, not used; "": not said
	Dry, Sealed        *bool
	Labelled           *bool
	Text               string
	Sure               bool // the person looked again: what was asked about is as entered; see [Noting]
}

// said tells whether more than the bare release was entered.
func (m AtMachine) said() bool {
	return m.Load != entry.Load{} || m.Indicator != "" || m.Dry != nil || m.Sealed != nil || m.Labelled != nil || m.Text != ""
}

func (m AtMachine) body(key, day, act string, settled bool) entry.Release {
	return entry.Release{Cycle: key, Steriliser: m.Steriliser, Number: m.Number, Day: day, Act: act, Load: m.Load,
		Indicator: m.Indicator, Dry: m.Dry, Sealed: m.Sealed, Labelled: m.Labelled, Text: m.Text, Settled: settled}
}

// ReleaseAtMachine enters a release or a rejection made at the machine. If the record
// of the cycle is there, a release is a decision on it, with its rules; if it comes
// later and does not conform, a recall opens by itself.
func (r *Records) ReleaseAtMachine(ctx context.Context, m AtMachine, by, second Proof, reason string, at time.Time) (Decided, error) {
	name := r.calls(entry.Verdict{Steriliser: m.Steriliser, Number: m.Number})
	if m.Day == "" {
		m.Day = r.Today()
	}
	if err := r.checkMachine(m); err != nil {
		return Decided{}, err
	}
	if err := r.settleLoad(ctx, r.book.View, &m, reason); err != nil {
		return Decided{}, err
	}
	cycles, err := r.book.Cycles(ctx, logbook.CycleFilter{Steriliser: m.Steriliser, Number: m.Number, From: m.Day, To: m.Day})
	if err != nil {
		return Decided{}, err
	}
	if len(cycles) > 1 {
		return Decided{}, &Refusal{Why: fmt.Sprintf("%d cycles of %s are called %s", len(cycles), dayWords(m.Day), name), Instead: "Name the cycle by its id: holdproof review shows it."}
	}
	if len(cycles) == 1 && !m.Rejected {
		if err := r.doubts(ctx, r.book.View, m, true); err != nil {
			return Decided{}, err
		}
		done, err := r.Decide(ctx, Deciding{Do: DoRelease, Cycles: []string{cycles[0].Key}, By: by, Second: second, Reason: reason, At: at, Machine: &m})
		if err != nil {
			return Decided{}, err
		}
		done[0].Waits = joined(done[0].Waits, m.unsaid())
		return done[0], nil
	}
	return r.withoutRecord(ctx, m, cycles, by, reason, at)
}

// withoutRecord enters what was done at the machine as it was said: a rejection, or a
// release whose record has not come. Cycles are those of that number, as they stood.
func (r *Records) withoutRecord(ctx context.Context, m AtMachine, cycles []logbook.Cycle, by Proof, reason string, at time.Time) (Decided, error) {
	name := r.calls(entry.Verdict{Steriliser: m.Steriliser, Number: m.Number})
	at, err := r.happened(at)
	if err != nil {
		return Decided{}, err
	}
	act, word := ActRelease, "released"
	if m.Rejected {
		act, word = ActReject, "rejected"
	}
	if err := r.mayEnter(ctx, r.book.View, m, name, at, reason); err != nil {
		return Decided{}, err
	}
	if err := r.doubts(ctx, r.book.View, m, len(cycles) > 0); err != nil {
		return Decided{}, err
	}
	who, err := r.prove(ctx, by, act, at)
	if err != nil {
		return Decided{}, err
	}
	out := Decided{Name: name}
	err = r.write(ctx, func(b *logbook.Batch) error {
		if err := r.mayEnter(ctx, b.View, m, name, at, reason); err != nil {
			return err
		}
		now, err := b.Cycles(ctx, logbook.CycleFilter{Steriliser: m.Steriliser, Number: m.Number, From: m.Day, To: m.Day})
		if err != nil {
			return err
		}
		if len(now) != len(cycles) {
			return fmt.Errorf("the record of %s came meanwhile: %w", name, logbook.ErrStale)
		}
		body := m.body("", m.Day, word, false)
		if len(now) == 1 { // rejected, with its record there
			if now[0].Decision == DoRelease || now[0].Decision == DoUsed {
				return &Refusal{Why: name + " went out already", Instead: "Call it back: holdproof decide " + now[0].Key + " --recall --reason TEXT."}
			}
			body.Cycle = now[0].Key
			out.Key = now[0].Key
		}
		out.Entry, err = b.Add(entry.Draft{At: at, By: who.Person.Person, Proved: who.how, Reason: reason, Body: body})
		return err
	})
	if out.Key == "" && !m.Rejected {
		out.Waits = joined("Its record has not come yet. If it does not conform, a recall opens by itself.", m.unsaid())
	}
	return out, err
}

func (r *Records) checkMachine(m AtMachine) error {
	if err := checkDay(m.Day); err != nil {
		return err
	}
	var ids []string
	for _, s := range r.settings.Value.Sterilisers {
		ids = append(ids, s.ID)
	}
	no := func(is *bool) bool { return is != nil && !*is }
	switch {
	case !slices.Contains(ids, m.Steriliser):
		return &Refusal{Why: fmt.Sprintf("no steriliser %q is in the settings", m.Steriliser), Instead: machinesThereAre(ids)}
	case m.Number == "":
		return &Refusal{Why: "the number of the cycle is missing", Instead: "Read it on the machine and give it with --number: it is the link to the record."}
	case m.Day > r.Today():
		return &Refusal{Why: dayWords(m.Day) + " lies ahead", Instead: "Enter it when it has been done."}
	case m.Rejected:
	case m.Indicator == "failed", no(m.Dry), no(m.Sealed):
		return &Refusal{Why: "packs that are wet or not sealed, or whose indicator did not change, are not released",
			Instead: "Enter --reject instead of --release, repack the load and run it again."}
	}
	return nil
}

func machinesThereAre(ids []string) string {
	if len(ids) == 0 {
		return "Add it under sterilisers in holdproof.yaml."
	}
	return "Name one with --steriliser: " + Alternatives(ids) + "."
}

// notEntered refuses to enter the same release at the machine twice.
func (r *Records) notEntered(ctx context.Context, v *logbook.View, m AtMachine, name string) error {
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Steriliser: m.Steriliser, Number: m.Number, From: m.Day, To: m.Day})
	if err != nil || len(rows) == 0 {
		return err
	}
	was := rows[len(rows)-1]
	return &Refusal{Why: fmt.Sprintf("%s of %s is entered as %s by %s already (entry %d)", name, dayWords(m.Day), was.Said.Act, was.By, was.Number),
		Instead: "If that is wrong, withdraw it first: holdproof note --correct " + fmt.Sprint(was.Number) + " --withdraw --reason TEXT."}
}
