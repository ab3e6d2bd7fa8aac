package cli

import (
	"cmp"
	"fmt"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func demoCommand(w World) *cobra.Command {
	return &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Make the week of an invented surgery",
		Long: "Makes the whole folder of an invented surgery in DIR (default: a new temporary folder):\n" +
			"settings, exports, keys, a logbook in which a week has passed by the same acts as anywhere\n" +
			"else, and the signed records. Says how the week stands, who the people are, their\n" +
			"passphrases, and what to type next. The exit code is 0 when that was done, although some\n" +
			"of the invented loads do not conform.",
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
			progress := newGauge(w, "A week passes")
			week, err := surgery.LiveDemo(c.Context(), demo, surgery.Settings{Value: s.value, File: s.file, Text: s.inForce(w)},
				surgery.World{Rounds: w.rounds}, func(done, all int) { progress.show(int64(done), int64(all)) })
			progress.clear()
			if err != nil {
				return interrupted(err)
			}
			p := newPage(w, w.Stdout)
			p.gap()
			p.line(span{"  " + s.value.Site.Name + ", 2 to 8 Nov 2026", strong})
			p.para("  ", "An invented surgery: no machine, person, product or reading here is real.", plain)
			writeWeek(p, week)
			if w.Now().Before(week.Ends) {
				p.gap()
				p.para("  ", "This computer's clock stands before the end of that week. Until it has passed, what you do in this folder is refused as lying ahead.", plain)
			}
			return writeNext(p, programOf(w.Program), demo)
		},
	}
}

// writeWeek says how each day stands, then what waits on the Monday after it.
func writeWeek(p *page, week surgery.Week) {
	p.gap()
	for _, d := range week.Days {
		day, err := time.Parse(time.DateOnly, d.Date)
		if err != nil {
			continue // cannot be: the logbook keeps dates in this form
		}
		cycles := "closed"
		if d.Cycles > 0 {
			cycles = fmt.Sprintf("%2d cycles", d.Cycles)
		}
		line := []span{{"  " + padded(day.Format("Mon 2"), 7) + padded(cycles, 11) + signatures(d), plain}}
		between := strings.Repeat(" ", 15-len(signatures(d)))
		for _, o := range []surgery.Outcome{surgery.Failed, surgery.NotProven, surgery.Borderline} {
			if n := d.Outcomes[o]; n > 0 {
				m := p.mark(o)
				line = append(line, span{between, plain}, m, span{fmt.Sprintf(" %d %s", n, o), plain})
				between = ", "
			}
		}
		p.line(line...)
	}
	p.gap()
	p.line(span{"  What waits for whom on Monday, 9 Nov", strong})
	p.gap()
	for _, x := range week.Waiting {
		p.line(span{"  ", plain}, p.mark(x.Outcome), span{"  ", plain}, span{padded(x.Name, 14), strong},
			span{padded(leastRole(x.For), 9) + cmp.Or(x.Instruction, x.Why), plain})
	}
}

// leastRole is the one of the roles that most people hold.
func leastRole(roles []string) string {
	if len(roles) == 3 {
		return "anyone"
	}
	return strings.Join(roles[:min(1, len(roles))], "")
}

// signatures says what stands under the record of a day, and how often it was made anew.
func signatures(d surgery.WeekDay) string {
	out := "not signed"
	switch {
	case d.Reviewed:
		out = "reviewed"
	case d.Prepared:
		out = "not reviewed"
	}
	if d.Revision > 1 {
		out += fmt.Sprintf(", r%d", d.Revision)
	}
	return out
}

// writeNext says who the people are, where everything is, and what to type next.
func writeNext(p *page, program string, d surgery.Demo) error {
	p.gap()
	p.line(span{"  People, and their passphrases, which are no secret", strong})
	p.gap()
	all := append(surgery.DemoPeople(d.Dir), surgery.DemoPerson{ID: "ca", Name: "the authority", May: "make people", Passphrase: surgery.DemoAuthority})
	for _, one := range all {
		p.line(span{"  " + padded(one.ID, 7), strong}, span{padded(one.Passphrase, 27) + padded(one.Name, 16) + one.May, plain})
	}
	p.gap()
	p.line(span{"  Where everything is", strong})
	p.gap()
	p.lines("  " + d.Dir)
	p.para("    ", fmt.Sprintf("holdproof.yaml, holdproof.db (the logbook), exports (%d files), records (signed days), keys, DEMO.txt (these people)", len(d.Exports)), plain)
	p.gap()
	p.line(span{"  What to type next", strong})
	p.gap()
	at := " --dir " + quoted(d.Dir)
	for _, command := range []string{
		"serve" + at,
		"review" + at,
		"countersign 2026-11-06 --as edda" + at,
		"verify " + quoted(filepath.Join(d.Dir, "records", "2026-11-02.pdf")),
		"check --explain" + at + " " + quoted(filepath.Join(d.Dir, "exports", "S1-1045.csv")),
	} {
		p.lines("  " + program + " " + command)
	}
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
