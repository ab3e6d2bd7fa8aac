package surgery

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Change is a cycle that is judged otherwise today, or found in kept bytes only now.
type Change struct {
	Name     string // S1 · 1042
	Key      string // by which it is known from now on
	Day      string
	Old, New string   // outcomes; Old is "" for a cycle that was not read before
	What     []string // what differs: steriliser, outcome, programme ...
	Why      string   // the finding that made the new outcome, "" if it conforms
	Recall   string   // a sentence: the load was released and must be called back
}

// Rejudged is what judging again came to.
type Rejudged struct {
	Files   int // whose bytes were read
	Same    int // cycles that come out as they did
	Changes []Change
	Lost    []string // names of cycles that are not found any more; their verdicts stay
	Due     []string // signed days that a new revision is due of
}

// Again says which kept bytes are judged again.
type Again struct {
	Since    string // a day: cycles from then on and files imported from then on; "": all
	Write    bool   // keep the verdicts that differ
	Progress func(done, all int64)
}

// Rejudge judges kept bytes with the configuration in force. Where outcome, figures,
// findings, programme, kind, limits, time or steriliser come out otherwise it adds a
// verdict, one transaction a file; the old ones stay. Without Write it only tells.
//
// Error: the logbook's or the context's.
func (r *Records) Rejudge(ctx context.Context, o Again) (Rejudged, error) {
	var out Rejudged
	files, err := r.keptFiles(ctx, o.Since)
	if err != nil {
		return out, err
	}
	var touched []string
	for i, f := range files {
		if o.Progress != nil {
			o.Progress(int64(i), int64(len(files)))
		}
		days, err := r.rejudgeFile(ctx, f, o.Write, &out)
		if err != nil {
			return out, fmt.Errorf("%s: %w", f.name, err)
		}
		touched = append(touched, days...)
	}
	if o.Write {
		out.Due, err = r.due(ctx, touched)
	}
	return out, err
}

// keptFile is an original and the name it came under first.
type keptFile struct{ sum, name string }

// keptFiles returns the originals in the order in which they came.
func (r *Records) keptFiles(ctx context.Context, since string) ([]keptFile, error) {
	imports, err := logbook.Find[entry.Import](ctx, r.book.View, logbook.Filter{})
	if err != nil {
		return nil, err
	}
	wanted := map[string]bool{}
	if since != "" {
		cycles, err := r.book.Cycles(ctx, logbook.CycleFilter{From: since})
		if err != nil {
			return nil, err
		}
		for _, c := range cycles {
			sources, err := r.book.Sources(ctx, c.Key)
			if err != nil {
				return nil, err
			}
			for _, s := range sources {
				wanted[s.SHA256] = true
			}
		}
	}
	var out []keptFile
	seen := map[string]bool{}
	for _, i := range imports {
		if seen[i.Said.SHA256] || since != "" && !wanted[i.Said.SHA256] && r.localDay(i.Entered) < since {
			continue
		}
		seen[i.Said.SHA256] = true
		out = append(out, keptFile{i.Said.SHA256, i.Said.File})
	}
	return out, nil
}

// rejudgeFile judges one original again; with write it keeps what differs.
func (r *Records) rejudgeFile(ctx context.Context, f keptFile, write bool, out *Rejudged) ([]string, error) {
	for range mostTries {
		a := &again{arrivals: arrivals{r: r, ctx: ctx, hold: map[startOf]bool{}, of: map[startOf][]int{}, keys: map[string]bool{}}, file: f}
		err := a.read()
		if err != nil {
			return nil, err
		}
		var days []string
		if write && len(a.drafts) > 0 {
			days, err = a.write()
			if errors.Is(err, errMoved) {
				continue
			}
			if err != nil {
				return nil, err
			}
		}
		out.Files++
		out.Same += a.same
		out.Changes = append(out.Changes, a.changes...)
		out.Lost = append(out.Lost, a.lost...)
		return days, nil
	}
	return nil, errors.New("others kept writing the same cycles; do it again")
}

