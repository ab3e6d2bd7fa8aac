package surgery

import (
	"context"
	"errors"
	"io"
	"time"

	"golang.org/x/sync/errgroup"

	"holdproof/parse"
	"holdproof/parse/cycle"
	"holdproof/validate"
)

// Exports is what is to be judged and how.
type Exports struct {
	Files   []string  // "-" is Stdin
	Stdin   io.Reader // read only for "-"
	Only    string    // id of the one steriliser they are from, "" if they say so themselves
	Workers int       // that judge beside the one that parses; 0 for two
}

// Judged is one cycle and what it came to.
type Judged struct {
	File        string
	Header      cycle.Header
	Record      *cycle.Record // nil: the cycle could not be read, and is not proven
	Verdict     validate.Verdict
	Instruction validate.Instruction

	readings validate.Digest
}

// ID returns the name of the cycle.
func (j Judged) ID() string { return j.Header.ID() }

// Outcome returns the worst of the findings.
func (j Judged) Outcome() validate.Outcome { return j.Verdict.Outcome() }

// FileRead is what there is to say of an export when its last cycle has been read.
type FileRead struct {
	Name       string
	SHA256     string // "" if it could not be read to its end
	Cycles     int    // judged, or not proven for want of readings
	Problems   []Problem
	Understood parse.Understood

	second string // SHA-256 that a second pass found; "" without one
}

// Problem is a place in an export, or the whole of it, that could not be read.
type Problem struct {
	Line, Column int    // from 1, 0 where they do not apply
	Message      string // what is there and what is expected, no full stop
	Remedy       string // a sentence
	Key          string // of holdproof.yaml that would settle it, "" if none would
}

// Receiver takes what is found, in the order of the files and of the cycles in them.
type Receiver interface {
	Cycle(Judged) error
	File(FileRead) error // after the last of its cycles
}

// step is a cycle on its way through the workers, or the end of a file.
type step struct {
	file    string
	cycle   parse.Cycle
	judged  chan Judged // of capacity 1, so that a worker never waits
	endFile *FileRead
}

// Check judges exports without keeping anything and returns what lies between the
// cycles. One goroutine parses, others judge; at most Workers + 2 cycles are in
// memory, and what the receiver is told does not depend on how many workers there are.
//
// Error: the configuration does not know Only, the receiver's, or the context's. A
// file that cannot be read is not an error but a [Problem].
func Check(ctx context.Context, c Configuration, in Exports, to Receiver) ([]validate.Across, error) {
	d, err := newBench(c, in.Only)
	if err != nil {
		return nil, err
	}
	workers := in.Workers
	if workers < 1 {
		workers = 2
	}
	g, ctx := errgroup.WithContext(ctx)
	p := &pipeline{
		bench: d,
		slots: make(chan struct{}, workers+2),
		queue: make(chan *step),
		order: make(chan *step, workers+2),
	}
	g.Go(func() error { return p.read(ctx, in) })
	for range workers {
		g.Go(func() error {
			for s := range p.queue {
				s.judged <- d.judge(s.file, s.cycle)
			}
			return nil
		})
	}
	between := history{reread: d.reread}
	g.Go(func() error { return p.deliver(ctx, to, &between) })
	if err := g.Wait(); err != nil {
		return nil, err
	}
	return between.across(), nil
}

type pipeline struct {
	bench *bench
	slots chan struct{} // one for each cycle in memory
	queue chan *step    // to the workers
	order chan *step    // to the receiver

	unhashed bool // the source is hashed elsewhere
}

// read parses the files one after the other.
func (p *pipeline) read(ctx context.Context, in Exports) error {
	defer close(p.order)
	defer close(p.queue)
	for _, name := range expand(in.Files) {
		file := &FileRead{Name: name}
		if err := p.readFile(ctx, in, file); err != nil {
			return err
		}
		if err := send(ctx, p.order, &step{endFile: file}); err != nil {
			return err
		}
	}
	return nil
}

// readFile sends the cycles of one file on; what it cannot read it notes in file.
// Its error is only ever the context's.
func (p *pipeline) readFile(ctx context.Context, in Exports, file *FileRead) error {
	src, err := open(file.Name, in.Stdin)
	if err != nil {
		file.note(err)
		return nil
	}
	defer src.Close()
	if err := p.readSource(ctx, file, src); err != nil {
		return err
	}
	if err := src.unchanged(); err != nil {
		file.note(err)
	}
	return nil
}

