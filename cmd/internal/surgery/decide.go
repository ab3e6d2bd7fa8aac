package surgery

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// What is decided about a load, as entries name it.
const (
	DoRelease    = "release"
	DoQuarantine = "quarantine"
	DoReprocess  = "reprocess"
	DoUsed       = "already-used"
	DoPropose    = "propose" // the first half of a borderline release
	DoRecall     = "recall"  // opened, followed, closed
	DoFollow     = "follow"
	DoClose      = "close"
)

// doing are the acts on a kept cycle.
var doing = map[string]Act{DoRelease: ActRelease, DoPropose: ActRelease, DoQuarantine: ActQuarantine, DoReprocess: ActReprocess,
	DoUsed: ActUsed, DoRecall: ActRecall, DoFollow: ActFollow, DoClose: ActClose}

// dutyProposed is the note that holds the first half of a borderline release.
const dutyProposed = "release proposed"

// Sight is how a cycle stood when a person looked at it: the numbers of the entries
// that counted. An act on a cycle that stands otherwise by then is refused.
type Sight struct {
	Key                                string
	Verdict, Release, Decision, Recall int64
}

// SightOf returns how the cycle stands.
func SightOf(c logbook.Cycle) Sight {
	return Sight{c.Key, c.VerdictEntry, c.ReleaseEntry, c.DecisionEntry, c.RecallEntry}
}

// Deciding is a decision on loads, one entry each, all or none.
type Deciding struct {
	Do      string
	Cycles  []string // as people name them; see [Records.Cycle]
	Seen    []Sight  // how they stood; nil: as they stand when Decide is called
	By      Proof
	Second  Proof // for a borderline load; Person "" if there is none
	Reason  string
	Rerun   string // the run a load was processed again in, as people name it; "" if it is not known yet
	Packs   []entry.Pack
	At      time.Time // zero: now
	Machine *AtMachine
	Sure    bool // as in [Noting]

	proposals map[string]logbook.Row[entry.Note] // by key
}

// Decided is one load and what was done with it.
type Decided struct {
	Name, Key string
	Entry     int64
	Recall    bool   // a recall was opened
	Waits     string // what is still to be done, a sentence; "" for nothing
}

// Decide does it.
//
// Errors: a [*Refusal], with what is allowed instead; [logbook.ErrStale] when
// somebody else acted since the cycle was seen; [seal.ErrPassphrase].
func (r *Records) Decide(ctx context.Context, d Deciding) ([]Decided, error) {
	act, known := doing[d.Do]
	if !known || len(d.Cycles) == 0 {
		return nil, fmt.Errorf("a decision needs cycles and what to do with them, found %q", d.Do)
	}
	at, err := r.happened(d.At)
	if err != nil {
		return nil, err
	}
	seen, err := r.decidable(ctx, &d, at)
	if err != nil {
		return nil, err
	}
	by, err := r.prove(ctx, d.By, act, at)
	if err != nil {
		return nil, err
	}
	var second proven
	if d.Second.Person != "" {
		if second, err = r.prove(ctx, d.Second, ActSecond, at); err != nil {
			return nil, err
		}
	}
	var out []Decided
	err = r.write(ctx, func(b *logbook.Batch) error {
		out = nil
		for _, s := range seen {
			c, err := r.unmovedCycle(ctx, b.View, s)
			if err != nil {
				return err
			}
			if _, err := r.entitled(ctx, b.View, by.Person.Person, act, at); err != nil {
				return err
			}
			if err := r.allowed(ctx, b.View, &d, c, at); err != nil {
				return err
			}
			done, err := r.decideOne(ctx, b, d, c, by, second, at)
			if err != nil {
				return err
			}
			out = append(out, done)
		}
		return nil
	})
	return out, err
}

// decidable finds the cycles, and returns how they stand if the rules let the act be
// done on all of them.
func (r *Records) decidable(ctx context.Context, d *Deciding, at time.Time) (seen []Sight, err error) {
	err = r.book.Read(ctx, func(v *logbook.View) error {
		cycles, err := r.cyclesNamed(ctx, v, d.Cycles)
		if err != nil {
			return err
		}
		if seen, err = d.seen(cycles); err != nil {
			return err
		}
		d.proposals = map[string]logbook.Row[entry.Note]{}
		if err := r.noPatient(ctx, v, d.Sure || d.Machine != nil, d.words()...); err != nil {
			return err
		}
		for _, c := range cycles {
			if err := r.allowed(ctx, v, d, c, at); err != nil {
				return err
			}
		}
		return nil
	})
	return seen, err
}

