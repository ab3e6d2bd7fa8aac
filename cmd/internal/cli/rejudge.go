package cli

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"holdproof/cmd/internal/surgery"
)

func rejudgeCommand(w World, at *common) *cobra.Command {
	var since string
	var yes, asJSON bool
	c := &cobra.Command{
		Use:   "rejudge",
		Short: "Judge what is kept again with today's settings",
		Long: "Judges the kept bytes again with the settings of today and shows which verdicts\n" +
			"change, before anything is written. A verdict that comes out as it was stays; where\n" +
			"one changes, a new one is added and the old one stays readable.",
		Example: "holdproof rejudge --since 2026-11-01",
		Args:    needs(0, 0, "no argument"),
	}
	configFlag(c, at)
	f := c.Flags()
	f.StringVar(&since, "since", "", "only cycles from this day on, such as 2026-11-01, and files imported since")
	f.BoolVar(&yes, "yes", false, "write without asking")
	f.BoolVar(&asJSON, "json", false, "print one JSON object and nothing else; writes only with --yes")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if _, err := time.Parse(time.DateOnly, since); since != "" && err != nil {
			return fmt.Errorf("found --since %q, expected a day such as 2026-11-01", since)
		}
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		g := newGauge(w, "judging again")
		o := surgery.Again{Since: since, Progress: g.show, Write: asJSON && yes}
		found, err := r.Rejudge(c.Context(), o)
		g.clear()
		if err != nil {
			return interrupted(err)
		}
		if asJSON {
			return rejudgedJSON(w, found, yes)
		}
		p := newPage(w, w.Stdout)
		writeRejudged(p, found)
		if len(found.Changes) == 0 {
			return p.flush()
		}
		if err := p.flush(); err != nil {
			return err
		}
		if !yes && !agreed(w, "Write "+countOf(len(found.Changes), "new verdict")+"? The old ones stay. [y/n] ") {
			p.para("  ", "Nothing was written. Add --yes to write.", plain)
			return errors.Join(p.flush(), rejudgedStatus(found))
		}
		o.Write = true
		found, err = r.Rejudge(c.Context(), o)
		g.clear()
		if err != nil {
			return err
		}
		writeKept(p, found)
		return errors.Join(p.flush(), rejudgedStatus(found))
	}
	return c
}

// agreed asks a person at a terminal; nobody there does not agree.
func agreed(w World, question string) bool {
	f, ok := w.Stdin.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return false
	}
	fmt.Fprint(w.Stdout, "  "+question)
	line, err := bufio.NewReader(io.LimitReader(w.Stdin, 100)).ReadString('\n')
	answer := strings.ToLower(strings.TrimSpace(line))
	return err == nil && (answer == "y" || answer == "yes")
}

func rejudgedStatus(found surgery.Rejudged) error {
	for _, c := range found.Changes {
		if c.New != surgery.Conforms.String() {
			return status(exitFound)
		}
	}
	return nil
}

func outcomeNamed(name string) surgery.Outcome {
	for _, o := range []surgery.Outcome{surgery.Conforms, surgery.Borderline, surgery.NotProven, surgery.Failed} {
		if o.String() == name {
			return o
		}
	}
	return surgery.NotProven
}

// maxChanges are printed (ours); --json has them all.
const maxChanges = 50

func writeRejudged(p *page, found surgery.Rejudged) {
	p.gap()
	if len(found.Changes) == 0 {
		p.para("  ", fmt.Sprintf("Judged again: %s, all as they were.", countOf(found.Same, "cycle")), plain)
	} else {
		p.line(span{"  Would change", strong})
		p.gap()
	}
	for i, c := range found.Changes {
		if i == maxChanges {
			p.para("  ", fmt.Sprintf("and %d more; --json lists them all", len(found.Changes)-i), plain)
			p.gap()
			break
		}
		writeChange(p, c)
	}
	if len(found.Changes) > 0 && found.Same > 0 {
		p.para("  ", countOf(found.Same, "cycle")+" more would stay as they are.", plain)
	}
	if len(found.Lost) > 0 {
		p.para("  ", "Not found any more in their files, so their verdicts stay: "+several(found.Lost)+".", plain)
	}
	p.gap()
}

func writeChange(p *page, c surgery.Change) {
	m := p.mark(outcomeNamed(c.New))
	change := "stays " + c.New
	switch {
	case c.Old == "":
		change = "was not read before, now " + c.New
	case c.Old != c.New:
		change = c.Old + ", now " + c.New
	}
	p.para("  "+m.text+"  "+padded(p.clean(c.Name), 12)+"  ", personsDay(c.Day)+" · "+change, m.style)
	lead := p.under(m, 12)
	if c.Why != "" {
		p.para(lead, sentence(c.Why), plain)
	}
	p.para(lead, "Differs: "+strings.Join(c.What, ", ")+".", plain)
	p.gap()
}

func writeKept(p *page, found surgery.Rejudged) {
	p.para("  ", countOf(len(found.Changes), "verdict")+" written. The old ones stay.", plain)
	for _, c := range found.Changes {
		if c.Recall != "" {
			p.gap()
			p.para("  ", sentence(c.Recall)+" A recall is open: find every pack.", strong)
		}
	}
	for _, d := range found.Due {
		p.para("  ", personsDay(d)+" is signed, and this changes it. A new revision of its record is due.", plain)
	}
}

type changeJSON struct {
	Cycle  string   `json:"cycle"`
	Day    string   `json:"day"`
	Old    *string  `json:"old"`
	New    string   `json:"new"`
	What   []string `json:"differs"`
	Why    string   `json:"why"`
	Recall string   `json:"recall"`
}

func rejudgedJSON(w World, found surgery.Rejudged, written bool) error {
	changes := []changeJSON{}
	for _, c := range found.Changes {
		changes = append(changes, changeJSON{c.Key, c.Day, textOrNull(c.Old), c.New, c.What, c.Why, c.Recall})
	}
	err := writeJSON(w.Stdout, struct {
		Written bool         `json:"written"`
		Files   int          `json:"files"`
		Same    int          `json:"same"`
		Changes []changeJSON `json:"changes"`
		Lost    []string     `json:"lost"`
		Due     []string     `json:"revisions_due"`
	}{written && len(changes) > 0, found.Files, found.Same, changes, orEmpty(found.Lost), orEmpty(found.Due)})
	return errors.Join(err, rejudgedStatus(found))
}

// writeJSON prints one object and nothing else.
func writeJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
