package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

// awaitedInstead says what is known of a load whose record has not come; unfound is the
// error if there is no such load either.
func awaitedInstead(c *cobra.Command, w World, r *surgery.Records, text string, asJSON bool, unfound error) error {
	a, err := r.Awaited(c.Context(), text)
	if err != nil || a == nil {
		if err == nil {
			err = unfound
		}
		return stopped(err)
	}
	if asJSON {
		err = awaitedJSON(w, *a)
	} else {
		err = writeAwaited(newPage(w, w.Stdout), *a)
	}
	if err != nil {
		return err
	}
	return status(exitFound)
}

func writeAwaited(p *page, a surgery.Awaited) error {
	m := p.mark(surgery.NotAssessed)
	p.gap()
	p.line(span{"  ", plain}, m, span{"  " + a.Name + "  ", strong}, span{"no record yet", m.style})
	p.para("     ", personsDay(a.Day)+". Its record has not come, so nothing was judged.", plain)
	what, instruction := "Released", "Export and import its record. If it does not conform, a recall opens by itself."
	if a.Rejected {
		what, instruction = "Rejected", "Repack the load and run it again."
	}
	p.para("     ", instruction, strong)
	p.gap()
	if words := loadWords(a.Load); words != "" {
		p.para("  Load     ", words, plain)
	}
	p.para("  Done     ", a.At.Format("2 Jan 15:04")+"  "+what+" at the machine, "+a.By+fmt.Sprintf(" (entry %d)", a.Entry), plain)
	p.gap()
	return p.flush()
}

func awaitedJSON(w World, a surgery.Awaited) error {
	what := "released"
	if a.Rejected {
		what = "rejected"
	}
	return writeJSON(w.Stdout, map[string]any{"id": nil, "name": a.Name, "steriliser": a.Steriliser, "number": a.Number, "day": a.Day, "outcome": nil,
		"release": what, "entry": a.Entry, "by": a.By, "at": a.At.Format("2006-01-02T15:04:05Z07:00"), "load": loadOfJSON(a.Load)})
}
