package desk

import (
	"net"
	"net/http"
	"sync"
	"time"
)

// callerOf is the computer that asks. Ids are tried from it as well as passphrases, so that
// it is slowed by itself.
func callerOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// brake slows guessing, for each id by itself (ours): three tries are free, then each
// that fails doubles the wait, up to a quarter of an hour. An id that nobody has is
// slowed as well, so that the wait tells nothing. A computer, which several people may
// share, has twenty tries, and waits for a minute at most.
type brake struct {
	now  func() time.Time
	free int
	lag  time.Duration // the longest
	mu   sync.Mutex
	of   map[string]*tries
}

type tries struct {
	n    int
	last time.Time
}

const (
	freeTries  = 3
	longestLag = 15 * time.Minute
	callerFree = 20
	callerLag  = time.Minute
	mostIDs    = 1000
)

func newBrake(now func() time.Time) *brake {
	return &brake{now: now, free: freeTries, lag: longestLag, of: map[string]*tries{}}
}

// slot is where the tries on an id are counted: once very many ids were tried, the
// others share one.
func (b *brake) slot(id string) *tries {
	if t := b.of[id]; t != nil {
		return t
	}
	if len(b.of) >= mostIDs {
		for k, t := range b.of {
			if b.now().Sub(t.last) > b.lag {
				delete(b.of, k)
			}
		}
	}
	if len(b.of) >= mostIDs {
		id = ""
	}
	if b.of[id] == nil {
		b.of[id] = &tries{}
	}
	return b.of[id]
}

// newCallers is the brake on computers.
func newCallers(now func() time.Time) *brake {
	return &brake{now: now, free: callerFree, lag: callerLag, of: map[string]*tries{}}
}

func (b *brake) wait(id string) time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.slot(id)
	if t.n < b.free {
		return 0
	}
	lag := min(b.lag, time.Second<<min(t.n-b.free, 20))
	return max(0, lag-b.now().Sub(t.last))
}

func (b *brake) failed(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.slot(id)
	t.n, t.last = t.n+1, b.now()
}

func (b *brake) fits(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.of, id)
}
