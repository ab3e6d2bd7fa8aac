package cli

import (
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func findCommand(w World, at *common) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "find ID",
		Short: "From a label back to its cycle, decision and record",
		Long: "Finds a cycle by what is in hand: the scanned text of a label, an id, a cycle number,\n" +
			"machine and number (S1/1043), or the number of a load. Says how it was judged, what\n" +
			"was in the load, what people did with it, and in which record and export it stands.\n" +
			"The exit code is 1 if it does not conform.",
		Example: "holdproof find S1-20261102-091247",
		Args:    needs(1, 2, "an id or a number"),
	}
	configFlag(c, at)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, args []string) error {
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		t, err := r.Trace(c.Context(), strings.Join(args, " "))
		if err != nil {
			return awaitedInstead(c, w, r, strings.Join(args, " "), asJSON, err)
		}
		if asJSON {
			err = traceJSON(w, t)
		} else {
			err = writeTrace(newPage(w, w.Stdout), at.dir, t)
		}
		if err == nil && t.Result != surgery.Conforms {
			return status(exitFound)
		}
		return err
	}
	return c
}

func writeTrace(p *page, dir string, t surgery.Trace) error {
	m := p.mark(t.Result)
	p.gap()
	p.line(span{"  ", plain}, m, span{"  " + t.Name + "  ", strong}, span{t.Result.String(), m.style}, span{"   " + t.Key, plain})
	about := t.Began.Format("2 Jan 2006 15:04") + " · " + t.Kind
	if !t.Test && t.Programme != "" {
		about += " · " + t.Programme
	}
	p.para("     ", about, plain)
	if t.Instruction != "" {
		p.para("     ", t.Instruction, strong)
	}
	p.gap()
	if words := loadWords(t.Load); words != "" {
		p.para("  Load     ", words, plain)
	}
	p.doneWith(t.Done)
	p.keptIn(dir, t)
	p.gap()
	return p.flush()
}

// doneWith writes what people did with a cycle, in the order of time.
func (p *page) doneWith(done []surgery.Happening) {
	for i, h := range done {
		lead := "           "
		if i == 0 {
			lead = "  Done     "
		}
		text := h.At.Format("2 Jan 15:04") + "  " + sentenceCase(h.What)
		if h.By != "" {
			text += ", " + h.By
		}
		if h.Reason != "" {
			text += ": " + h.Reason
		}
		if h.Old {
			text += " (no longer counts)"
		}
		p.para(lead, text+fmt.Sprintf(" (entry %d)", h.Entry), plain)
	}
}

// keptIn writes the signed records and the exports that a cycle is in.
func (p *page) keptIn(dir string, t surgery.Trace) {
	shown := false
	for _, s := range t.Records {
		if !s.Newest {
			continue
		}
		lead := "           "
		if !shown {
			lead, shown = "  Record   ", true
		}
		p.para(lead, filepath.Join(dir, "records", s.File)+", "+s.Meaning+" by "+s.By+fmt.Sprintf(" (entry %d)", s.Entry), plain)
	}
	if !shown {
		p.para("  Record   ", "the day is not signed", plain)
	}
	for i, s := range t.Sources {
		lead := "           "
		if i == 0 {
			lead = "  Export   "
		}
		text := s.File
		if s.FirstLine > 0 {
			text += fmt.Sprintf(", lines %d to %d", s.FirstLine, s.LastLine)
		}
		p.para(lead, text+", SHA-256 "+s.SHA256, plain)
	}
}

// loadWords is what was entered of the load, "" if nothing was.
func loadWords(l surgery.Load) string {
	var parts []string
	add := func(before, text string) {
		if text != "" {
			parts = append(parts, before+text)
		}
	}
	add("", l.Contents)
	if l.Count != nil {
		add("", countOf(int(*l.Count), "pack"))
	}
	add("", l.Wrapping)
	add("packed by ", l.Packed)
	add("loaded by ", l.Loaded)
	if l.UseBy != "" {
		add("use by ", personsDay(l.UseBy))
	}
	add("number ", l.Number)
	return strings.Join(parts, ", ")
}

func traceJSON(w World, t surgery.Trace) error {
	type act struct {
		Entry  int64   `json:"entry"`
		At     string  `json:"at"`
		What   string  `json:"what"`
		By     *string `json:"by"`
		Reason *string `json:"reason"`
		Counts bool    `json:"counts"`
	}
	type record struct {
		File    string `json:"file"`
		SHA256  string `json:"sha256"`
		Meaning string `json:"meaning"`
		By      string `json:"by"`
		Entry   int64  `json:"entry"`
		Newest  bool   `json:"newest"`
	}
	acts, records := []act{}, []record{}
	for _, h := range t.Done {
		acts = append(acts, act{h.Entry, h.At.Format("2006-01-02T15:04:05Z07:00"), h.What, textOrNull(h.By), textOrNull(h.Reason), !h.Old})
	}
	for _, s := range t.Records {
		records = append(records, record(s))
	}
	return writeJSON(w.Stdout, map[string]any{"id": t.Key, "name": t.Name, "steriliser": textOrNull(t.Steriliser), "number": textOrNull(t.Number), "day": t.Day,
		"start": t.Began.Format("2006-01-02T15:04:05Z07:00"), "kind": t.Kind, "programme": textOrNull(t.Programme), "outcome": t.Result.String(), "instruction": t.Instruction,
		"decision": textOrNull(t.Decision), "release": textOrNull(t.Release), "recall": textOrNull(t.Recall),
		"load": loadOfJSON(t.Load),
		"done": acts, "records": records, "sources": t.Sources})
}

// loadJSON is what was entered of a load.
type loadJSON struct {
	Number   *string `json:"number"`
	Contents *string `json:"contents"`
	Count    *int64  `json:"count"`
	Packed   *string `json:"packed"`
	UseBy    *string `json:"use_by"`
}

func loadOfJSON(l surgery.Load) loadJSON {
	return loadJSON{textOrNull(l.Number), textOrNull(l.Contents), l.Count, textOrNull(l.Packed), textOrNull(l.UseBy)}
}
