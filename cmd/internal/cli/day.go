package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func dayCommand(w World, at *common) *cobra.Command {
	var out, signer, reason string
	var asJSON bool
	words := &passphrases{w: w}
	c := &cobra.Command{
		Use:   "day [DATE]",
		Short: "Draw and sign the record of a day",
		Long: "Draws the record of a day (default today) as a PDF/A-3 with its exports inside. Without\n" +
			"--sign it is a preview that nobody signed, written to --out or to a temporary folder.\n" +
			"With --sign it is signed as prepared and kept in records; a day that lacks something is\n" +
			"signed only with --reason, which is printed. A day that changed after it was signed gets\n" +
			"a new revision that names the old one. One passphrase: that of the person who signs.",
		Example: "holdproof day 2026-11-02 --sign mara",
		Args:    needs(0, 1, "one date"),
	}
	configFlag(c, at)
	passphraseFlag(c, words)
	c.Flags().StringVar(&out, "out", "", "write the preview to this new file")
	c.Flags().StringVar(&signer, "sign", "", "sign as prepared: the id of the person")
	c.Flags().StringVar(&reason, "reason", "", "why the day is signed with something missing, or made anew")
	c.Flags().BoolVar(&asJSON, "json", false, "print the facts of the day as JSON (day.json) and write nothing")
	c.MarkFlagsMutuallyExclusive("out", "sign", "json")
	c.RunE = func(c *cobra.Command, args []string) error {
		words.ctx = c.Context()
		defer words.done()
		opened := lookAtRecords
		if signer != "" {
			opened = openRecords
		}
		r, done, err := opened(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		date := r.Today()
		if len(args) > 0 {
			date = args[0]
		}
		if signer != "" {
			s, err := r.Prepare(c.Context(), surgery.Signing{Date: date, Reason: reason,
				By: surgery.Proof{Person: signer, Passphrase: words.ask(signer)}})
			if err != nil {
				return stopped(err)
			}
			return writeSigned(newPage(w, w.Stdout), date, s)
		}
		return preview(c, w, r, date, out, asJSON)
	}
	return c
}

// preview writes the record without signing it.
func preview(c *cobra.Command, w World, r *surgery.Records, date, out string, asJSON bool) error {
	rec, err := r.Day(c.Context(), date)
	if err != nil {
		return stopped(err)
	}
	if asJSON {
		data, err := rec.Day.Marshal()
		if err == nil {
			_, err = w.Stdout.Write(data)
		}
		return err
	}
	data, err := rec.Preview()
	if err != nil {
		return err
	}
	if out == "" {
		dir, err := os.MkdirTemp("", "holdproof-day-")
		if err != nil {
			return err
		}
		out = filepath.Join(dir, date+".preview.pdf")
	}
	if err := surgery.WriteNew(out, data); err != nil {
		return err
	}
	return writePreview(newPage(w, w.Stdout), rec, out)
}

func writePreview(p *page, rec *surgery.DayRecord, out string) error {
	d := rec.Day
	p.gap()
	p.line(span{"  " + d.Surgery.Name + ", " + surgery.DayWords(d.Date), strong})
	p.para("  ", fmt.Sprintf("%s: %s", countOf(len(d.Cycles), "cycle"), dayTally(rec)), plain)
	for _, m := range d.Missing {
		what := m.What
		if m.Machine != "" {
			what = m.Machine + ": " + what
		}
		p.para("  Missing: ", sentence(what), plain)
	}
	p.gap()
	p.para("  ", "Preview, signed by nobody: "+out, plain)
	switch {
	case !rec.Due && rec.Waiting:
		p.para("  ", "The day is signed as prepared. Next: holdproof countersign "+d.Date+" --as PERSON", plain)
	case !rec.Due:
		p.para("  ", "The day is signed, and nothing changed since.", plain)
	case len(d.Changes) > 0:
		p.para("  ", fmt.Sprintf("The day changed after it was signed: %s. Next: holdproof day %s --sign PERSON", countOf(len(d.Changes), "later entry"), d.Date), plain)
	default:
		p.para("  ", "Next: holdproof day "+d.Date+" --sign PERSON", plain)
	}
	return p.flush()
}

// dayTally is how many cycles came to which outcome, the worst first.
func dayTally(rec *surgery.DayRecord) string {
	var out []string
	for _, t := range rec.Day.Tallies() {
		out = append(out, fmt.Sprintf("%d %s", t.Cycles, t.Outcome))
	}
	if len(out) == 0 {
		return "nothing to judge"
	}
	return strings.Join(out, ", ")
}

func writeSigned(p *page, date string, s surgery.Signed) error {
	p.gap()
	stamped := ""
	if s.Stamped {
		stamped = ", with a time stamp"
	}
	p.para("  ", fmt.Sprintf("%s signed the record of %s as %s%s.", s.Name, surgery.DayWords(date), s.Meaning, stamped), strong)
	if s.Resumed {
		p.para("  ", "Its file was there from a signing that was interrupted; it is entered now.", plain)
	}
	p.para("  ", s.File, plain)
	p.para("  ", fmt.Sprintf("Revision %d, entry %d, SHA-256 %s", s.Revision, s.Entry, s.SHA256), plain)
	if s.Second {
		p.para("  ", "Next: holdproof countersign "+date+" --as PERSON", plain)
	}
	return p.flush()
}

func countersignCommand(w World, at *common) *cobra.Command {
	var who string
	words := &passphrases{w: w}
	c := &cobra.Command{
		Use:   "countersign DATE",
		Short: "Sign the record of a day as reviewed",
		Long: "Puts the second signature under the newest record of a day. Whoever prepared it cannot\n" +
			"review it. No byte of the record changes: the signature is put behind it. One passphrase:\n" +
			"that of the person who signs.",
		Example: "holdproof countersign 2026-11-02 --as lea",
		Args:    needs(1, 1, "one date"),
	}
	configFlag(c, at)
	passphraseFlag(c, words)
	c.Flags().StringVar(&who, "as", "", "the id of the person who reviews")
	c.RunE = func(c *cobra.Command, args []string) error {
		if who == "" {
			return errors.New("nobody is named who reviews the record; say --as PERSON, for example: " + c.Example)
		}
		words.ctx = c.Context()
		defer words.done()
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		s, err := r.Countersign(c.Context(), args[0], surgery.Proof{Person: who, Passphrase: words.ask(who)})
		if err != nil {
			return stopped(err)
		}
		return writeSigned(newPage(w, w.Stdout), args[0], s)
	}
	return c
}
