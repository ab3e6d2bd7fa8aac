package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

// Passphrases come line by line, as they stand but for the line's end, and a line that
// is missing is named by what it is for.
func TestPassphrases(t *testing.T) {
	file := filepath.Join(t.TempDir(), "words.txt")
	if err := os.WriteFile(file, []byte(" with spaces \r\nsecond one of mine\n\nshort\nlast without an end"), 0o600); err != nil {
		t.Fatal(err)
	}
	w := world(nil)
	for _, from := range []string{"file", "standard input"} {
		p := &passphrases{ctx: t.Context(), w: w}
		if from == "file" {
			p.file = file
		} else {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			p.w.Stdin = strings.NewReader(string(text))
		}
		for _, c := range []struct {
			get         func() (string, error)
			want, wrong string
		}{
			{p.ask("lea"), " with spaces ", ""}, {p.choose("lea"), "second one of mine", ""},
			{p.ask("the authority"), "", `line 3 of the passphrases is missing or too long: it is asked for as "Passphrase of the authority"`},
			{p.choose("tom"), "", "shorter than 8"}, {p.ask("tom"), "last without an end", ""}, {p.ask("tom"), "", "line 6"},
		} {
			got, err := c.get()
			if c.wrong == "" && (err != nil || got != c.want) || c.wrong != "" && (err == nil || !strings.Contains(err.Error(), c.wrong) || surgery.Remedy(err) == "") {
				t.Errorf("%s: %q, %v, want %q %q", from, got, err, c.want, c.wrong)
			}
		}
		p.done()
	}
	p := &passphrases{ctx: t.Context(), w: w, file: file + ".absent"}
	if _, err := p.ask("lea")(); err == nil || !strings.Contains(err.Error(), "passphrase file cannot be read") {
		t.Error(err)
	}
	p = &passphrases{ctx: t.Context(), w: w}
	p.w.Stdin = strings.NewReader(strings.Repeat("x", 2000) + "\n")
	if _, err := p.ask("lea")(); err == nil {
		t.Error("a line of 2,000 letters is a passphrase")
	}
}
