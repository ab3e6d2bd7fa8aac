package surgery

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// errMoved says that somebody else wrote cycles of the same start while a file was
// read: it is read again, and finds them.
var errMoved = errors.New("the logbook moved on")

// keptProblem is how a problem of a file stands in its import entry.
type keptProblem struct {
	Line    int    `json:"line"` // 0: the whole file
	Column  int    `json:"column"`
	Message string `json:"message"`
	Remedy  string `json:"remedy"`
}

// keep writes a file with all its cycles in one transaction.
func (a *arrivals) keep(read FileRead, o *logbook.Original, via Via, modified time.Time, size int64) (Imported, error) {
	done := Imported{FileRead: read, Kept: true}
	body, err := a.entryOf(read, via, modified, size)
	if err != nil {
		return done, err
	}
	var touched []string
	if body.Day != "" {
		touched = append(touched, body.Day)
	}
	for i := range a.drafts {
		v := &a.drafts[i].verdict
		for j := range v.Sources {
			v.Sources[j].SHA256 = read.SHA256
		}
		touched = append(touched, v.Day)
	}
	at := a.r.world.Now()
	err = a.r.write(a.ctx, func(b *logbook.Batch) error {
		if err := a.unmoved(b); err != nil {
			return err
		}
		if err := b.Keep(o); err != nil {
			return err
		}
		if _, err := b.Add(entry.Draft{At: at, Body: body}); err != nil {
			return err
		}
		recalls, err := a.r.addVerdicts(a.ctx, b, at, a.drafts)
		for _, text := range recalls {
			if text != "" {
				done.Recalls = append(done.Recalls, text)
			}
		}
		return err
	})
	if err != nil {
		return done, err
	}
	done.Due, err = a.r.due(a.ctx, touched)
	return done, err
}

// entryOf says what came, before what it was judged to be.
func (a *arrivals) entryOf(read FileRead, via Via, modified time.Time, size int64) (entry.Import, error) {
	body := entry.Import{SHA256: read.SHA256, File: called(read.Name), Size: size, Via: string(via), Modified: entry.At(modified),
		RecorderAheadS: a.ahead, Readable: read.Cycles > 0, Cycles: []string{}}
	machines := map[string]bool{}
	for _, d := range a.drafts {
		body.Cycles = append(body.Cycles, d.verdict.Cycle)
		machines[d.verdict.Steriliser] = true
		body.Steriliser = d.verdict.Steriliser
	}
	for _, key := range a.also {
		if !slices.Contains(body.Cycles, key) {
			body.Cycles = append(body.Cycles, key)
		}
	}
	if len(machines) != 1 || len(a.also) > 0 {
		body.Steriliser = ""
	}
	problems := []keptProblem{}
	for _, p := range read.Problems {
		problems = append(problems, keptProblem{p.Line, p.Column, p.Message, p.Remedy})
	}
	if len(problems) > 0 {
		body.Day = a.r.Today()
	}
	var err error
	body.Problems, err = plainJSON(problems)
	return body, err
}

// unmoved makes sure that the cycles stand as they did when the drafts were made.
func (a *arrivals) unmoved(b *logbook.Batch) error {
	tip, err := b.Checkpoint(a.ctx)
	if err != nil || tip.Size == a.tip {
		return err
	}
	for _, d := range a.drafts {
		now, err := a.r.candidates(a.ctx, b.View, d.verdict.Start.Time)
		if err != nil {
			return err
		}
		same := len(now) == d.seen
		for _, c := range now {
			if d.was != nil && c.key == d.was.Key && c.kept.VerdictEntry != d.was.VerdictEntry {
				same = false
			}
		}
		if !same {
			return errMoved
		}
	}
	return nil
}

// addVerdicts adds verdicts, each tied to what people did at the machine before its
// record came. A load that was released and is not shown to conform opens a recall in
// the same transaction; its sentence stands at the verdict's place in recalls.
func (r *Records) addVerdicts(ctx context.Context, b *logbook.Batch, at time.Time, drafts []draft) (recalls []string, err error) {
	waiting, err := waitingReleases(ctx, b.View, drafts)
	if err != nil {
		return nil, err
	}
	recalls = make([]string, len(drafts))
	entries := make([]entry.Draft, 0, len(drafts))
	for i, d := range drafts {
		v, was := d.verdict, d.was
		for _, key := range keysOf(v, was) {
			older, err := b.Sources(ctx, key)
			if err != nil {
				return nil, err
			}
			v.Sources = withSources(v.Sources, older)
		}
		done, err := waiting.of(ctx, b.View, v, was)
		if err != nil {
			return nil, err
		}
		if done != nil && (was == nil || was.ReleaseEntry != done.Number) {
			v.Release = entry.Ref(done.Number)
		}
		v.Settled = settled(v, done, was)
		entries = append(entries, entry.Draft{At: at, Body: v})
		if because := recallReason(v, done, was); because != "" {
			recalls[i] = r.calls(v) + ": " + because
			entries = append(entries, entry.Draft{At: at, Reason: because, Body: entry.Recall{
				Cycle: v.Cycle, Day: v.Day, Act: "opened", Because: because, Packs: []entry.Pack{}}})
		}
	}
	return recalls, b.AddAll(entries)
}

