package cli

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func noteCommand(w World, at *common) *cobra.Command {
	var b byFlags
	var f noteFlags
	c := &cobra.Command{
		Use:   "note --duty NAME",
		Short: "Note a test read, a line treatment, a counter ...",
		Long: "Notes what was done or seen beside the cycles. What is left out is found where only one\n" +
			"thing can be meant. No names of patients: the load number is the link.\n\n" +
			"Duties, and the flags that each asks for:\n\n" + dutyHelp() + "\n" +
			"--correct N says entry N anew, with a reason; --withdraw takes it back. What it said stays\n" +
			"readable and no longer counts.\n\n" +
			"--from FILE notes a list of duties, all of its rows or none. The same file again adds\n" +
			"nothing. It is a table with a heading: comma, semicolon or tab, UTF-8. Its columns:\n\n" + columnHelp(),
		Example: "holdproof note --duty \"water lines disinfected\" --place \"chair 1\" --outcome done \\\n" +
			"    --product \"line rinse\" --concentration \"3 %\" --in 17:30 --out 17:42 --by lea",
		Args: needs(0, 0, "no argument, but --duty"),
	}
	configFlag(c, at)
	b.add(c, "the person who did or saw it")
	f.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return act(c, w, at, &b, func(r *surgery.Records) error {
			f.noting.By, f.noting.Reason = b.proof(), b.reason
			if f.from != "" {
				return f.list(c, w, r)
			}
			done, err := f.keep(c, r)
			if err != nil {
				return err
			}
			word := fmt.Sprintf("Noted (entry %d).", done.Entry)
			if f.correct != 0 {
				word = fmt.Sprintf("Entry %d is corrected (entry %d).", f.correct, done.Entry)
			}
			return writeNoted(newPage(w, w.Stdout), word, done)
		})
	}
	return c
}

// writeNoted says what a note came to; what failed stands out.
func writeNoted(p *page, word string, done surgery.Noted) error {
	style := plain
	if done.Outcome == "failed" {
		style = strong
	}
	p.para("  ", word, plain)
	for _, s := range done.Says {
		p.para("  ", s, style)
	}
	return p.flush()
}

// noteFlags are what a note says, as it is typed.
type noteFlags struct {
	noting        surgery.Noting
	value         float64
	when, in, out string
	entry         int64
	correct       int64
	withdraw      bool
	from          string
}

func (f *noteFlags) add(c *cobra.Command) {
	s, n := c.Flags(), &f.noting
	s.StringVar(&n.Duty, "duty", "", "what was done, as above")
	s.StringVar(&n.Day, "date", "", "the day it belongs to (default that of --in or --at, or of the test)")
	s.StringVar(&n.Steriliser, "steriliser", "", "on which machine")
	s.StringVar(&n.Place, "place", "", "which chair or line")
	s.StringVar(&n.Cycle, "cycle", "", "which cycle")
	s.StringVar(&n.Outcome, "outcome", "", "done, \"not done\", passed or failed")
	s.Float64Var(&f.value, "value", 0, "the figure that was read")
	s.IntVar(&n.Times, "times", 0, "how often it was done, such as between patients (default once)")
	s.StringVar(&n.Text, "text", "", "in words; no names of patients")
	s.StringVar(&n.Product, "product", "", "of a disinfection")
	s.StringVar(&n.Strength, "concentration", "", "of a disinfection, such as \"3 %\"")
	s.StringVar(&f.in, "in", "", "when it went in: 17:30 or \"2026-11-02 17:30\"")
	s.StringVar(&f.out, "out", "", "when it came out")
	s.StringVar(&n.Sampled, "sampled", "", "the day on which a water sample was taken")
	s.StringVar(&n.Control, "control", "", "of a spore test: the control grew, or \"did not grow\"")
	s.StringArrayVar(&n.Tests, "test", nil, "a test owed before the machine returns, or none; may be repeated")
	s.Int64Var(&f.entry, "entry", 0, "number of the entry of a file, or of what this is the result of")
	s.StringVar(&n.Explains, "explains", "", "what between the cycles it explains, such as number-gap")
	s.StringVar(&f.when, "at", "", "when it was done (default now)")
	s.Int64Var(&f.correct, "correct", 0, "number of the entry to correct")
	s.BoolVar(&f.withdraw, "withdraw", false, "with --correct: take the entry back")
	s.StringVar(&f.from, "from", "", "a list of duties, as above")
	s.BoolVar(&n.Sure, "yes", false, "what was asked about is as it was entered: a name that is\nno patient's, an unlikely figure or date")
}

