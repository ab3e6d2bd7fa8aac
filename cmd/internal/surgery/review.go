package surgery

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// reviewDays is how far back, from the newest cycle of any machine, cycles are laid
// beside one another and days without a signature are named (ours). What waits on a
// cycle itself is shown however old it is.
const reviewDays = 31

// The kinds of what waits, worst first.
const (
	WaitWindow     = "failed-test" // read as failed, and loads wait for the lead because of it
	WaitRecall     = "recall"
	WaitLoad       = "load"           // failed or not proven, undecided
	WaitTest       = "test"           // failed, not proven or borderline
	WaitFailed     = "failed"         // a duty failed and was not made good
	WaitOutage     = "out-of-service" // a machine is out, with what keeps it out
	WaitSetup      = "no-steriliser"  // the settings name none
	WaitBorderline = "borderline"     // undecided, or waiting for the second person
	WaitIndicator  = "indicator"
	WaitStop       = "repeat" // one number or the same readings twice
	WaitGap        = "gap"
	WaitCounter    = "counter"
	WaitEarly      = "test-before-load"
	WaitOverdue    = "overdue" // a duty of a week, a quarter or a year
	WaitStranger   = "unassigned"
	WaitFile       = "file"
	WaitRerun      = "re-run"
	WaitQuarantine = "quarantine"
	WaitRejected   = "rejected"
	WaitRecord     = "record" // released at the machine, no record has come
	WaitRelease    = "release"
	WaitOpen       = "open"  // begun, and its end or result is still to come
	WaitDrift      = "drift" // a control chart signals
	WaitRevision   = "revision"
	WaitSignature  = "signature"
	WaitEmpty      = "empty" // days with nothing, and nobody said why
)

// waitOrder is the order in which they are shown.
var waitOrder = []string{WaitWindow, WaitRecall, WaitLoad, WaitTest, WaitFailed, WaitOutage, WaitSetup, WaitBorderline, WaitIndicator, WaitStop, WaitGap, WaitCounter, WaitEarly,
	WaitOverdue, WaitStranger, WaitFile, WaitRerun, WaitRejected, WaitQuarantine, WaitRecord, WaitRelease, WaitOpen, WaitDrift, WaitRevision, WaitSignature, WaitEmpty}

// Waiting is one thing that waits for a person.
type Waiting struct {
	Kind        string
	For         []string // roles of which one is needed
	Name        string   // S1 · 1042, a day, a file
	Cycle       string   // key, "" if it is not about one cycle
	Day         string
	Instruction string
	Why         string // a sentence or ""
	Type        string // what to type, without the program's name; "" for nothing
	Outcome     Outcome
	About       string // when and what kind, of a cycle
	Entry       int64  // of a file: that of its import
	Not         string // a person whose it is not although the role is held: who prepared a day does not review it
}

// Review is what waits for whom, worst first.
type Review struct {
	Waiting []Waiting
	From    string // days before this one are not laid side by side here; "" without cycles
	Today   string // the local date
	// Owed is what the routine owes today and nobody did yet, in its order, and what nobody
	// ever entered. What is overdue stands among Waiting.
	Owed []Owed
}

// Bad tells whether anything waits that does not conform.
func (r Review) Bad() bool {
	return slices.ContainsFunc(r.Waiting, func(w Waiting) bool {
		return slices.Contains([]string{WaitWindow, WaitRecall, WaitLoad, WaitTest, WaitFailed, WaitBorderline}, w.Kind)
	})
}

// Review lists it, as of one moment.
func (r *Records) Review(ctx context.Context) (Review, error) {
	var out Review
	err := r.book.Read(ctx, func(v *logbook.View) error {
		from, to, err := r.reviewSpan(ctx, v)
		if err != nil {
			return err
		}
		out.From = from
		w := &waits{r: r, ctx: ctx, v: v, from: from, to: to, stopped: map[string]bool{}}
		for _, look := range []func() error{w.failed, w.recalls, w.machines, w.between, w.cycles, w.owed, w.machine, w.files, w.open, w.drift, w.days} {
			if err := look(); err != nil {
				return err
			}
		}
		slices.SortStableFunc(w.out, func(a, b Waiting) int {
			return cmp.Or(cmp.Compare(slices.Index(waitOrder, a.Kind), slices.Index(waitOrder, b.Kind)),
				-cmp.Compare(rank(a.Outcome.String()), rank(b.Outcome.String())), cmp.Compare(a.Day, b.Day), cmp.Compare(a.Cycle, b.Cycle), cmp.Compare(a.Name, b.Name))
		})
		out.Waiting, out.Owed, out.Today = w.out, w.today, r.Today()
		return nil
	})
	return out, err
}

