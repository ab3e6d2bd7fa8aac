package surgery

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// Via says how a file came in.
type Via string

// The ways.
const (
	ViaCommand Via = "command"
	ViaWatch   Via = "watch"
	ViaDesk    Via = "desk"
)

// Arrival is what an import found of one cycle.
type Arrival struct {
	Judged
	Key string
	How string // new, longer (an earlier record of it goes on), again, shorter
}

// News tells whether the cycle, or more of it than was kept, came with this file.
func (a Arrival) News() bool { return a.How == "new" || a.How == "longer" }

// Imported is a file whose bytes and cycles are on the disk.
type Imported struct {
	FileRead
	Kept    bool     // false: it could not be read to its end, see Problems
	Recalls []string // sentences: loads that were released and whose records do not conform
	Due     []string // signed days, such as 2026-11-02, that a new revision is due of
}

// Importer takes what an import finds. Of a file the cycles come first; what was
// said of them counts when its File follows, and is void when Again does.
type Importer interface {
	Cycle(Arrival) error
	File(Imported) error
	Again() error
}

// Arriving are files to be kept.
type Arriving struct {
	Paths    []string // files, or folders that are searched for exports
	Stdin    io.Reader
	Via      Via
	Workers  int
	Progress func(done int64) // bytes read so far; may be nil

	skipKept bool // pass over bytes that are kept, also of a file that is named
}

// mostTries is how often a file is read again because somebody else wrote meanwhile (ours).
const mostTries = 10

// Import keeps the bytes of files and judges them, one transaction a file: what File
// was told of is on the disk, what it was not told of left no trace. What could not be
// read is kept too and is not proven. It returns what lies between the cycles of the
// days that came in and nobody explained.
//
// Error: the logbook's, such as a full disk; the importer's; the context's. A file
// that cannot be read is not an error but a [Problem].
func (r *Records) Import(ctx context.Context, in Arriving, to Importer) ([]Between, error) {
	var days span
	var done int64
	for _, f := range exportsIn(in.Paths) {
		tell := func(n int64) {
			if done += n; in.Progress != nil {
				in.Progress(done)
			}
		}
		if err := r.importFile(ctx, in, f, to, tell, &days); err != nil {
			return nil, err
		}
	}
	if days.from == "" {
		return nil, nil
	}
	a, err := r.Across(ctx, days.from, days.to)
	if err != nil {
		return nil, err
	}
	return r.unexplained(ctx, a.Findings)
}

// unexplained leaves out what a person has explained.
func (r *Records) unexplained(ctx context.Context, found []Between) (open []Between, err error) {
	err = r.book.Read(ctx, func(v *logbook.View) error {
		open = nil
		for _, f := range found {
			note, err := r.explanation(ctx, v, f)
			if err != nil {
				return err
			}
			if note == nil {
				open = append(open, f)
			}
		}
		return nil
	})
	return open, err
}

// span is the days from the first to the last that something was found on.
type span struct{ from, to string }

func (s *span) add(day string) {
	if s.from == "" || day < s.from {
		s.from = day
	}
	s.to = max(s.to, day)
}

func (r *Records) importFile(ctx context.Context, in Arriving, f export, to Importer, tell func(int64), days *span) error {
	if f.problem != nil {
		return to.File(Imported{FileRead: FileRead{Name: f.name, Problems: []Problem{*f.problem}}})
	}
	if f.found || in.skipKept { // in a folder: what is kept already needs no second reading
		kept, err := r.keptAlready(ctx, f.name, tell)
		if err != nil || kept {
			return err
		}
	}
	hold := map[startOf]bool{}
	for range mostTries {
		a := &arrivals{r: r, ctx: ctx, to: to, hold: hold, of: map[startOf][]int{}, keys: map[string]bool{}}
		done, err := a.file(in, f.name, tell)
		switch {
		case errors.Is(err, errHold), errors.Is(err, errMoved):
			tell = func(int64) {}
			if err := to.Again(); err != nil {
				return err
			}
			continue
		case err != nil:
			return err
		}
		for _, d := range a.drafts {
			days.add(d.verdict.Day)
		}
		return to.File(done)
	}
	return fmt.Errorf("%s: others kept writing the same cycles; import it again", f.name)
}

