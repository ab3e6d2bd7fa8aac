package cli

import (
	"context"
	"fmt"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// watchFolders takes exports as they come, until somebody interrupts it.
func watchFolders(ctx context.Context, w World, r *surgery.Records, named []string) error {
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
	return r.Watch(ctx, surgery.Watching{Folders: folders, Say: func(text string) { fmt.Fprintln(w.Stderr, text) }}, in, in.page)
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
