package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

type computedJSON struct {
	Quantity  string  `json:"quantity"`
	Input     string  `json:"input"`
	Published string  `json:"published"`
	Figure    *string `json:"figure"` // null: shown beside records, nothing to compute
	Unit      string  `json:"unit"`
	Source    string  `json:"source"`
	Sure      string  `json:"sure"`
	Agrees    *bool   `json:"agrees"`
	Problem   string  `json:"problem,omitempty"`
}

type selfcheckJSON struct {
	OK       bool           `json:"ok"`
	Computed int            `json:"computed"`
	Values   []computedJSON `json:"values"`
}

func selfcheckCommand(w World) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "selfcheck",
		Short:   "Compute every published value on this machine",
		Long:    "Computes every published value that the program rests on, and prints figure, published\nfigure, source, how sure the source is, and whether they agree.",
		Example: "holdproof selfcheck",
		Args:    needs(0, 0, "no argument"),
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(*cobra.Command, []string) error {
		values, err := surgery.SelfCheck()
		if err != nil {
			return err
		}
		computed, differ := 0, 0
		for _, v := range values {
			if !v.Carried {
				computed++
			}
			if !v.Agrees {
				differ++
			}
		}
		if asJSON {
			err = plainEncoder(w.Stdout).Encode(selfcheckOf(values, computed, differ))
		} else {
			err = writeSelfcheck(newPage(w, w.Stdout), values, computed, differ)
		}
		if err == nil && differ > 0 {
			err = status(exitFound)
		}
		return err
	}
	return c
}

func selfcheckOf(values []surgery.Computed, computed, differ int) selfcheckJSON {
	out := selfcheckJSON{OK: differ == 0, Computed: computed}
	for _, v := range values {
		j := computedJSON{Quantity: v.Quantity, Input: v.Input, Published: v.Published, Unit: v.Unit,
			Source: v.Source, Sure: v.Sure, Problem: v.Problem}
		if !v.Carried {
			j.Figure, j.Agrees = textOrNull(v.Figure), &v.Agrees
		}
		out.Values = append(out.Values, j)
	}
	return out
}

func writeSelfcheck(p *page, values []surgery.Computed, computed, differ int) error {
	p.gap()
	last, source := "", ""
	for _, v := range values {
		if v.Carried {
			continue
		}
		from := sourceOf(v.Source, v.Sure)
		if v.Quantity != last || from != source {
			if last != "" {
				p.gap()
			}
			if v.Quantity != last {
				p.para("  ", sentenceCase(v.Quantity), strong)
			}
			p.para("  ", from, plain)
		}
		last, source = v.Quantity, from
		outcome, word := surgery.Conforms, "agrees"
		if !v.Agrees {
			outcome, word = surgery.Failed, "differs"
		}
		m := p.mark(outcome)
		if v.Unit == "hex" { // as wide as the page
			p.line(span{"  ", plain}, m, span{"  " + v.Input + "  ", plain}, span{word, m.style})
			p.line(span{"     " + v.Figure, plain})
			continue
		}
		p.line(span{"  ", plain}, m, span{"  " + padded(p.clean(v.Input), 32) + padded(p.clean(v.Figure), 16) +
			padded(p.clean(v.Published+" "+v.Unit), 20), plain}, span{word, m.style})
		if v.Problem != "" {
			p.para("     ", v.Problem, plain)
		}
	}
	p.gap()
	p.line(span{"  Shown beside records, nothing to compute", strong})
	for _, v := range values {
		if v.Carried {
			p.para("  "+p.mark(surgery.NotAssessed).text+"  ", strings.Join(strings.Fields(sentenceCase(v.Quantity)+" "+v.Input+" = "+v.Published+" "+v.Unit), " ")+
				"; "+sourceOf(v.Source, v.Sure), plain)
		}
	}
	p.gap()
	if differ > 0 {
		p.line(span{fmt.Sprintf("  %d of %d computed values differ. Do not use this program; tell whoever built it.", differ, computed), strong})
	} else {
		p.line(span{fmt.Sprintf("  All %d computed values agree with the published ones.", computed), strong})
	}
	return p.flush()
}
