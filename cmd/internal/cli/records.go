package cli

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"holdproof/cmd/internal/surgery"
)

// openRecords opens the logbook of --dir under the settings in force. What the acts
// on it have to say beside their results goes to standard error when it is closed.
func openRecords(ctx context.Context, w World, at *common) (*surgery.Records, func(), error) {
	return recordsOf(ctx, w, at, surgery.OpenRecords)
}

// lookAtRecords is openRecords for commands that only read.
func lookAtRecords(ctx context.Context, w World, at *common) (*surgery.Records, func(), error) {
	return recordsOf(ctx, w, at, surgery.LookAtRecords)
}

func recordsOf(ctx context.Context, w World, at *common,
	open func(context.Context, string, surgery.Settings, surgery.World) (*surgery.Records, error)) (*surgery.Records, func(), error) {
	s, err := settingsFor(w, at.dir, at.config)
	if err != nil {
		return nil, nil, err
	}
	r, err := open(ctx, at.dir,
		surgery.Settings{Value: s.value, File: s.file, Text: s.inForce(w)}, surgery.World{Now: w.Now, Rounds: w.rounds})
	if err != nil {
		return nil, nil, err
	}
	return r, func() {
		r.Close()
		for _, n := range r.Notices() {
			fmt.Fprintln(w.Stderr, n)
		}
	}, nil
}

// inForce is the text of the settings with what the environment sets over them, so
// that what is kept of them is all that a verdict was made with.
func (s settings) inForce(w World) []byte {
	text := bytes.Clone(s.bytes)
	for _, key := range bound {
		if v := w.Getenv(variable(key)); v != "" {
			if len(text) > 0 && text[len(text)-1] != '\n' {
				text = append(text, '\n')
			}
			text = fmt.Appendf(text, "# from the environment: %s=%q\n", variable(key), v)
		}
	}
	return text
}

// configFlag adds --config to a command.
func configFlag(c *cobra.Command, at *common) {
	c.Flags().StringVar(&at.config, "config", "", "the configuration (default holdproof.yaml in --dir, if there is one)")
}

// gauge shows on a terminal how much of a long work is done; elsewhere nothing.
type gauge struct {
	out  io.Writer // nil: nobody looks
	what string
	now  func() time.Time

	mu    sync.Mutex
	next  time.Time // when to write again
	shown bool
}

// everySoOften is how often progress is written, and atFirst how long nothing is, so that
// short work does not flicker (ours).
const (
	everySoOften = 200 * time.Millisecond
	atFirst      = time.Second
)

func newGauge(w World, what string) *gauge {
	p := &gauge{what: what, now: w.Now, next: w.Now().Add(atFirst)}
	if f, ok := w.Stderr.(*os.File); ok && term.IsTerminal(int(f.Fd())) && w.Getenv("TERM") != "dumb" {
		p.out = f
	}
	return p
}

// show writes how much is done of a whole that is known.
func (p *gauge) show(done, all int64) {
	if all > 0 {
		p.say("%s, %d %%", p.what, min(100, 100*done/all))
	}
}

// count writes how many are done of nobody knows how many.
func (p *gauge) count(done int) { p.say("%d %s", done, p.what) }

func (p *gauge) say(format string, args ...any) {
	if p.out == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.now()
	if now.Before(p.next) {
		return
	}
	p.next, p.shown = now.Add(everySoOften), true
	fmt.Fprintf(p.out, "\r  "+format+"\x1b[K", args...)
}

// clear takes the line away.
func (p *gauge) clear() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.shown {
		fmt.Fprint(p.out, "\r\x1b[K")
		p.shown = false
	}
}
