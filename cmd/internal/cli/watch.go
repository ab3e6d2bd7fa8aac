package cli

import (
	"context"
	"fmt"
	"strings"
	"time"

	"holdproof/cmd/internal/desk"
	"holdproof/cmd/internal/surgery"
)

// watchAgain is how soon a watch that ended is tried again beside a desk (ours).
const watchAgain = time.Minute

// watchFolders takes exports as they come, until somebody interrupts it. looked may be nil.
func watchFolders(ctx context.Context, w World, r *surgery.Records, named []string, looked func(away []string)) error {
	folders, err := r.WatchFolders(named)
	if err != nil {
		return err
	}
	p := newPage(w, w.Stdout)
	p.para("  ", "Watching "+strings.Join(folders, ", ")+". Each export is taken when it is complete. Stop with Ctrl-C.", plain)
	if err := p.flush(); err != nil {
		return err
	}
	in := &watchPage{w: w, limits: r.Configuration().LimitsInForce()}
	return r.Watch(ctx, surgery.Watching{Folders: folders, Looked: looked, Say: func(text string) { fmt.Fprintln(w.Stderr, text) }}, in, in.page)
}

// keepWatching watches beside a desk. What ends a watch is said on the desk and here, and
// ends nothing else: it is tried again.
func keepWatching(ctx context.Context, w World, r *surgery.Records, d *desk.Desk, again time.Duration) {
	said := ""
	for {
		err := watchFolders(ctx, w, r, nil, d.Watched)
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			d.WatchFailed(err)
			if text := err.Error(); text != said {
				said = text
				fmt.Fprintf(w.Stderr, "the folders are not watched now: %v; it is tried again\n", err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(again):
		}
	}
}

// watchPage writes a page for each time that something came.
type watchPage struct {
	w      World
	limits string
	now    *arrivals
}

func (t *watchPage) arrivals() *arrivals {
	if t.now == nil {
		t.now = newArrivals(newPage(t.w, t.w.Stdout), t.limits)
	}
	return t.now
}

func (t *watchPage) Cycle(c surgery.Arrival) error { return t.arrivals().Cycle(c) }
func (t *watchPage) File(f surgery.Imported) error { return t.arrivals().File(f) }
func (t *watchPage) Again() error                  { return t.arrivals().Again() }

func (t *watchPage) page(across []surgery.Between) error {
	if t.now == nil {
		return nil // it was kept already
	}
	a := t.now
	t.now = nil
	a.count.complain(newPage(t.w, t.w.Stderr))
	return a.finish(across)
}
