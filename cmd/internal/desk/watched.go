package desk

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"holdproof/cmd/internal/surgery"
)

// watched is how the folders under watch are, for Today: exports that do not come in by
// themselves must not look like a quiet day.
type watched struct {
	mu     sync.Mutex
	failed error
	away   []string
}

// WatchFailed says that the watch of folders ended with an error. It is shown on Today
// until [Desk.Watched] is called.
func (d *Desk) WatchFailed(err error) {
	d.watched.mu.Lock()
	defer d.watched.mu.Unlock()
	d.watched.failed = err
}

// Watched says that all folders under watch were looked at, and which of them cannot be
// read now.
func (d *Desk) Watched(away []string) {
	d.watched.mu.Lock()
	defer d.watched.mu.Unlock()
	d.watched.failed, d.watched.away = nil, slices.Clone(away)
}

// trouble are sentences for Today.
func (w *watched) trouble() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var out []string
	if w.failed != nil {
		out = append(out, fmt.Sprintf("Exports do not come in by themselves now: %s It is tried again every minute. Until then bring them in here. %s", sentence(w.failed.Error()), onPages(surgery.Remedy(w.failed))))
	}
	if len(w.away) > 0 {
		out = append(out, fmt.Sprintf("%s cannot be read, so nothing comes in from there. It is tried again until it can. Until then bring exports in here.", strings.Join(w.away, ", ")))
	}
	return out
}