// keysOf are the keys under which a cycle has stood, none for a new one.
func keysOf(v entry.Verdict, was *logbook.Cycle) []string {
	switch {
	case was == nil:
		return nil
	case was.Key == v.Cycle:
		return []string{v.Cycle}
	}
	return []string{v.Cycle, was.Key}
}

// withSources adds older sources behind the newer ones, each place once.
func withSources(newer, older []entry.Source) []entry.Source {
	out := slices.Clone(newer)
	for _, s := range older {
		if s.FirstLine < 1 { // known by its import alone, which names no lines
			continue
		}
		if !slices.ContainsFunc(out, func(o entry.Source) bool { return o.SHA256 == s.SHA256 && o.FirstLine == s.FirstLine }) {
			out = append(out, s)
		}
	}
	return out
}

// releases are those at the machine that wait for the record of their load.
type releases map[atMachine]*logbook.Row[entry.Release]

// atMachine is how a person at the machine names a load.
type atMachine struct{ steriliser, number, day string }

// waitingReleases gathers the newest release of each load, for the days of the drafts.
func waitingReleases(ctx context.Context, v *logbook.View, drafts []draft) (releases, error) {
	var days span
	for _, d := range drafts {
		days.add(d.verdict.Day)
	}
	out := releases{}
	if days.from == "" {
		return out, nil
	}
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{From: days.from, To: days.to})
	for i, row := range rows {
		if row.Cycle == "" && !row.Withdrawn && row.Said.Number != "" {
			out[atMachine{row.Said.Steriliser, row.Said.Number, row.Said.Day}] = &rows[i]
		}
	}
	return out, err
}

// of finds what was done at the machine with the load of a cycle: the release that
// names the cycle, or the one of its number and day that still waits for a record,
// once. Nil if there is none.
func (w releases) of(ctx context.Context, v *logbook.View, c entry.Verdict, was *logbook.Cycle) (*logbook.Row[entry.Release], error) {
	if was != nil && was.ReleaseEntry != 0 {
		rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Entry: was.ReleaseEntry})
		if err != nil || len(rows) > 0 {
			return firstOf(rows), err
		}
	}
	at := atMachine{c.Steriliser, c.Number, c.Day}
	row := w[at]
	delete(w, at)
	return row, nil
}

func firstOf[T any](list []T) *T {
	if len(list) == 0 {
		return nil
	}
	return &list[0]
}

// settled tells whether nothing more waits for a person: a conforming load that was
// released, a test that conforms and has no indicator to be read, and what
// a person had settled before and is no worse now.
func settled(v entry.Verdict, at *logbook.Row[entry.Release], was *logbook.Cycle) bool {
	if was != nil && was.Settled && !worse(v.Outcome, was.Outcome) {
		return true
	}
	if v.Outcome != Conforms.String() {
		return false
	}
	switch cycle.KindNamed(v.Kind) {
	case cycle.Load: // what was rejected waits to be processed again
		return at != nil && at.Said.Act == "released"
	case cycle.PenetrationTest:
		return false
	}
	return true
}

// recallReason says why a load must be called back, "" if it need not be: it was
// released, at the machine or by a decision, and its record is now worse than what the
// person had to go by.
func recallReason(v entry.Verdict, at *logbook.Row[entry.Release], was *logbook.Cycle) string {
	before := Conforms.String() // on the display of the machine
	if was != nil {
		before = was.Outcome
	}
	atMachine := at != nil && at.Said.Act == "released"
	decided := was != nil && (was.Decision == "release" || was.Decision == "already-used")
	open := was != nil && (was.Recall == "opened" || was.Recall == "followed")
	if !atMachine && !decided || open || !worse(v.Outcome, before) {
		return ""
	}
	how := "by a decision on its record"
	if atMachine {
		how = "at the machine before its record came"
	}
	if decided && was.Decision == "already-used" {
		return fmt.Sprintf("it was used already, and its record is %s now", v.Outcome)
	}
	return fmt.Sprintf("it was released %s, and the record is %s%s", how, v.Outcome, whyOf(v))
}

// whyOf is the first finding that made the outcome, after a colon.
func whyOf(v entry.Verdict) string {
	var all []struct{ Outcome, Message string }
	if json.Unmarshal(v.Findings, &all) != nil {
		return ""
	}
	for _, f := range all {
		if f.Outcome == v.Outcome && f.Message != "" {
			return ": " + f.Message
		}
	}
	return ""
}

// calls names a cycle as people do: S1 · 1042.
func (r *Records) calls(v entry.Verdict) string {
	name := v.Steriliser
	if name == "" {
		name = "unassigned"
	}
	if v.Number == "" {
		return name + " of " + v.Start.In(r.zone).Format("2 Jan 2006 15:04")
	}
	return name + " · " + v.Number
}

// due returns the signed days among those given whose record no longer says all.
func (r *Records) due(ctx context.Context, touched []string) ([]string, error) {
	slices.Sort(touched)
	var out []string
	for _, day := range slices.Compact(touched) {
		days, err := r.book.Days(ctx, day, day)
		if err != nil {
			return nil, err
		}
		if len(days) > 0 && days[0].Due() {
			out = append(out, day)
		}
	}
	return out, nil
}

// called is a file's name as an entry keeps it: text that is UTF-8, without the
// folders of this computer, and never empty.
func called(name string) string {
	if name == "-" {
		return "standard input"
	}
	return strings.ToValidUTF8(filepath.Base(name), "�")
}