// arrivals is one file on its way into the logbook.
type arrivals struct {
	r      *Records
	ctx    context.Context
	to     Importer
	hold   map[startOf]bool  // whose records the next pass needs again
	of     map[startOf][]int // drafts by steriliser and start
	keys   map[string]bool   // of drafts
	drafts []draft
	also   []string      // keys of cycles that were kept already
	v      *logbook.View // as of when the file was opened
	tip    int64         // entries then
	ahead  *float64      // s, how far the recorder's clock is ahead at least
}

// draft is a verdict that waits for the end of its file.
type draft struct {
	verdict entry.Verdict
	summary validate.Summary
	was     *logbook.Cycle // as it stands, nil: new
	seen    int            // candidates when it was placed
	record  *cycle.Record  // nil unless it is held
}

// file reads one file to its end and keeps it.
func (a *arrivals) file(in Arriving, name string, tell func(int64)) (Imported, error) {
	none := Imported{FileRead: FileRead{Name: name}}
	src, err := open(name, in.Stdin)
	if err != nil {
		none.note(err)
		return none, nil
	}
	defer src.Close()
	o := logbook.NewOriginal()
	defer o.Discard()
	t := &take{src: src, to: o, tell: tell}
	var read FileRead
	err = a.r.book.Read(a.ctx, func(v *logbook.View) error {
		tip, err := v.Checkpoint(a.ctx)
		if err != nil {
			return err
		}
		a.v, a.tip = v, tip.Size
		read, err = a.r.bench.one(a.ctx, name, t, in.Workers, a.cycle)
		return err
	})
	if err != nil {
		return none, err
	}
	hindered := errors.Join(t.rest(), src.unchanged())
	sum, size, err := o.Finish()
	if hindered == nil && err == nil && read.second != "" && read.second != sum {
		hindered = changedMeanwhile()
	}
	if err := hindered; err != nil {
		if err := a.to.Again(); err != nil { // nothing of it is kept
			return none, err
		}
		a.drafts = nil
		none.note(err)
		return none, nil
	}
	if err != nil {
		return none, err
	}
	read.SHA256 = sum
	return a.keep(read, o, in.Via, src.modified(), size)
}

// cycle places one cycle that was read.
func (a *arrivals) cycle(j Judged) error {
	start := startOf{j.Header.Steriliser, j.Header.Start.UTC()}
	among, err := a.r.candidates(a.ctx, a.v, j.Header.Start)
	if err != nil {
		return err
	}
	kept := len(among)
	for _, i := range a.of[start] {
		d := &a.drafts[i]
		among = slices.DeleteFunc(among, func(c candidate) bool { return c.key == d.verdict.Cycle })
		among = append(among, candidate{key: d.verdict.Cycle, steriliser: d.verdict.Steriliser, configured: d.verdict.Configured,
			readings: d.summary.Readings, draft: i, record: d.record})
	}
	c, how, err := a.r.relate(a.ctx, a.v, j, among)
	if errors.Is(err, errHold) {
		a.hold[start] = true
	}
	if err != nil {
		return err
	}
	a.clock(j)
	key := ""
	switch {
	case how == isNew:
		key, err = a.add(j, nil, kept)
	case how == isLonger && c.kept == nil:
		key, err = a.replace(j, c.draft)
	case how == isLonger, how == isAgain && c.kept != nil && c.steriliser != j.Header.Steriliser && j.Header.Configured:
		how = isLonger
		key, err = a.add(j, c.kept, kept)
	default:
		key = c.key
		if c.kept != nil {
			a.also = append(a.also, key)
		}
	}
	if err != nil {
		return err
	}
	j.Record = nil // told without its readings
	return a.to.Cycle(Arrival{Judged: j, Key: key, How: [...]string{"new", "again", "longer", "shorter"}[how]})
}