// again is one original that is judged again.
type again struct {
	arrivals
	file    keptFile
	judged  map[int64]logbook.Cycle // judged by this file, by first line
	beside  map[int64]bool          // first lines of cycles that another file is judged by
	changes []Change
	same    int
	lost    []string
}

func (a *again) read() error {
	tip, err := a.r.book.Checkpoint(a.ctx)
	if err != nil {
		return err
	}
	a.tip = tip.Size
	if err := a.known(); err != nil {
		return err
	}
	src, err := a.r.original(a.ctx, a.r.book.View, a.file.sum)
	if err != nil {
		return err
	}
	defer src.Close()
	if _, err := a.r.bench.one(a.ctx, a.file.name, src, 0, a.cycle); err != nil {
		return err
	}
	for _, c := range a.judged {
		a.lost = append(a.lost, a.r.nameOf(c))
	}
	slices.Sort(a.lost)
	return nil
}

// known gathers the cycles that this file was read as before.
func (a *again) known() error {
	a.judged, a.beside = map[int64]logbook.Cycle{}, map[int64]bool{}
	cycles, err := a.r.book.Cycles(a.ctx, logbook.CycleFilter{File: a.file.sum, Verdicts: true})
	if err != nil {
		return err
	}
	for _, c := range cycles {
		for i, s := range c.Verdict.Sources {
			switch {
			case s.SHA256 != a.file.sum:
			case i == 0:
				a.judged[s.FirstLine] = c
			default:
				a.beside[s.FirstLine] = true
			}
		}
	}
	return nil
}

func (a *again) cycle(j Judged) error {
	line := sourceOf(j).FirstLine
	old, was := a.judged[line]
	switch {
	case was:
		delete(a.judged, line)
		return a.compared(j, old)
	case a.beside[line]:
		return nil
	}
	return a.found(j)
}

// compared makes a draft of a verdict that differs from the one that counts.
func (a *again) compared(j Judged, old logbook.Cycle) error {
	v, err := a.r.verdictOn(j)
	if err != nil {
		return err
	}
	what := differences(v, *old.Verdict)
	if len(what) == 0 {
		a.same++
		return nil
	}
	if v.Steriliser == old.Steriliser && v.Start.Equal(old.Start.Time) {
		return a.changed(j, v, &old, old.Key, "", what)
	}
	return a.renamed(j, v, old, what)
}

// renamed takes a cycle whose steriliser or start is another today. Where a newer
// import brought the same cycle already, the two become one, and the longer record
// counts; else it gets a new key.
func (a *again) renamed(j Judged, v entry.Verdict, old logbook.Cycle, what []string) error {
	among, err := a.r.candidates(a.ctx, a.r.book.View, j.Header.Start)
	if err != nil {
		return err
	}
	among = slices.DeleteFunc(among, func(c candidate) bool { return c.key == old.Key })
	c, how, err := a.r.relate(a.ctx, a.r.book.View, j, among)
	if err != nil {
		return err
	}
	switch how {
	case isAgain, isLonger:
		return a.changed(j, v, &old, c.key, old.Key, what)
	case isShorter:
		longer, err := a.r.book.Cycle(a.ctx, c.key)
		if err != nil {
			return err
		}
		longer.Verdict.Continues = old.Key
		a.add(*longer.Verdict, &old, j, what)
		return nil
	}
	key, err := a.r.freeKey(a.ctx, a.r.book.View, j.ID(), old.Key, func(k string) bool { return a.keys[k] })
	if err != nil {
		return err
	}
	continues := old.Key
	if key == old.Key {
		continues = ""
	}
	return a.changed(j, v, &old, key, continues, what)
}

// found takes a cycle that was not read in this file before.
func (a *again) found(j Judged) error {
	among, err := a.r.candidates(a.ctx, a.r.book.View, j.Header.Start)
	if err != nil {
		return err
	}
	for _, d := range a.drafts {
		if d.verdict.Steriliser == j.Header.Steriliser && d.verdict.Start.Equal(entry.At(j.Header.Start).Time) {
			return nil // one cycle of that start a pass; the next run finds the rest
		}
	}
	c, how, err := a.r.relate(a.ctx, a.r.book.View, j, among)
	if err != nil {
		return err
	}
	if how == isAgain || how == isShorter {
		return nil
	}
	v, err := a.r.verdictOn(j)
	if err != nil {
		return err
	}
	if how == isLonger {
		old, err := a.r.book.Cycle(a.ctx, c.key)
		if err != nil {
			return err
		}
		return a.compared(j, old)
	}
	key, err := a.r.freeKey(a.ctx, a.r.book.View, j.ID(), "", func(k string) bool { return a.keys[k] })
	if err != nil {
		return err
	}
	return a.changed(j, v, nil, key, "", []string{"not read before"})
}

