package surgery

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// World is what an act needs from outside the logbook.
type World struct {
	Now     func() time.Time // clock of the entry times; required
	Version string           // of the program, written into verdicts; "" for [Version]
	Rounds  int              // of PBKDF2 in new key files, 0 for as many as is safe; tests take fewer
}

// Settings are a configuration and the bytes it was read from.
type Settings struct {
	Value Configuration
	File  string // as the person names it, "" where there is none
	Text  []byte // the whole of what is in force, UTF-8
}

// Records are the opened logbook of a site under the configuration in force. All
// acts on what is kept go through them. Several goroutines may use one at a time.
type Records struct {
	dir      string
	book     *logbook.Book
	settings Settings
	sum      string // SHA-256 of settings.Text
	zone     *time.Location
	bench    *bench
	world    World
	drifts   driftMemo

	afterFile func() error // where tests cut a signing off; nil

	mu      sync.Mutex
	notices []string
}

// OpenRecords opens the logbook in the folder dir. Nothing is written: the bytes of
// the configuration become an entry with the next act.
//
// Errors: those of [logbook.Open]; a configuration with an unknown time zone.
func OpenRecords(ctx context.Context, dir string, s Settings, w World) (*Records, error) {
	return openRecords(ctx, dir, s, w, logbook.Open)
}

// LookAtRecords is OpenRecords for who only reads: a copy that cannot be written to will
// do, and then every act is refused.
func LookAtRecords(ctx context.Context, dir string, s Settings, w World) (*Records, error) {
	return openRecords(ctx, dir, s, w, logbook.Look)
}

func openRecords(ctx context.Context, dir string, s Settings, w World,
	opened func(context.Context, string, logbook.Options) (*logbook.Book, error)) (*Records, error) {
	if w.Version == "" {
		w.Version = Version
	}
	d, err := newBench(s.Value, "")
	if err != nil {
		return nil, err
	}
	book, err := opened(ctx, dir, logbook.Options{Now: w.Now})
	if err != nil {
		return nil, err
	}
	if s.File == "" {
		s.File = "no configuration"
	}
	return &Records{dir: dir, book: book, settings: s, sum: entry.Sum(s.Text), zone: d.options.Zone, bench: d, world: w}, nil
}

// Close closes the logbook.
func (r *Records) Close() error { return r.book.Close() }

// Dir is the site's folder.
func (r *Records) Dir() string { return r.dir }

// Configuration is the one in force.
func (r *Records) Configuration() Configuration { return r.settings.Value }

// Zone is the site's time zone.
func (r *Records) Zone() *time.Location { return r.zone }

// Now is the time by this computer's clock, in the site's zone.
func (r *Records) Now() time.Time { return r.world.Now().In(r.zone) }

// Today is the local date.
func (r *Records) Today() string { return r.Now().Format(time.DateOnly) }

// Notices returns, once, what did not hinder an act but should be known, such as
// a checkpoint that could not be copied. Sentences.
func (r *Records) Notices() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := r.notices
	r.notices = nil
	return out
}

func (r *Records) notice(format string, args ...any) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if text := fmt.Sprintf(format, args...); !slices.Contains(r.notices, text) {
		r.notices = append(r.notices, text)
	}
}

// write is the one way to add to the logbook: all that fn adds is kept, or nothing.
// The configuration in force becomes an entry before it, if it is not the last one
// that did; afterwards the checkpoint goes to its other place.
func (r *Records) write(ctx context.Context, fn func(*logbook.Batch) error) error {
	tip, err := r.book.Write(ctx, func(b *logbook.Batch) error {
		if err := r.comeIntoForce(ctx, b); err != nil {
			return err
		}
		return fn(b)
	})
	if err != nil {
		return err
	}
	r.copyCheckpoint(tip)
	return nil
}

// comeIntoForce makes the bytes of the configuration an entry.
func (r *Records) comeIntoForce(ctx context.Context, b *logbook.Batch) error {
	last, err := logbook.Find[entry.Configuration](ctx, b.View, logbook.Filter{Newest: true, Limit: 1})
	if err != nil || len(last) > 0 && last[0].Said.SHA256 == r.sum {
		return err
	}
	_, err = b.Add(entry.Draft{At: r.world.Now(), Body: entry.Configuration{
		SHA256: r.sum, File: filepath.Base(r.settings.File), Text: string(r.settings.Text)}})
	return err
}

// cycleNamed finds the cycle that a person names: by its key, by its number where
// only one standing cycle has it, or by steriliser and number with a slash, a colon,
// a space or a middle dot between: S1/1042. A cycle that became another one is
// followed to it.
//
// Errors: none of that name, several; sentences with the names to use.
func cycleNamed(ctx context.Context, v *logbook.View, name string) (logbook.Cycle, error) {
	name = strings.TrimSpace(name)
	found, err := v.Cycles(ctx, logbook.CycleFilter{Key: name, Renamed: true, Verdicts: true})
	if err != nil {
		return logbook.Cycle{}, err
	}
	if name == "" || len(found) == 0 {
		if found, err = byNumber(ctx, v, name); err != nil {
			return logbook.Cycle{}, err
		}
	}
	switch len(found) {
	case 0:
		return logbook.Cycle{}, fmt.Errorf("no cycle %q is in the logbook; name it by its number, such as S1/1042, or by its id, such as S1-20261102-081403", name)
	case 1:
		if next := found[0].ContinuedBy; next != "" {
			return v.Cycle(ctx, next)
		}
		return found[0], nil
	}
	var keys []string
	for _, c := range found[:min(len(found), 5)] {
		keys = append(keys, c.Key)
	}
	return logbook.Cycle{}, fmt.Errorf("%d cycles are called %q; name one by its id: %s", len(found), name, Alternatives(keys))
}

func byNumber(ctx context.Context, v *logbook.View, name string) ([]logbook.Cycle, error) {
	if name == "" {
		return nil, nil
	}
	found, err := v.Cycles(ctx, logbook.CycleFilter{Number: name, Verdicts: true, Newest: true, Limit: 6})
	if err != nil || len(found) > 0 {
		return found, err
	}
	for _, sign := range []string{"·", "/", ":", " "} {
		machine, number, both := strings.Cut(name, sign)
		machine, number = strings.TrimSpace(machine), strings.TrimSpace(number)
		if !both || machine == "" || number == "" {
			continue
		}
		found, err = v.Cycles(ctx, logbook.CycleFilter{Steriliser: machine, Number: number, Verdicts: true, Newest: true, Limit: 6})
		if err != nil || len(found) > 0 {
			return found, err
		}
	}
	return nil, nil
}

// Cycle returns the cycle that a person names, with its verdict: by an id, by a
// number, or by both machine and number as in S1/1042.
func (r *Records) Cycle(ctx context.Context, name string) (logbook.Cycle, error) {
	return cycleNamed(ctx, r.book.View, name)
}