// words are the texts of a decision.
func (d Deciding) words() []string {
	out := []string{d.Reason}
	for _, p := range d.Packs {
		out = append(out, p.Pack, p.Became)
	}
	return out
}

// cyclesNamed finds all the cycles named, each once.
func (r *Records) cyclesNamed(ctx context.Context, v *logbook.View, names []string) ([]logbook.Cycle, error) {
	var out []logbook.Cycle
	for _, name := range names {
		c, err := cycleNamed(ctx, v, name)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(out, func(o logbook.Cycle) bool { return o.Key == c.Key }) {
			out = append(out, c)
		}
	}
	return out, nil
}

// seen compares how the cycles stand with how the person saw them.
func (d Deciding) seen(cycles []logbook.Cycle) ([]Sight, error) {
	var out []Sight
	for _, c := range cycles {
		now := SightOf(c)
		if d.Seen != nil && !slices.Contains(d.Seen, now) {
			return nil, fmt.Errorf("%s is not as it was shown: %w", c.Key, logbook.ErrStale)
		}
		out = append(out, now)
	}
	return out, nil
}

// unmovedCycle returns the cycle if it stands as it was seen.
func (r *Records) unmovedCycle(ctx context.Context, v *logbook.View, s Sight) (logbook.Cycle, error) {
	c, err := v.Cycle(ctx, s.Key)
	if err != nil {
		return c, err
	}
	if c.ContinuedBy != "" || SightOf(c) != s {
		return c, fmt.Errorf("%s is not as it was shown: %w", r.nameOf(c), logbook.ErrStale)
	}
	return c, nil
}

// IsStale tells whether an act was refused because somebody else acted first.
func IsStale(err error) bool { return errors.Is(err, logbook.ErrStale) }

// isTest tells whether a cycle is a test and no load.
func isTest(c logbook.Cycle) bool {
	return c.Kind != cycle.Load.String()
}

// allowed returns nil if the rules let the act be done on the cycle, whoever does it.
func (r *Records) allowed(ctx context.Context, v *logbook.View, d *Deciding, c logbook.Cycle, at time.Time) error {
	name := r.nameOf(c)
	if isTest(c) && (d.Do == DoRelease || d.Do == DoPropose || d.Do == DoQuarantine || d.Do == DoReprocess) {
		return &Refusal{Why: name + " is an entry of a test and not of a load: " + c.Kind,
			Instead: "What a test showed is entered with holdproof note. If a load stood in the chamber and went out, say --already-used."}
	}
	if !d.At.IsZero() && at.Before(c.Start.Time) { // now may lie before, if the recorder's clock is ahead
		return &Refusal{Why: fmt.Sprintf("%s began at %s, and this is dated before", name, c.Start.In(r.zone).Format("2 Jan 2006 15:04")), Instead: "Correct the time given with --at."}
	}
	switch d.Do {
	case DoRelease, DoPropose:
		return r.releasable(ctx, v, d, c)
	case DoReprocess:
		return r.rerunOf(ctx, v, d, c)
	case DoUsed:
		if c.Decision == DoUsed {
			return &Refusal{Why: name + " is entered as already used", Instead: "Nothing more is needed. Follow the recall with --follow."}
		}
	case DoRecall, DoFollow, DoClose:
		return r.recallable(ctx, v, d, c)
	case DoQuarantine:
		if c.Decision == DoQuarantine {
			return &Refusal{Why: name + " is in quarantine already", Instead: "The lead decides about it: --release or --reprocess."}
		}
	}
	return nil
}

