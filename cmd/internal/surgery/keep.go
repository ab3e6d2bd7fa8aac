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
	err = a.r.write(a.ctx, func(b *logbook.Batch) error {
		done.Recalls, touched = nil, nil
		if err := a.unmoved(b); err != nil {
			return err
		}
		if err := b.Keep(o); err != nil {
			return err
		}
		if _, err := b.Add(entry.Draft{At: a.r.world.Now(), Body: body}); err != nil {
			return err
		}
		if body.Day != "" {
			touched = append(touched, body.Day)
		}
		for _, d := range a.drafts {
			for i := range d.verdict.Sources {
				d.verdict.Sources[i].SHA256 = read.SHA256
			}
			recall, err := a.r.addVerdict(a.ctx, b, d.verdict, d.was)
			if err != nil {
				return err
			}
			if recall != "" {
				done.Recalls = append(done.Recalls, recall)
			}
			touched = append(touched, d.verdict.Day)
		}
		return nil
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

// addVerdict adds a verdict, tied to what people did at the machine before its
// record came. A load that was released and is not shown to conform opens a recall
// in the same transaction; because says why, "" if none was opened.
func (r *Records) addVerdict(ctx context.Context, b *logbook.Batch, v entry.Verdict, was *logbook.Cycle) (because string, err error) {
	for _, key := range keysOf(v, was) {
		older, err := b.Sources(ctx, key)
		if err != nil {
			return "", err
		}
		v.Sources = withSources(v.Sources, older)
	}
	at, err := releaseOf(ctx, b.View, v, was)
	if err != nil {
		return "", err
	}
	if at != nil && (was == nil || was.ReleaseEntry != at.Number) {
		v.Release = entry.Ref(at.Number)
	}
	v.Settled = settled(v, at, was)
	if _, err := b.Add(entry.Draft{At: r.world.Now(), Body: v}); err != nil {
		return "", err
	}
	if because = recallReason(v, at, was); because == "" {
		return "", nil
	}
	_, err = b.Add(entry.Draft{At: r.world.Now(), Reason: because, Body: entry.Recall{
		Cycle: v.Cycle, Day: v.Day, Act: "opened", Because: because, Packs: []entry.Pack{}}})
	return r.calls(v) + ": " + because, err
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

// releaseOf finds what was done at the machine with the load of a cycle: the release
// that names the cycle, or the newest one of its number and day that still waits for a
// record. Nil if there is none.
func releaseOf(ctx context.Context, v *logbook.View, c entry.Verdict, was *logbook.Cycle) (*logbook.Row[entry.Release], error) {
	if was != nil && was.ReleaseEntry != 0 {
		rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Entry: was.ReleaseEntry})
		if err != nil {
			return nil, err
		}
		if len(rows) > 0 {
			return &rows[0], nil
		}
	}
	if c.Number == "" || c.Steriliser == "" {
		return nil, nil
	}
	rows, err := logbook.Find[entry.Release](ctx, v, logbook.Filter{Steriliser: c.Steriliser, Number: c.Number, From: c.Day, To: c.Day, Newest: true})
	if err != nil {
		return nil, err
	}
	for i := range rows {
		if rows[i].Cycle == "" && !rows[i].Withdrawn {
			return &rows[i], nil
		}
	}
	return nil, nil
}

// settled tells whether nothing more waits for a person: a conforming load that was
// released or rejected, a test that conforms and has no indicator to be read, and what
// a person had settled before and is no worse now.
func settled(v entry.Verdict, at *logbook.Row[entry.Release], was *logbook.Cycle) bool {
	if was != nil && was.Settled && !worse(v.Outcome, was.Outcome) {
		return true
	}
	if v.Outcome != Conforms.String() {
		return false
	}
	switch cycle.KindNamed(v.Kind) {
	case cycle.Load:
		return at != nil
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
