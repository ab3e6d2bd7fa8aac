package cli

import (
	"errors"
	"fmt"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

// bagMemory is where the collector begins to work harder while a bag is packed: the tree
// of ten years and the names of their files are about half of it.
const bagMemory = 34 << 20

func bagCommand(w World, at *common) *cobra.Command {
	var b surgery.Bagging
	var who string
	var asJSON bool
	words := &passphrases{w: w}
	c := &cobra.Command{
		Use:   "bag FROM TO",
		Short: "Pack a period for an inspector",
		Long: "Packs the days from one to another, ends included, into a new folder or ZIP that can be\n" +
			"read and checked without holdproof: signed records, exports as they were, every entry of\n" +
			"the logbook with its proof, certificates, a table of cycles, pages for a browser, and how\n" +
			"to check. With --by PERSON a lead signs the checkpoint, with one passphrase. The same\n" +
			"period of the same logbook gives the same bytes.",
		Example: "holdproof bag 2026-11-02 2026-11-08 --out november.zip --by mara",
		Args:    needs(2, 2, "the first and the last day"),
	}
	configFlag(c, at)
	passphraseFlag(c, words)
	c.Flags().StringVar(&b.Out, "out", "", "the new folder, or the new file if it ends in .zip")
	c.Flags().StringVar(&b.Steriliser, "steriliser", "", "only the cycles and exports of this steriliser")
	c.Flags().StringVar(&who, "by", "", "the lead who signs the checkpoint: the id of the person")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, args []string) error {
		words.ctx = c.Context()
		defer words.done()
		r, done, err := lookAtRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		if w.Getenv("GOMEMLIMIT") == "" {
			debug.SetMemoryLimit(bagMemory)
		}
		g := newGauge(w, "packing")
		b.From, b.To, b.Progress = args[0], args[1], g.show
		if who != "" {
			b.By = surgery.Proof{Person: who, Passphrase: words.ask(who)}
		}
		out, err := r.Bag(c.Context(), b)
		g.clear()
		if err != nil {
			return stopped(err)
		}
		if asJSON {
			err = bagJSON(w, out)
		} else {
			err = writeBagged(newPage(w, w.Stdout), b, out)
		}
		if err == nil && len(out.Missing) > 0 {
			return status(exitFound)
		}
		return err
	}
	return c
}

func writeBagged(p *page, b surgery.Bagging, out surgery.Bagged) error {
	p.gap()
	p.para("  ", fmt.Sprintf("%s: %s to %s", out.Path, surgery.DayWords(b.From), surgery.DayWords(b.To)), strong)
	p.para("  ", fmt.Sprintf("%s, %s, %s, and all %d entries of the logbook with their proofs.", countOf(out.Cycles, "cycle"),
		countOf(out.Records, "signed record"), countOf(out.Exports, "export"), out.Entries), plain)
	for _, m := range out.Missing {
		p.gap()
		p.para("  "+p.mark(surgery.Failed).text+"  ", sentence("Not packed: "+m+". The bag says so too. Copy the file back and pack again"), plain)
	}
	p.gap()
	if out.Signer != "" {
		p.para("  ", out.Signer+" signed it, and its checkpoint.", plain)
	} else {
		p.para("  ", "Nobody signed it: what no signed record covers can be changed without a trace. With --by PERSON a lead signs all of it.", plain)
	}
	p.para("  ", "Whoever checks it compares the fingerprint of your authority. Read it out to them, from here:", plain)
	p.para("    ", out.Fingerprint, plain)
	p.gap()
	p.line(span{"  They should keep these four lines for the next time:", plain})
	for l := range strings.Lines(out.Checkpoint) {
		p.line(span{"    " + strings.TrimSuffix(l, "\n"), plain})
	}
	p.gap()
	p.para("  ", "Begin with HOW-TO-CHECK.txt and index.html in its folder data. Next: holdproof verify "+out.Path, plain)
	return p.flush()
}

func bagJSON(w World, out surgery.Bagged) error {
	if out.Path == "" {
		return errors.New("no bag was made")
	}
	return writeJSON(w.Stdout, struct {
		Path        string   `json:"path"`
		Cycles      int      `json:"cycles"`
		Records     int      `json:"records"`
		Exports     int      `json:"exports"`
		Entries     int64    `json:"entries"`
		Signer      string   `json:"signer"`
		Fingerprint string   `json:"fingerprint"`
		Checkpoint  string   `json:"checkpoint"`
		Missing     []string `json:"missing"`
	}{out.Path, out.Cycles, out.Records, out.Exports, out.Entries, out.Signer, out.Fingerprint, out.Checkpoint, orEmpty(out.Missing)})
}
