package cli

import (
	"cmp"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func reviewCommand(w World, at *common) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "review",
		Short: "What waits for whom, worst first",
		Long: "Lists what waits for a person: recalls, what the routine still owes today, loads nobody\n" +
			"decided about, tests nobody read, overdue duties, missing numbers, loads to release, days\n" +
			"to sign. The exit code is 1 when one of the first\n" +
			"is there. Days more than 31 before the newest cycle are not looked at for gaps,\n" +
			"signatures and conforming loads; what does not conform is shown however old it is.",
		Example: "holdproof review",
		Args:    needs(0, 0, "no argument"),
	}
	configFlag(c, at)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, done, err := lookAtRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		all, err := r.Review(c.Context())
		if err != nil {
			return err
		}
		if asJSON {
			err = reviewJSON(w, all)
		} else {
			err = writeReview(newPage(w, w.Stdout), all)
		}
		if err == nil && all.Bad() {
			return status(exitFound)
		}
		return err
	}
	return c
}

// waitTitles are the headings of what waits; kinds with the same one stand together.
var waitTitles = map[string]string{
	surgery.WaitWindow: "A test failed: decide about each load", surgery.WaitFailed: "Failed, and not made good", surgery.WaitEmpty: "Days with nothing",
	surgery.WaitRecall: "Call these loads back", surgery.WaitLoad: "Not decided", surgery.WaitTest: "Tests", surgery.WaitBorderline: "Borderline, for two people",
	surgery.WaitOutage: "Out of service", surgery.WaitSetup: "No steriliser is set",
	surgery.WaitIndicator: "Indicators to read", surgery.WaitStop: "Between the cycles", surgery.WaitGap: "Between the cycles", surgery.WaitCounter: "Between the cycles",
	surgery.WaitEarly: "Before the day's tests", surgery.WaitOverdue: "Overdue", surgery.WaitStranger: "Of no known steriliser", surgery.WaitFile: "Files that could not be read",
	surgery.WaitRerun: "To be processed again", surgery.WaitRejected: "To be processed again", surgery.WaitQuarantine: "In quarantine",
	surgery.WaitRecord: "Released, and no record yet", surgery.WaitRelease: "To release", surgery.WaitOpen: "Begun, and not over", surgery.WaitDrift: "Moves slowly", surgery.WaitRevision: "Days to sign", surgery.WaitSignature: "Days to sign",
}

func writeReview(p *page, all surgery.Review) error {
	p.gap()
	indent := 9
	for _, x := range all.Waiting {
		indent = min(max(indent, cells(p.clean(x.Name))), 24)
	}
	title, told := "", false
	for _, x := range all.Waiting {
		if x.Kind != surgery.WaitWindow && x.Kind != surgery.WaitRecall && !told {
			p.owed(all)
			told = true
		}
		if t := waitTitles[x.Kind]; t != title {
			p.line(span{"  " + t, strong})
			p.gap()
			title = t
		}
		p.waiting(x, indent)
		p.gap()
	}
	if !told {
		p.owed(all)
	}
	if len(all.Waiting) == 0 {
		p.line(span{"  " + nothing(all), strong})
		p.gap()
	}
	p.para("  ", "Speaks of what was imported; what was not is not checked. Missing numbers and unsigned days: since "+personsDay(all.From)+".", plain)
	p.para("  ", cautions, plain)
	return p.flush()
}

func (p *page) waiting(x surgery.Waiting, indent int) {
	m := p.mark(x.Outcome)
	under := p.under(m, indent)
	first := wrap(p.clean(cmp.Or(x.Instruction, x.Why)), p.width-cells(under))
	p.line(span{"  ", plain}, m, span{"  " + padded(p.clean(x.Name), indent) + "  ", plain}, span{first[0], strong})
	for _, l := range first[1:] {
		p.line(span{under, plain}, span{l, strong})
	}
	if x.Why != "" && x.Instruction != "" {
		p.para(under, sentence(x.Why), plain)
	}
	if x.About != "" {
		p.line(span{under + x.About + " · ", plain}, span{x.Outcome.String(), m.style})
	}
	if x.Type != "" {
		p.para(under, fmt.Sprintf("For %s: holdproof %s", surgery.Alternatives(x.For), withBy(x.Type)), plain)
	}
}

func reviewJSON(w World, all surgery.Review) error {
	type one struct {
		Kind        string   `json:"kind"`
		For         []string `json:"for"`
		Name        string   `json:"name"`
		Cycle       *string  `json:"cycle"`
		Day         *string  `json:"day"`
		Outcome     *string  `json:"outcome"`
		Instruction string   `json:"instruction"`
		Why         *string  `json:"why"`
		Command     *string  `json:"command"`
	}
	out := []one{}
	for _, x := range all.Waiting {
		o := one{Kind: x.Kind, For: x.For, Name: x.Name, Cycle: textOrNull(x.Cycle), Day: textOrNull(x.Day), Instruction: x.Instruction, Why: textOrNull(x.Why), Command: textOrNull(x.Type)}
		if x.Cycle != "" && x.About != "" {
			o.Outcome = textOrNull(x.Outcome.String())
		}
		out = append(out, o)
	}
	return writeJSON(w.Stdout, map[string]any{"waiting": out, "since": all.From, "today": all.Today, "owed": owedJSON(all.Owed)})
}

// withBy adds to a command who does it, where it asks.
func withBy(command string) string {
	if strings.HasPrefix(command, "decide") || strings.HasPrefix(command, "note") {
		return command + " --by PERSON"
	}
	return command
}