// reviewSpan is the days that are looked at as days.
func (r *Records) reviewSpan(ctx context.Context, v *logbook.View) (from, to string, err error) {
	for _, s := range r.settings.Value.Sterilisers {
		last, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: s.ID, Newest: true, Limit: 1})
		if err != nil {
			return "", "", err
		}
		if len(last) > 0 {
			to = max(to, last[0].Day)
		}
	}
	if to == "" {
		to = r.Today()
	}
	day, err := time.Parse(time.DateOnly, to)
	return day.AddDate(0, 0, -reviewDays).Format(time.DateOnly), to, err
}

// waits gathers what waits.
type waits struct {
	r        *Records
	ctx      context.Context
	v        *logbook.View
	from, to string
	again    []string        // keys of cycles that failed after a failed one
	stopped  map[string]bool // keys of cycles that a person has to explain before their loads go out
	today    []Owed          // still to be done today, or never entered
	out      []Waiting
}

func (w *waits) add(x Waiting, roles ...string) {
	x.For = roles
	w.out = append(w.out, x)
}

// aboutCycle is what is said of every cycle that waits.
func (w *waits) aboutCycle(c logbook.Cycle, kind string) Waiting {
	outcome, _ := validate.OutcomeNamed(c.Outcome)
	about := c.Start.In(w.r.zone).Format("2 Jan 2006 15:04") + " · " + c.Kind
	if c.Programme != "" && !isTest(c) {
		about += " · " + c.Programme
	}
	out := Waiting{Kind: kind, Name: w.r.nameOf(c), Cycle: c.Key, Day: c.Day, Outcome: outcome, About: about, Instruction: c.Instruction}
	if c.Verdict != nil {
		out.Why = capital(strings.TrimPrefix(whyOf(*c.Verdict), ": "))
	}
	return out
}

// typed is how a person names the cycle on the command line.
func typed(c logbook.Cycle) string {
	if c.Steriliser == "" || c.Number == "" || strings.ContainsAny(c.Steriliser+c.Number, " \"'/") {
		return c.Key
	}
	return c.Steriliser + "/" + c.Number
}