// keep enters the note, or the correction of one.
func (f *noteFlags) keep(c *cobra.Command, r *surgery.Records) (surgery.Noted, error) {
	n := &f.noting
	if c.Flags().Changed("value") {
		n.Value = &f.value
	}
	var failed error
	moment := func(text string) time.Time {
		m, err := r.Moment(text, n.Day)
		failed = errors.Join(failed, err)
		return m
	}
	n.At, n.From, n.To = moment(f.when), moment(f.in), moment(f.out)
	if duty, _ := surgery.DutyNamed(n.Duty); duty.File {
		n.File = f.entry
	} else {
		n.Of = f.entry
	}
	switch {
	case failed != nil:
		return surgery.Noted{}, failed
	case f.correct != 0:
		return r.Correct(c.Context(), surgery.Correcting{Entry: f.correct, Withdraw: f.withdraw, Note: *n, By: n.By, Reason: n.Reason})
	case n.Duty == "":
		return surgery.Noted{}, errors.New("no duty is named; give --duty, for example: " + c.Example)
	}
	return r.Note(c.Context(), *n)
}

// list enters a list of duties.
func (f *noteFlags) list(c *cobra.Command, w World, r *surgery.Records) error {
	for _, name := range []string{"duty", "date", "steriliser", "place", "cycle", "outcome", "value", "times", "text", "product", "concentration",
		"in", "out", "sampled", "control", "test", "entry", "explains", "at", "correct", "withdraw"} {
		if c.Flags().Changed(name) {
			return fmt.Errorf("--from takes all from the list; leave --%s out", name)
		}
	}
	done, err := r.NoteList(c.Context(), surgery.NoteList{File: f.from, By: f.noting.By, Reason: f.noting.Reason, Sure: f.noting.Sure})
	if err != nil {
		return err
	}
	p := newPage(w, w.Stdout)
	said := map[string]bool{} // that a day is signed is said once
	for _, n := range done.Notes {
		for _, s := range n.Says {
			if said[s] {
				continue
			}
			said[s] = true
			style := plain
			if n.Outcome == "failed" {
				style = strong
			}
			p.para("  ", fmt.Sprintf("Line %d: %s", n.Line, s), style)
		}
	}
	text := fmt.Sprintf("%s noted", countOf(len(done.Notes), "row"))
	if len(done.Notes) > 0 {
		text += fmt.Sprintf(" (entries %d to %d)", done.Notes[0].Entry, done.Notes[len(done.Notes)-1].Entry)
	}
	if done.Again > 0 {
		text += fmt.Sprintf(", %s noted before", countOf(done.Again, "row"))
	}
	p.para("  ", text+".", plain)
	return p.flush()
}

// dutyHelp lists the duties with what they are and the flags they ask for.
func dutyHelp() string {
	var text strings.Builder
	for _, d := range surgery.Duties() {
		flags := strings.Join(dutyFlags(d), " ")
		lead := "  " + padded(d.Name, 30) + "  "
		for _, l := range append(wrap(d.What, 80-cells(lead)), wrap(flags, 80-cells(lead))...) {
			text.WriteString(strings.TrimRight(lead+l, " ") + "\n")
			lead = strings.Repeat(" ", cells(lead))
		}
	}
	return text.String()
}

// dutyFlags are the flags a duty asks for; those in brackets may be left out.
func dutyFlags(d surgery.DutyForm) []string {
	var out []string
	flag := func(is bool, name string, must bool) {
		switch {
		case is && must:
			out = append(out, "--"+name)
		case is:
			out = append(out, "[--"+name+"]")
		}
	}
	flag(d.On == "steriliser", "steriliser", true)
	flag(d.On == "place", "place", true)
	flag(d.Cycle, "cycle", d.Test == "" && d.Of == "" && d.Unit == "")
	flag(len(d.Outcomes) > 0, "outcome", !d.Judged)
	flag(d.Unit != "", "value", d.Value)
	flag(d.Times, "times", false)
	flag(d.Product, "product", true)
	flag(d.Strength, "concentration", true)
	flag(d.In, "in", d.InNeeded)
	flag(d.Out, "out", false)
	flag(d.Sampled, "sampled", true)
	flag(d.Control, "control", true)
	flag(d.Tests, "test", false)
	flag(d.File, "entry", true)
	flag(d.Of != "", "entry", false)
	flag(true, "text", d.Text)
	return out
}

// columnHelp lists the columns of a list of duties.
func columnHelp() string {
	var text strings.Builder
	for _, c := range surgery.ListColumns() {
		lead := "  " + padded(c[0], 14) + "  "
		for _, l := range wrap(c[1], 80-cells(lead)) {
			text.WriteString(lead + l + "\n")
			lead = strings.Repeat(" ", cells(lead))
		}
	}
	return text.String()
}
