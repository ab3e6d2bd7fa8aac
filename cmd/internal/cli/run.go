// Package cli is the command line: one file a command, its words, its exit codes
// and the settings. It judges nothing; acts live in package surgery.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

// World is everything the program touches beside files.
type World struct {
	Stdin          io.Reader
	Stdout, Stderr io.Writer
	Now            func() time.Time
	Getenv         func(string) string
	Program        string // the path the program was started by

	rounds int // of new key files, 0 for as many as is safe; tests take fewer
}

// The exit codes, part of the contract with scripts. The larger one wins.
const (
	exitDone     = 0 // done, and every cycle conforms
	exitFound    = 1 // done, and something does not conform
	exitHindered = 2 // something could not be done
)

// status is an exit code on its way out; what there was to say has been said.
type status int

func (s status) Error() string { return fmt.Sprintf("exit code %d", int(s)) }

// Run does what the arguments say and returns the exit code.
func Run(args []string, w World) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	root := rootCommand(w)
	root.SetArgs(args)
	root.SetIn(w.Stdin)
	root.SetOut(w.Stdout)
	root.SetErr(w.Stderr)
	err := root.ExecuteContext(ctx)
	var code status
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &code):
		return int(code)
	}
	fmt.Fprintf(w.Stderr, "holdproof: %v\n", err)
	if remedy := surgery.Remedy(err); remedy != "" {
		fmt.Fprintf(w.Stderr, "  %s\n", remedy)
	}
	return exitHindered
}

// common are the flags that every command takes.
type common struct {
	dir    string
	config string
}

func rootCommand(w World) *cobra.Command {
	var at common
	root := &cobra.Command{
		Use:   "holdproof",
		Short: "Keeps and proves a surgery's sterilisation records",
		Long: "Holdproof judges what a steam steriliser recorded of each cycle against published\n" +
			"limits and says what to do with each load.",
		Version:       surgery.Version,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	cobra.MousetrapHelpText = "" // a double click in a site's folder serves the desk
	root.RunE = func(c *cobra.Command, _ []string) error {
		dir, yes := doubleClicked(w)
		if !yes {
			return c.Help()
		}
		at.dir = dir
		return serve(c.Context(), w, &at, serving{addr: deskAddress, browse: true})
	}
	root.PersistentFlags().StringVar(&at.dir, "dir", ".", "the site's folder")
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return fmt.Errorf("%w; see %s --help", err, c.CommandPath())
	})
	root.AddCommand(
		checkCommand(w, &at),
		demoCommand(w),
		initCommand(w, &at),
		importCommand(w, &at),
		reviewCommand(w, &at),
		decideCommand(w, &at),
		noteCommand(w, &at),
		peopleCommand(w, &at),
		keysCommand(w, &at),
		rejudgeCommand(w, &at),
		driftCommand(w, &at),
		labelCommand(w, &at),
		findCommand(w, &at),
		dayCommand(w, &at),
		countersignCommand(w, &at),
		bagCommand(w, &at),
		verifyCommand(w),
		auditCommand(w, &at),
		backupCommand(w, &at),
		restoreCommand(w, &at),
		selfcheckCommand(w),
		serveCommand(w, &at),
		steamCommand(w, &at),
	)
	return root
}

// needs is a check of the arguments whose error says what is missing and shows an example.
func needs(least, most int, what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) < least {
			return fmt.Errorf("%s needs %s, for example: %s", c.CommandPath(), what, c.Example)
		}
		if most >= 0 && len(args) > most {
			return fmt.Errorf("%s takes %s and not %q; see %s --help", c.CommandPath(), what, args[most], c.CommandPath())
		}
		return nil
	}
}
