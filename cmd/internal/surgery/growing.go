package surgery

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"holdproof/parse"
	"holdproof/parse/cycle"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// A cycle is steriliser, start and readings. Of two records of one steriliser with
// one start, whose readings begin alike, the longer one counts and both files are its
// sources: the export of noon and that of the evening. Other readings at that start
// are another cycle.

// relation is what a cycle that was read is to those that are kept.
type relation int

const (
	isNew     relation = iota
	isAgain            // its readings are kept
	isLonger           // it goes on where a kept one ends, or replaces one that could not be read
	isShorter          // it is the beginning of a kept one
)

// candidate is a cycle that one just read may be.
type candidate struct {
	key        string
	steriliser string
	configured bool
	readings   validate.Digest
	kept       *logbook.Cycle // nil: read earlier in the same file
	draft      int            // then its place among the drafts
	record     *cycle.Record  // nil unless it was held
}

// errHold asks for the record of a cycle to be held while its file is read once more.
var errHold = errors.New("the record of a cycle in this file is needed again")

// candidates returns the kept cycles with that start, as the writer must find them
// again.
func (r *Records) candidates(ctx context.Context, v *logbook.View, start time.Time) ([]candidate, error) {
	day := start.In(r.zone).Format(time.DateOnly)
	found, err := v.Cycles(ctx, logbook.CycleFilter{From: day, To: day, Start: entry.At(start)})
	if err != nil {
		return nil, err
	}
	out := make([]candidate, 0, len(found))
	for _, c := range found {
		out = append(out, candidate{key: c.Key, steriliser: c.Steriliser, configured: c.Configured && r.knows(c.Steriliser),
			readings: digestOf(c), kept: &c})
	}
	return out, nil
}

// knows tells whether a steriliser is configured today.
func (r *Records) knows(id string) bool {
	_, is := r.bench.machines[id]
	return is
}

// relate finds which of the candidates a cycle is, and how; nil if it is none.
func (r *Records) relate(ctx context.Context, v *logbook.View, j Judged, among []candidate) (*candidate, relation, error) {
	var best *candidate
	how := isNew
	for i := range among {
		c := &among[i]
		if !r.sameMachine(j.Header, c) {
			continue
		}
		rel, err := r.compare(ctx, v, j, c)
		if err != nil {
			return nil, isNew, err
		}
		// The readings themselves before a longer record before the beginning of one.
		if rel != isNew && (how == isNew || rel == isAgain && how != isAgain) {
			best, how = c, rel
		}
	}
	return best, how, nil
}

// sameMachine tells whether a kept cycle may be of the machine of one just read: it
// has the same name, or one of the two was read when nobody had configured it, and
// named no machine or this one.
func (r *Records) sameMachine(h cycle.Header, c *candidate) bool {
	switch {
	case h.Steriliser == c.steriliser:
		return true
	case h.Configured && !c.configured:
		return r.mayName(c.steriliser, h.Steriliser)
	case c.configured && !h.Configured:
		return r.mayName(h.Steriliser, c.steriliser)
	}
	return false
}

// mayName tells whether a record that names a machine so may be of the one with this id.
func (r *Records) mayName(name, id string) bool {
	if name == "" || strings.EqualFold(name, id) {
		return true
	}
	for _, s := range r.settings.Value.Sterilisers {
		if s.ID == id && s.Serial != "" && strings.EqualFold(s.Serial, name) {
			return true
		}
	}
	return false
}

func (r *Records) compare(ctx context.Context, v *logbook.View, j Judged, c *candidate) (relation, error) {
	switch {
	case j.readings == c.readings:
		return isAgain, nil
	case j.Record == nil:
		return isShorter, nil
	case c.readings.N == 0:
		return isLonger, nil
	case c.readings.N <= j.readings.N:
		if validate.Extends(j.Record, c.readings) {
			return isLonger, nil
		}
		return isNew, nil
	}
	rec := c.record
	if c.kept == nil && rec == nil {
		return isNew, errHold
	}
	if rec == nil {
		var err error
		if rec, err = r.recordOf(ctx, v, c.key); err != nil {
			return isNew, err
		}
	}
	if validate.Extends(rec, j.readings) {
		return isShorter, nil
	}
	return isNew, nil
}

// recordOf reads the record of a kept cycle again from the bytes it was judged by,
// under the configuration in force.
//
// Error: the bytes are damaged, or hold the cycle no more as it was read then.
func (r *Records) recordOf(ctx context.Context, v *logbook.View, key string) (*cycle.Record, error) {
	c, err := v.Cycle(ctx, key)
	if err != nil {
		return nil, err
	}
	from := c.Verdict.Sources[0]
	src, err := r.original(ctx, v, from.SHA256)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	in, err := parse.Open(from.File, src, r.bench.options)
	if err != nil {
		return nil, err
	}
	for {
		got, err := in.Next()
		switch {
		case errors.Is(err, io.EOF):
			return nil, fmt.Errorf("the cycle %s is not found in %s as it is read today; see holdproof rejudge", key, from.File)
		case err != nil:
			return nil, err
		case got.Record != nil && int64(got.Header.Source.FirstLine) == from.FirstLine:
			return got.Record, nil
		}
	}
}

// original makes kept bytes readable back and forth. Close it.
func (r *Records) original(ctx context.Context, v *logbook.View, sum string) (*source, error) {
	in, err := v.Original(ctx, sum)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	return spooled(in, func() error { return nil })
}

// freeKey returns the name of a new cycle: its id, or the id and a count where
// another cycle has it. continues is the key it had before, "" for none.
func (r *Records) freeKey(ctx context.Context, v *logbook.View, id, continues string, taken func(string) bool) (string, error) {
	for n := 1; ; n++ {
		key := id
		if n > 1 {
			key = fmt.Sprintf("%s-%d", id, n)
		}
		if taken(key) {
			continue
		}
		found, err := v.Cycles(ctx, logbook.CycleFilter{Key: key, Renamed: true})
		if err != nil {
			return "", err
		}
		if len(found) == 0 || continues != "" && found[0].ContinuedBy == continues {
			return key, nil
		}
	}
}