// readSource is readFile for a source that is open.
func (p *pipeline) readSource(ctx context.Context, file *FileRead, src io.ReadSeeker) error {
	o := p.bench.options
	o.Unhashed = p.unhashed
	r, err := parse.Open(file.Name, src, o)
	if err != nil {
		file.note(err)
		return nil
	}
	for {
		if err := send(ctx, p.slots, struct{}{}); err != nil {
			return err
		}
		c, err := r.Next()
		if err != nil {
			<-p.slots
			if !errors.Is(err, io.EOF) {
				file.note(err)
			} else {
				file.SHA256 = r.SHA256()
			}
			break
		}
		for _, e := range c.Problems {
			file.note(e)
		}
		if c.Record == nil && c.Header.Start.IsZero() {
			<-p.slots // nothing to name a cycle by
			continue
		}
		file.Cycles++
		s := &step{file: file.Name, cycle: c, judged: make(chan Judged, 1)}
		if err := send(ctx, p.order, s); err != nil {
			return err
		}
		if err := send(ctx, p.queue, s); err != nil {
			return err
		}
	}
	file.Understood, file.second = r.Understood(), r.SecondSHA256()
	return nil
}

// deliver hands what was judged to the receiver, in order.
func (p *pipeline) deliver(ctx context.Context, to Receiver, between *history) error {
	for {
		s, ok, err := receive(ctx, p.order)
		if err != nil || !ok {
			return err
		}
		if s.endFile != nil {
			if err := to.File(*s.endFile); err != nil {
				return err
			}
			continue
		}
		j, _, err := receive(ctx, s.judged)
		if err != nil {
			return err
		}
		j.Instruction = validate.Instruct(j.Verdict, between.add(j))
		if err := to.Cycle(j); err != nil {
			return err
		}
		<-p.slots
	}
}

func send[T any](ctx context.Context, to chan<- T, v T) error {
	select {
	case to <- v:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func receive[T any](ctx context.Context, from <-chan T) (v T, ok bool, err error) {
	select {
	case v, ok = <-from:
		return v, ok, nil
	case <-ctx.Done():
		return v, false, ctx.Err()
	}
}

// judge comes to a verdict on one cycle.
func (d *bench) judge(file string, c parse.Cycle) Judged {
	m := d.machineOf(c.Header)
	j := Judged{File: file, Header: c.Header, Record: c.Record}
	if c.Record == nil {
		line, why, remedy := reason(c.Problems)
		j.Verdict = validate.Unreadable(c.Header, line, why, remedy)
	} else {
		j.Verdict = validate.Judge(c.Record, m.rules)
		j.readings = validate.DigestOf(c.Record)
	}
	j.Verdict.Remarks = append(j.Verdict.Remarks, m.remarks(c.Header)...)
	return j
}

// reread returns the record of a file that starts then, nil if it cannot be had.
func (b *bench) reread(file string, start time.Time) *cycle.Record {
	if file == "-" {
		return nil
	}
	src, err := open(file, nil)
	if err != nil {
		return nil
	}
	defer src.Close()
	r, err := parse.Open(file, src, b.options)
	if err != nil {
		return nil
	}
	for {
		c, err := r.Next()
		if err != nil {
			return nil
		}
		if c.Record != nil && c.Header.Start.Equal(start) {
			return c.Record
		}
	}
}

// note adds what could not be read.
func (f *FileRead) note(err error) {
	var at *parse.Error
	var own *Problem
	switch {
	case errors.As(err, &at):
		f.Problems = append(f.Problems, Problem{Line: at.Line, Column: at.Column,
			Message: messageOf(at), Remedy: at.Remedy, Key: at.Key})
	case errors.As(err, &own):
		f.Problems = append(f.Problems, *own)
	default:
		f.Problems = append(f.Problems, Problem{Message: "could not be read to its end: " + err.Error(),
			Remedy: "Copy the file to this computer and try again."})
	}
}

// reason is why a cycle could not be read.
func reason(problems []*parse.Error) (line int, why, remedy string) {
	if len(problems) == 0 {
		return 0, "the cycle has no readings", "Export the record again."
	}
	e := problems[0]
	return e.Line, messageOf(e), e.Remedy
}

// messageOf is what is there and what is expected, without the place.
func messageOf(e *parse.Error) string { return "found " + e.Found + ", expected " + e.Want }
