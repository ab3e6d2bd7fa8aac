package cli

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/term"

	"holdproof/cmd/internal/surgery"
)

// chooseRoutine returns the routine that a new site follows: the one named, else the one
// chosen at a terminal. Nothing is taken for granted.
func chooseRoutine(w World, named string) (string, error) {
	choices := surgery.RoutineChoices()
	var names []string
	for _, c := range choices {
		names = append(names, c.Name)
	}
	if named != "" {
		if slices.Contains(names, named) {
			return named, nil
		}
		err := fmt.Errorf("no routine is called %q; give --routine with %s", named, surgery.Alternatives(names))
		if near := surgery.Nearest(named, names); near != "" {
			err = fmt.Errorf("no routine is called %q; did you mean --routine %s?", named, near)
		}
		return "", err
	}
	f, ok := w.Stdin.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return "", errors.New("no routine is named; give --routine with " + surgery.Alternatives(names) + ", and see holdproof init --help")
	}
	p := newPage(w, w.Stderr)
	writeRoutines(p, choices)
	if err := p.flush(); err != nil {
		return "", err
	}
	in := bufio.NewScanner(f)
	for {
		fmt.Fprint(w.Stderr, "Routine, by its number or name: ")
		if !in.Scan() {
			return "", errors.Join(errors.New("no routine was chosen; nothing was kept"), in.Err())
		}
		text := strings.TrimSpace(in.Text())
		if n, err := strconv.Atoi(text); err == nil && 1 <= n && n <= len(names) {
			return names[n-1], nil
		}
		if slices.Contains(names, text) {
			return text, nil
		}
		fmt.Fprintf(w.Stderr, "Type a number from 1 to %d.\n", len(names))
	}
}

// writeRoutines offers the routines, each with its tests and where they are from.
func writeRoutines(p *page, choices []surgery.RoutineChoice) {
	p.gap()
	p.para("  ", "What a day, a week and a year owe. Every line can be changed later, with a reason.", plain)
	p.gap()
	for i, c := range choices {
		p.line(span{fmt.Sprintf("  %d  ", i+1), plain}, span{c.Title, strong})
		p.para("     ", c.Tests, plain)
		from := c.From
		if from == "" {
			from = "common practice, no source"
		}
		p.para("     ", "From "+from, plain)
	}
	p.gap()
}

// routineHelp is the same for the help of a command.
func routineHelp() string {
	var b strings.Builder
	for _, c := range surgery.RoutineChoices() {
		fmt.Fprintf(&b, "  %-14s %s\n", c.Name, strings.Join(wrap(c.Tests+". "+c.From, 62), "\n                 "))
	}
	return b.String()
}
