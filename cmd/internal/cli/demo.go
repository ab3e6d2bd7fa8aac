package cli

import (
	"fmt"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func demoCommand(w World) *cobra.Command {
	return &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Write and judge the day of an invented surgery",
		Long: "Writes one invented day of Tern Quay Surgery into DIR (default: a new temporary folder),\n" +
			"judges it, and says where everything is. The exit code is 0 when that was done, although\n" +
			"some of the invented loads do not conform.",
		Example: "holdproof demo",
		Args:    needs(0, 1, "one folder"),
		RunE: func(c *cobra.Command, args []string) error {
			demo, err := surgery.WriteDemo(strings.Join(args, ""))
			if err != nil {
				return err
			}
			s, err := readSettings(w, demo.Configuration)
			if err != nil {
				return err
			}
			p := newPage(w, w.Stdout)
			p.gap()
			p.line(span{"  " + s.value.Site.Name + ", 2 Nov 2026", strong})
			p.para("  ", "An invented surgery: no machine, person or reading here is real.", plain)
			out := newSheet(p, s.value.LimitsInForce(), false, true)
			across, err := surgery.Check(c.Context(), s.value, surgery.Exports{Files: demo.Exports}, out)
			if err != nil {
				return interrupted(err)
			}
			if err := out.finish(across); err != nil {
				return err
			}
			return writeNext(p, programOf(w.Program), demo)
		},
	}
}

// writeNext says where everything is and what to type next.
func writeNext(p *page, program string, d surgery.Demo) error {
	p.gap()
	p.line(span{"  Where everything is", strong})
	p.gap()
	p.lines("  " + d.Configuration + "\n  " + filepath.Join(d.Dir, "exports") + fmt.Sprintf(" (%d files)", len(d.Exports)))
	p.gap()
	p.line(span{"  What to type next", strong})
	p.gap()
	short := ""
	for _, e := range d.Exports {
		if strings.Contains(e, "1045") { // the load that was held too short
			short = e
		}
	}
	p.lines("  " + program + " check --explain --dir " + quoted(d.Dir) + " " + quoted(short))
	p.lines("  " + program + " steam 134C")
	p.lines("  " + program + " selfcheck")
	return p.flush()
}

// quoted makes a path one word for a shell.
func quoted(path string) string {
	plain := func(r rune) bool {
		return strings.ContainsRune("/\\:._-+@%", r) || unicode.IsLetter(r) || unicode.IsDigit(r)
	}
	switch {
	case !strings.ContainsFunc(path, func(r rune) bool { return !plain(r) }):
		return path
	case filepath.Separator == '/':
		return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
	}
	return `"` + path + `"`
}

// programOf is how a person who started the program by this path starts it again.
func programOf(path string) string {
	if strings.Contains(filepath.ToSlash(path), "/go-build") {
		return "go run ./cmd/holdproof"
	}
	return "holdproof"
}
