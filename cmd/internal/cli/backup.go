package cli

import (
	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func backupCommand(w World, at *common) *cobra.Command {
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write a checked copy of the logbook",
		Long: "Writes a copy of the logbook as of one moment to FILE, also while others use it, and\n" +
			"checks the copy. Nothing is overwritten. Copy holdproof.yaml, records and keys as well.",
		Example: "holdproof backup D:/holdproof-2026-11-02.db",
		Args:    needs(1, 1, "the name of a new file"),
	}
	configFlag(c, at)
	c.RunE = func(c *cobra.Command, args []string) error {
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		entries, err := r.Backup(c.Context(), args[0])
		if err != nil {
			return stopped(err)
		}
		p := newPage(w, w.Stdout)
		p.para("  ", args[0]+" holds "+countOf(int(entries), "entry")+" and was checked. Copy holdproof.yaml, records and keys as well.", plain)
		return p.flush()
	}
	return c
}

func restoreCommand(w World, at *common) *cobra.Command {
	return &cobra.Command{
		Use:   "restore FILE",
		Short: "Make the logbook from a backup",
		Long: "Makes the logbook of --dir from a backup, which is checked first. A logbook that is\n" +
			"there already is never overwritten.",
		Example: "holdproof restore --dir surgery D:/holdproof-2026-11-02.db",
		Args:    needs(1, 1, "the name of a backup"),
		RunE: func(c *cobra.Command, args []string) error {
			entries, err := surgery.Restore(c.Context(), args[0], at.dir)
			if err != nil {
				return stopped(err)
			}
			p := newPage(w, w.Stdout)
			p.para("  ", "The logbook in "+at.dir+" holds "+countOf(int(entries), "entry")+", as the backup does.", plain)
			return p.flush()
		},
	}
}