func (a *again) changed(j Judged, v entry.Verdict, old *logbook.Cycle, key, continues string, what []string) error {
	v.Cycle, v.Continues = key, continues
	s := sourceOf(j)
	s.SHA256, s.File = a.file.sum, a.file.name
	v.Sources = []entry.Source{s}
	a.add(v, old, j, what)
	return nil
}

// add makes a draft and says what changes.
func (a *again) add(v entry.Verdict, old *logbook.Cycle, j Judged, what []string) {
	a.keys[v.Cycle] = true
	a.drafts = append(a.drafts, draft{verdict: v, summary: j.summary(), was: old})
	c := Change{Name: a.r.calls(v), Key: v.Cycle, Day: v.Day, New: v.Outcome, What: what}
	if old != nil {
		c.Old = old.Outcome
	}
	if v.Outcome != Conforms.String() {
		c.Why = strings.TrimPrefix(whyOf(v), ": ")
	}
	a.changes = append(a.changes, c)
}

// write keeps the drafts in one transaction.
func (a *again) write() (touched []string, err error) {
	at := a.r.world.Now()
	err = a.r.write(a.ctx, func(b *logbook.Batch) error {
		touched = nil
		for i := range a.drafts {
			days, err := a.unmoved(b, &a.drafts[i])
			if err != nil {
				return err
			}
			touched = append(touched, days...)
		}
		recalls, err := a.r.addVerdicts(a.ctx, b, at, a.drafts)
		for i, text := range recalls {
			a.changes[i].Recall = text
		}
		return err
	})
	return touched, err
}

// unmoved makes sure that a cycle stands as it did when its draft was made. It returns
// the days that the draft touches.
func (a *again) unmoved(b *logbook.Batch, d *draft) ([]string, error) {
	if d.was == nil {
		there, err := b.Cycles(a.ctx, logbook.CycleFilter{Key: d.verdict.Cycle, Renamed: true})
		if err == nil && len(there) > 0 {
			err = errMoved
		}
		return []string{d.verdict.Day}, err
	}
	now, err := b.Cycle(a.ctx, d.was.Key)
	if err == nil && now.VerdictEntry != d.was.VerdictEntry {
		err = errMoved
	}
	d.was = &now
	return []string{now.Day, d.verdict.Day}, err
}

// nameOf names a kept cycle as people do.
func (r *Records) nameOf(c logbook.Cycle) string {
	return r.calls(entry.Verdict{Steriliser: c.Steriliser, Number: c.Number, Start: c.Start})
}

// differences says what of a verdict is not as it was. The bytes of the configuration
// and the version of the program alone make no difference.
func differences(v, old entry.Verdict) []string {
	var out []string
	for _, d := range []struct {
		what    string
		differs bool
	}{
		{"steriliser", v.Steriliser != old.Steriliser || v.Configured != old.Configured},
		{"number", v.Number != old.Number},
		{"start", !v.Start.Equal(old.Start.Time) || v.Day != old.Day || v.OffsetS != old.OffsetS},
		{"readings", v.Digest != old.Digest || v.Readings != old.Readings},
		{"outcome", v.Outcome != old.Outcome},
		{"kind", v.Kind != old.Kind},
		{"programme", v.Programme != old.Programme},
		{"limits", v.Limits != old.Limits},
		{"figures", string(v.Measured) != string(old.Measured)},
		{"findings", string(v.Findings) != string(old.Findings)},
		{"instruction", v.Instruction != old.Instruction},
	} {
		if d.differs {
			out = append(out, d.what)
		}
	}
	return out
}
