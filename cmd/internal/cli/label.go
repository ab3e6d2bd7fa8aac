package cli

import (
	"errors"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func labelCommand(w World, at *common) *cobra.Command {
	var out string
	var copies int
	c := &cobra.Command{
		Use:   "label CYCLE...",
		Short: "Draw the labels of released loads",
		Long: "Writes a PDF with a page of 62 by 29 mm for each label: steriliser and cycle number,\n" +
			"date, use-by date, who packed and who released, contents, and a QR code with the id of\n" +
			"the load, which holdproof find takes. What has no room goes on on a further page. A\n" +
			"load that is not released, that is called back or past its use-by date has no label.\n" +
			"Use-by date, packer and contents are those of the release at the machine.",
		Example: "holdproof label S1/1043 --copies 8 --out labels.pdf",
		Args:    needs(1, -1, "a cycle"),
	}
	configFlag(c, at)
	c.Flags().StringVar(&out, "out", "", "write the labels to this new file")
	c.Flags().IntVar(&copies, "copies", 1, "labels of each load, one a pack")
	c.RunE = func(c *cobra.Command, args []string) error {
		if out == "" {
			return errors.New("label needs a file to write to, for example: " + c.Example)
		}
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		data, err := r.Labels(c.Context(), copies, args...)
		if err != nil {
			return stopped(err)
		}
		if err := surgery.WriteNew(out, data); err != nil {
			return err
		}
		p := newPage(w, w.Stdout)
		p.para("  ", out+" holds "+countOf(copies*len(args), "label")+". Print it at its own size, 62 by 29 mm.", plain)
		return p.flush()
	}
	return c
}