func capital(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

func (w *waits) recalls() error {
	open, err := w.v.Cycles(w.ctx, logbook.CycleFilter{Recalled: true, Verdicts: true})
	if err != nil {
		return err
	}
	for _, c := range open {
		x := w.aboutCycle(c, WaitRecall)
		rows, err := logbook.Find[entry.Recall](w.ctx, w.v, logbook.Filter{Cycle: c.Key, Newest: true, Limit: 1})
		if err != nil {
			return err
		}
		if len(rows) > 0 {
			x.Why = capital(rows[0].Said.Because)
		}
		x.Instruction = toRecall
		x.Type = "decide " + typed(c) + " --close --pack \"PACK=what became of it\""
		w.add(x, roleLead)
	}
	return nil
}

// cycles are those that wait by themselves.
func (w *waits) cycles() error {
	waiting, err := w.waiting()
	if err != nil {
		return err
	}
	toRelease := map[string]*toRelease{}
	for _, c := range waiting {
		if c.Recall == "opened" || c.Recall == "followed" {
			continue
		}
		if !c.Configured {
			x := w.aboutCycle(c, WaitStranger)
			x.Instruction = "Ask the lead to set sterilisers in holdproof.yaml and to run holdproof rejudge."
			x.Why = "Its record names no steriliser of the settings."
			w.add(x, roleLead)
		}
		switch {
		case isTest(c):
			err = w.test(c)
		case c.Outcome == Conforms.String() && c.Decision == "" && c.Release == "":
			err = w.conforming(c, toRelease)
		default:
			err = w.load(c)
		}
		if err != nil {
			return err
		}
	}
	for day, n := range toRelease {
		w.add(Waiting{Kind: WaitRelease, Name: dayWords(day), Day: day, Outcome: Conforms, Instruction: n.words(), Type: "decide --conforming " + day}, enough(ActRelease)...)
	}
	return nil
}

// waiting are the cycles that wait: those that do not conform however old they are, and
// of those that conform the ones since the first day; that older ones wait is one line.
func (w *waits) waiting() ([]logbook.Cycle, error) {
	var out []logbook.Cycle
	for _, o := range []Outcome{Failed, NotProven, Borderline} {
		found, err := w.v.Cycles(w.ctx, logbook.CycleFilter{Waiting: true, Outcome: o.String()})
		if err != nil {
			return nil, err
		}
		out = append(out, found...)
	}
	newer, err := w.v.Cycles(w.ctx, logbook.CycleFilter{Waiting: true, From: w.from})
	if err != nil {
		return nil, err
	}
	for _, c := range newer {
		if c.Outcome == Conforms.String() {
			out = append(out, c)
		}
	}
	day, err := time.Parse(time.DateOnly, w.from)
	if err != nil {
		return nil, err
	}
	const few = 100
	older, err := w.v.Cycles(w.ctx, logbook.CycleFilter{Waiting: true, To: day.AddDate(0, 0, -1).Format(time.DateOnly), Newest: true, Limit: few})
	if i := slices.IndexFunc(older, func(c logbook.Cycle) bool { return c.Outcome == Conforms.String() }); i >= 0 {
		w.add(Waiting{Kind: WaitRelease, Name: dayWords(older[i].Day), Day: older[i].Day, Outcome: Conforms,
			Instruction: "Here and on days before, cycles that conform wait too.", Type: "decide --conforming " + older[i].Day}, enough(ActRelease)...)
	}
	return out, err
}

// load is one load that waits.
func (w *waits) load(c logbook.Cycle) error {
	full, err := w.v.Cycle(w.ctx, c.Key)
	if err != nil {
		return err
	}
	x := w.aboutCycle(full, WaitLoad)
	switch {
	case c.Decision == DoReprocess:
		x.Kind, x.Why = WaitRerun, "It was sent back, and the run it was processed again in is not named."
		x.Instruction, x.Type = toLink, "decide "+typed(c)+" --reprocess --rerun NUMBER"
		w.add(x, enough(ActReprocess)...)
	case c.Decision == DoQuarantine:
		x.Kind, x.Instruction = WaitQuarantine, toDecide
		x.Type = "decide " + typed(c) + " --reprocess"
		w.add(x, roleLead)
	case c.Release == "rejected":
		x.Kind, x.Why = WaitRejected, "It was rejected at the machine."
		x.Instruction, x.Type = toSend, "decide "+typed(c)+" --reprocess"
		w.add(x, enough(ActReprocess)...)
	case c.Outcome == Borderline.String():
		x.Kind, x.Type = WaitBorderline, "decide "+typed(c)+" --release --second PERSON --reason TEXT"
		open, err := proposed(w.ctx, w.v, c)
		if err != nil {
			return err
		}
		if open != nil {
			x.Instruction = "Proposed for release by " + open.By + ". A second person decides."
			x.Type = "decide " + typed(c) + " --release --reason TEXT"
		}
		w.add(x, roleLead)
	default:
		x.Type = "decide " + typed(c) + " --reprocess"
		if slices.Contains(w.again, c.Key) {
			x.Instruction = validate.Instruct(validate.Verdict{Kind: cycle.KindNamed(c.Kind), Findings: []Finding{{Outcome: x.Outcome}}}, true).Sentence
		}
		w.add(x, enough(ActReprocess)...)
	}
	return nil
}

// test is one test that waits; one that was run again and passed since is over.
func (w *waits) test(c logbook.Cycle) error {
	full, err := w.v.Cycle(w.ctx, c.Key)
	if err != nil {
		return err
	}
	x := w.aboutCycle(full, WaitTest)
	why, err := w.r.testState(w.ctx, w.v, c)
	if err != nil || why == "" {
		return err
	}
	reading := "note --duty \"" + dutyReading(c.Kind) + "\" --cycle " + typed(c) + " --outcome "
	switch {
	case c.Outcome == Conforms.String() && !strings.Contains(why, "failed"):
		x.Kind, x.Instruction = WaitIndicator, "Read the indicator: the curve alone never passes this test."
		x.Why, x.Type = "", reading+"passed"
		w.add(x, enough(ActNote)...)
		return nil
	case c.Outcome == Borderline.String() && !strings.Contains(why, "failed"):
		x.Type = reading + "passed"
	default:
		x.Instruction = "Take the steriliser out of use. Tell the lead."
		if strings.Contains(why, "read as failed") {
			x.Why, x.Outcome = "It was read as failed.", Failed
		}
		x.Type = "note --duty \"" + dutyOutOfUse + "\" --steriliser " + c.Steriliser + " --text TEXT"
		better, err := w.passedSince(c)
		if err != nil || better {
			return err
		}
	}
	w.add(x, roleLead)
	return nil
}

// passedSince tells whether a test of the same kind on the machine counts as passed
// after this one.
func (w *waits) passedSince(c logbook.Cycle) (bool, error) {
	later, err := w.v.Cycles(w.ctx, logbook.CycleFilter{Steriliser: c.Steriliser, Kind: c.Kind, From: c.Day})
	if err != nil {
		return false, err
	}
	for _, o := range later {
		if o.Settled && o.Start.After(c.Start.Time) && o.Outcome != Failed.String() && o.Outcome != NotProven.String() {
			return true, nil
		}
	}
	return false, nil
}
