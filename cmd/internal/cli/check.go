package cli

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func checkCommand(w World, at *common) *cobra.Command {
	var only string
	var asJSON, explain bool
	c := &cobra.Command{
		Use:     "check EXPORT...",
		Short:   "Judge exports and keep nothing",
		Long:    "Judges every cycle of the exports and says what to do with each load. Nothing is kept.\n- reads standard input.",
		Example: "holdproof check monday.csv",
		Args:    needs(1, -1, "the name of an export"),
	}
	f := c.Flags()
	f.StringVar(&at.config, "config", "", "the configuration (default holdproof.yaml in --dir, if there is one)")
	f.StringVar(&only, "steriliser", "", "the configured steriliser that the exports are from")
	f.BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	f.BoolVar(&explain, "explain", false, "say how each export was understood, and print every check")
	workers := f.Int("workers", 0, "cycles judged at the same time (default 2)")
	c.RunE = func(c *cobra.Command, args []string) error {
		s, err := settingsFor(w, at.dir, at.config)
		if err != nil {
			return err
		}
		if *workers < 0 || *workers > maxWorkers {
			return fmt.Errorf("found --workers %d, expected 1 to %d", *workers, maxWorkers)
		}
		in := surgery.Exports{Files: args, Stdin: w.Stdin, Only: only, Workers: *workers}
		var out output = newSheet(newPage(w, w.Stdout), s.value.LimitsInForce(), explain, len(args) > 1)
		if asJSON {
			out = jsonOutput{newJSONWriter(explain), w.Stdout}
		}
		defer out.Close()
		var count tally
		waiting := newProgress(w)
		across, err := surgery.Check(c.Context(), s.value, in, all{&count, waiting, out})
		waiting.gauge.clear()
		if err != nil {
			return interrupted(err)
		}
		if err := out.finish(across); err != nil {
			return err
		}
		count.complain(newPage(w, w.Stderr))
		return count.status()
	}
	return c
}

// output takes what is found and writes it when all of it is known.
type output interface {
	surgery.Receiver
	io.Closer
	finish([]surgery.Between) error
}

type jsonOutput struct {
	*jsonWriter
	to io.Writer
}

func (o jsonOutput) finish(across []surgery.Between) error { return o.jsonWriter.finish(o.to, across) }

// maxWorkers bounds what a mistyped number can ask for (ours).
const maxWorkers = 64

func interrupted(err error) error {
	if errors.Is(err, errStopped) {
		return errors.New("interrupted; nothing was kept")
	}
	return err
}
