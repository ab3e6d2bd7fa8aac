package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"holdproof/cmd/internal/surgery"
)

// passphrases asks for passphrases: of a terminal without showing them, else line by
// line from --passphrase-file or standard input, in the order in which the help of the
// command names them. They are never an argument, and never written anywhere.
type passphrases struct {
	ctx   context.Context
	w     World
	file  string
	lines *bufio.Reader
	close func() error
	count int // lines read
}

// longestPassphrase is what is read of a line (ours).
const longestPassphrase = 1000

// passphraseFlag adds --passphrase-file to a command.
func passphraseFlag(c *cobra.Command, p *passphrases) {
	c.Flags().StringVar(&p.file, "passphrase-file", "", "a file with the passphrases, a line each (default the terminal, or standard input)")
}

// ask returns a way to the passphrase of somebody who has one.
func (p *passphrases) ask(whose string) func() (string, error) {
	return func() (string, error) { return p.get("Passphrase of "+whose, false) }
}

// choose returns a way to a new passphrase, asked for twice at a terminal.
func (p *passphrases) choose(whose string) func() (string, error) {
	return func() (string, error) { return p.get("New passphrase of "+whose, true) }
}

func (p *passphrases) get(prompt string, isNew bool) (string, error) {
	if f, ok := p.w.Stdin.(*os.File); ok && p.file == "" && p.lines == nil && term.IsTerminal(int(f.Fd())) {
		return p.typed(f, prompt, isNew)
	}
	if err := p.open(); err != nil {
		return "", err
	}
	p.count++
	line, err := p.lines.ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("the passphrase cannot be read: %w", err)
	}
	line = strings.TrimRight(line, "\r\n")
	if line == "" || len(line) > longestPassphrase {
		return "", &surgery.Refusal{Why: fmt.Sprintf("line %d of the passphrases is missing or too long: it is asked for as %q", p.count, prompt),
			Instead: "Give each passphrase on a line of its own, in the order that --help names."}
	}
	if isNew {
		return line, surgery.CheckPassphrase(line)
	}
	return line, nil
}

// open opens the file, or takes standard input.
func (p *passphrases) open() error {
	if p.lines != nil {
		return nil
	}
	in := p.w.Stdin
	if p.file != "" {
		f, err := os.Open(p.file)
		if err != nil {
			return fmt.Errorf("the passphrase file cannot be read: %w", err)
		}
		in, p.close = f, f.Close
	}
	if in == nil {
		in = strings.NewReader("")
	}
	p.lines = bufio.NewReader(io.LimitReader(in, 100*longestPassphrase))
	return nil
}

// done closes what was opened.
func (p *passphrases) done() {
	if p.close != nil {
		p.close()
	}
}

// typed asks at a terminal. A new passphrase is asked for until it will do and was
// typed the same twice.
func (p *passphrases) typed(f *os.File, prompt string, isNew bool) (string, error) {
	for {
		word, err := p.hidden(f, prompt)
		if err != nil || !isNew {
			return word, err
		}
		if err := surgery.CheckPassphrase(word); err != nil {
			fmt.Fprintln(p.w.Stderr, sentence(err.Error()))
			continue
		}
		again, err := p.hidden(f, "The same once more")
		if err != nil {
			return "", err
		}
		if word == again {
			return word, nil
		}
		fmt.Fprintln(p.w.Stderr, "The two differ.")
	}
}

// hidden reads a line that is not shown. Ctrl-C gives the terminal back as it was.
func (p *passphrases) hidden(f *os.File, prompt string) (string, error) {
	before, err := term.GetState(int(f.Fd()))
	if err != nil {
		return "", err
	}
	fmt.Fprint(p.w.Stderr, prompt+": ")
	type line struct {
		text []byte
		err  error
	}
	read := make(chan line, 1)
	go func() {
		text, err := term.ReadPassword(int(f.Fd()))
		read <- line{text, err}
	}()
	select {
	case l := <-read:
		fmt.Fprintln(p.w.Stderr)
		return string(l.text), l.err
	case <-p.ctx.Done():
		fmt.Fprintln(p.w.Stderr)
		return "", errors.Join(errors.New("interrupted; nothing was kept"), term.Restore(int(f.Fd()), before))
	}
}
