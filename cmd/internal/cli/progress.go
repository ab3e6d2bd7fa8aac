package cli

import (
	"fmt"
	"os"
	"time"

	"golang.org/x/term"

	"holdproof/cmd/internal/surgery"
)

// progress tells a person who waits at a terminal that something is happening. It
// writes nothing in the first second, and nothing at all into a pipe.
type progress struct {
	world  World
	shows  bool
	next   time.Time
	cycles int
	wrote  bool
}

func newProgress(w World) *progress {
	f, ok := w.Stderr.(*os.File)
	return &progress{world: w, shows: ok && term.IsTerminal(int(f.Fd())), next: w.Now().Add(time.Second)}
}

func (p *progress) Cycle(surgery.Judged) error {
	p.cycles++
	if !p.shows {
		return nil
	}
	if now := p.world.Now(); now.After(p.next) {
		p.next, p.wrote = now.Add(time.Second/4), true
		fmt.Fprintf(p.world.Stderr, "\r%d cycles judged", p.cycles)
	}
	return nil
}

func (p *progress) File(surgery.FileRead) error { return nil }

// done takes the line away again.
func (p *progress) done() {
	if p.wrote {
		fmt.Fprint(p.world.Stderr, "\r\x1b[K")
	}
}
