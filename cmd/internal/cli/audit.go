package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func auditCommand(w World, at *common) *cobra.Command {
	var since []string
	var asJSON bool
	c := &cobra.Command{
		Use:   "audit",
		Short: "Check that nothing kept was changed",
		Long: "Checks every kept byte, every entry and every signed record of the site, and that\n" +
			"what was there at a checkpoint kept elsewhere is there unchanged. The exit code is 1\n" +
			"when a difference was found.",
		Example: "holdproof audit --since checkpoint.txt",
		Args:    needs(0, 0, "no argument"),
	}
	configFlag(c, at)
	c.Flags().StringSliceVar(&since, "since", nil, "a file with checkpoints that was kept elsewhere")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, done, err := lookAtRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		g := newGauge(w, "checking")
		a, err := r.Audit(c.Context(), surgery.Auditing{Since: since, Progress: g.show})
		g.clear()
		if err != nil {
			return stopped(err)
		}
		if asJSON {
			err = auditJSON(w, a)
		} else {
			err = writeAudit(newPage(w, w.Stdout), a)
		}
		if err == nil && !a.OK() {
			return status(exitFound)
		}
		return err
	}
	return c
}

// stopped says that a person interrupted work that keeps nothing.
func stopped(err error) error {
	if errors.Is(err, errStopped) {
		return errors.New("interrupted")
	}
	return err
}

func writeAudit(p *page, a surgery.Audited) error {
	p.gap()
	for _, s := range a.Problems {
		m := p.mark(surgery.Failed)
		p.para("  "+m.text+"  ", sentence(s), plain)
		p.gap()
	}
	if a.OK() {
		p.line(span{"  ", plain}, p.mark(surgery.Conforms), span{"  Nothing kept was changed.", strong})
	} else {
		p.para("  ", "What was found differs from what was kept. Copy the folder before anything else is done to it, and tell the lead.", strong)
	}
	p.gap()
	p.para("  ", fmt.Sprintf("Checked: %s, and kept files, checkpoints and signed records, %d in all.", countOf(int(a.Entries), "entry"), a.Checked), plain)
	for _, s := range a.Remarks {
		p.para("  ", sentence(s), plain)
	}
	p.para("  ", a.Retention, plain)
	p.gap()
	p.line(span{"  Keep these four lines outside this computer:", plain})
	p.gap()
	for l := range strings.Lines(a.Checkpoint) {
		p.line(span{"    " + strings.TrimSuffix(l, "\n"), plain})
	}
	return p.flush()
}

// auditJSON prints what scripts rely on: ok, checked, trusted, problems. The logbook
// trusts nobody else, so trusted is that its problems are none.
func auditJSON(w World, a surgery.Audited) error {
	return writeJSON(w.Stdout, struct {
		OK         bool     `json:"ok"`
		Checked    int64    `json:"checked"`
		Trusted    bool     `json:"trusted"`
		Problems   []string `json:"problems"`
		Remarks    []string `json:"remarks"`
		Entries    int64    `json:"entries"`
		Checkpoint string   `json:"checkpoint"`
		Retention  string   `json:"retention"`
	}{a.OK(), a.Checked, a.OK(), orEmpty(a.Problems), orEmpty(a.Remarks), a.Entries, a.Checkpoint, a.Retention})
}
