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
		Use:     "note --duty NAME",
		Short:   "Note a test read, a line treatment, a counter ...",
		Long:    "Notes what was done or seen beside the cycles. What is left out is found where only one\nthing can be meant. No names of patients.\n\nDuties:\n\n" + dutyHelp() + "\n--correct N says entry N anew, with a reason; --withdraw takes it back.",
		Example: "holdproof note --duty \"penetration test read\" --steriliser S1 --outcome passed --by lea",
		Args:    needs(0, 0, "no argument, but --duty"),
	}
	configFlag(c, at)
	b.add(c, "the person who did or saw it")
	f.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return act(c, w, at, &b, func(r *surgery.Records) error {
			f.noting.By, f.noting.Reason = b.proof(), b.reason
			done, err := f.keep(c, r)
			if err != nil {
				return err
			}
			word := fmt.Sprintf("Noted (entry %d).", done.Entry)
			if f.correct != 0 {
				word = fmt.Sprintf("Entry %d is corrected (entry %d).", f.correct, done.Entry)
			}
			return tell(w, append([]string{word}, done.Says...)...)
		})
	}
	return c
}

// noteFlags are what a note says, as it is typed.
type noteFlags struct {
	noting        surgery.Noting
	value         float64
	when, in, out string
	correct       int64
	withdraw      bool
}

func (f *noteFlags) add(c *cobra.Command) {
	s, n := c.Flags(), &f.noting
	s.StringVar(&n.Duty, "duty", "", "what was done, as above")
	s.StringVar(&n.Day, "date", "", "the day it belongs to (default today, or that of the test)")
	s.StringVar(&n.Steriliser, "steriliser", "", "on which machine")
	s.StringVar(&n.Place, "place", "", "which chair or line")
	s.StringVar(&n.Cycle, "cycle", "", "which cycle")
	s.StringVar(&n.Outcome, "outcome", "", "done, \"not done\", passed or failed")
	s.Float64Var(&f.value, "value", 0, "the figure that was read")
	s.StringVar(&n.Text, "text", "", "in words")
	s.StringVar(&n.Product, "product", "", "of a disinfection")
	s.StringVar(&n.Strength, "concentration", "", "of a disinfection, such as \"2 %\"")
	s.StringVar(&f.in, "in", "", "when it went in: 17:30 or \"2026-11-02 17:30\"")
	s.StringVar(&f.out, "out", "", "when it came out")
	s.Int64Var(&n.File, "entry", 0, "number of the entry of a file")
	s.StringVar(&n.Explains, "explains", "", "what between the cycles it explains, such as number-gap")
	s.StringVar(&f.when, "at", "", "when it was done (default now)")
	s.Int64Var(&f.correct, "correct", 0, "number of the entry to correct")
	s.BoolVar(&f.withdraw, "withdraw", false, "with --correct: take the entry back")
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

// dutyHelp lists the duties with what they are.
func dutyHelp() string {
	var text strings.Builder
	for _, d := range surgery.Duties() {
		lead := "  " + padded(d.Name, 30) + "  "
		for _, l := range wrap(d.What, 90-cells(lead)) {
			text.WriteString(lead + l + "\n")
			lead = strings.Repeat(" ", cells(lead))
		}
	}
	return text.String()
}