// rerunOf checks the run a load was processed again in.
func (r *Records) rerunOf(ctx context.Context, v *logbook.View, d *Deciding, c logbook.Cycle) error {
	if c.Decision == DoReprocess && d.Rerun == "" {
		return &Refusal{Why: r.nameOf(c) + " was sent back already", Instead: "Name the run it was processed again in with --rerun."}
	}
	if d.Rerun == "" {
		return nil
	}
	again, err := cycleNamed(ctx, v, d.Rerun)
	switch {
	case err != nil:
		return &Refusal{Why: err.Error(), Instead: "Leave --rerun out now, and name the run when its record has been imported."}
	case isTest(again):
		return &Refusal{Why: fmt.Sprintf("%s is a %s and no load", r.nameOf(again), again.Kind), Instead: "Name the run the load was processed again in."}
	case !again.Start.After(c.Start.Time):
		return &Refusal{Why: fmt.Sprintf("%s did not run after %s", r.nameOf(again), r.nameOf(c)), Instead: "Name the run the load was processed again in."}
	}
	return nil
}

// decideOne adds the entries of one load.
func (r *Records) decideOne(ctx context.Context, b *logbook.Batch, d Deciding, c logbook.Cycle, by, second proven, at time.Time) (Decided, error) {
	out := Decided{Name: r.nameOf(c), Key: c.Key}
	add := func(body entry.Body) (err error) {
		out.Entry, err = b.Add(entry.Draft{At: at, By: by.Person.Person, Proved: by.how, Reason: d.Reason, Body: body})
		return err
	}
	open := c.Recall == "opened" || c.Recall == "followed"
	switch d.Do {
	case DoPropose:
		out.Waits = "It needs a second person: holdproof decide " + typed(c) + " --release --by PERSON."
		data, err := plainJSON(proposal{Verdict: c.VerdictEntry})
		if err != nil {
			return out, err
		}
		return out, add(entry.Note{Duty: dutyProposed, Day: c.Day, Steriliser: c.Steriliser, Cycle: c.Key, Text: d.Reason, Data: data})
	case DoRecall, DoFollow, DoClose:
		body, err := r.recallBody(ctx, b.View, d, c)
		if err != nil {
			return out, err
		}
		out.Recall = d.Do == DoRecall
		return out, add(body)
	}
	if d.Machine != nil && (d.Machine.said() || d.Do == DoRelease && c.ReleaseEntry == 0) {
		if err := add(d.Machine.body(c.Key, c.Day, "released", !open)); err != nil {
			return out, err
		}
	}
	body := entry.Decision{Cycle: c.Key, Day: c.Day, Act: d.Do, Verdict: entry.Ref(c.VerdictEntry),
		Second: second.Person.Person, SecondProved: second.how}
	if p, is := d.proposals[c.Key]; is && second.Person.Person == "" {
		body.Second, body.SecondProved = p.By, fmt.Sprintf("%s, entry %d", p.Proved, p.Number)
	}
	if d.Rerun != "" {
		again, err := cycleNamed(ctx, b.View, d.Rerun)
		if err != nil {
			return out, err
		}
		body.Rerun = again.Key
	}
	opens := d.Do == DoUsed && c.Outcome != Conforms.String() && !open
	body.Settled = !opens && !open && (d.Do == DoRelease || d.Do == DoUsed || d.Do == DoReprocess && body.Rerun != "")
	switch {
	case d.Do == DoQuarantine:
		out.Waits = "It stays in quarantine until the lead decides."
	case d.Do == DoReprocess && body.Rerun == "":
		out.Waits = "When its new run has been imported, link the two: holdproof decide " + typed(c) + " --reprocess --rerun NUMBER."
	case opens:
		out.Waits = "A recall was opened. Find every pack; the lead closes it with what became of each."
	}
	if err := add(body); err != nil || !opens {
		return out, err
	}
	out.Recall = true
	because := fmt.Sprintf("it was used already, and the record is %s%s", c.Outcome, whyOf(*c.Verdict))
	n := out.Entry
	err := add(entry.Recall{Cycle: c.Key, Day: c.Day, Act: "opened", Because: because, Packs: packsOf(d.Packs)})
	out.Entry = n
	return out, err
}

// proposal is the data of a proposed release: the verdict it was made on.
type proposal struct {
	Verdict int64 `json:"verdict"`
}

func packsOf(p []entry.Pack) []entry.Pack {
	if p == nil {
		return []entry.Pack{}
	}
	return p
}

// who names people in a sentence.
func who(ids ...string) string { return strings.Join(ids, " and ") }