// clock notes how far the recorder's clock is ahead: a reading after now shows it.
func (a *arrivals) clock(j Judged) {
	if ahead := j.summary().End.Sub(a.r.world.Now()).Seconds(); ahead > 0 && (a.ahead == nil || ahead > *a.ahead) {
		a.ahead = &ahead
	}
}

// add makes a draft of a cycle that is new, or of a longer record of a kept one.
func (a *arrivals) add(j Judged, was *logbook.Cycle, seen int) (key string, err error) {
	d := draft{summary: j.summary(), was: was, seen: seen}
	if d.verdict, err = a.r.verdictOn(j); err != nil {
		return "", err
	}
	key, continues := j.ID(), ""
	if was != nil {
		if key = was.Key; was.Steriliser != j.Header.Steriliser {
			key, continues = "", was.Key
		}
	}
	if key == "" || was == nil {
		if key, err = a.r.freeKey(a.ctx, a.v, j.ID(), continues, func(k string) bool { return a.keys[k] }); err != nil {
			return "", err
		}
	}
	d.verdict.Cycle, d.verdict.Continues = key, continues
	d.verdict.Sources = []entry.Source{sourceOf(j)}
	start := startOf{j.Header.Steriliser, j.Header.Start.UTC()}
	if a.hold[start] {
		d.record = j.Record
	}
	a.keys[key] = true
	a.of[start] = append(a.of[start], len(a.drafts))
	a.drafts = append(a.drafts, d)
	return key, nil
}

// replace puts a longer record in the place of a draft of the same file.
func (a *arrivals) replace(j Judged, i int) (string, error) {
	old := a.drafts[i]
	v, err := a.r.verdictOn(j)
	if err != nil {
		return "", err
	}
	v.Cycle, v.Continues = old.verdict.Cycle, old.verdict.Continues
	v.Sources = append([]entry.Source{sourceOf(j)}, old.verdict.Sources...)
	a.drafts[i].verdict, a.drafts[i].summary = v, j.summary()
	if old.record != nil {
		a.drafts[i].record = j.Record
	}
	return v.Cycle, nil
}

// sourceOf is the place of a cycle in its file, whose hash is not known yet.
func sourceOf(j Judged) entry.Source {
	s := j.Header.Source
	first := max(1, int64(s.FirstLine))
	return entry.Source{File: called(j.File), FirstLine: first, LastLine: max(first, int64(s.LastLine))}
}

// one judges the cycles of one source, in their order. Whoever asks hashes it.
func (d *bench) one(ctx context.Context, name string, src io.ReadSeeker, workers int, each func(Judged) error) (FileRead, error) {
	if workers < 1 {
		workers = 2
	}
	g, ctx := errgroup.WithContext(ctx)
	p := &pipeline{bench: d, slots: make(chan struct{}, workers+2), queue: make(chan *step), order: make(chan *step, workers+2), unhashed: true}
	file := FileRead{Name: name}
	g.Go(func() error {
		defer close(p.order)
		defer close(p.queue)
		return p.readSource(ctx, &file, src)
	})
	for range workers {
		g.Go(func() error {
			for s := range p.queue {
				s.judged <- d.judge(s.file, s.cycle)
			}
			return nil
		})
	}
	g.Go(func() error {
		for {
			s, ok, err := receive(ctx, p.order)
			if err != nil || !ok {
				return err
			}
			j, _, err := receive(ctx, s.judged)
			if err != nil {
				return err
			}
			j.Instruction = validate.Instruct(j.Verdict, false)
			if err := each(j); err != nil {
				return err
			}
			<-p.slots
		}
	})
	return file, g.Wait()
}

// localDay is the date of a moment in the site's zone.
func (r *Records) localDay(t time.Time) string { return t.In(r.zone).Format(time.DateOnly) }
