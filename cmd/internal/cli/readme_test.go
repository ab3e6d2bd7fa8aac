package cli

import (
	"os"
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

// What the README shows is what comes out, line for line, as far as it shows it.
func TestReadmeTranscript(t *testing.T) {
	src, err := os.ReadFile("../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(src), "```\n$ holdproof ")
	shown, _, closed := strings.Cut(rest, "```")
	command, want, hasOutput := strings.Cut(shown, "\n")
	if !ok || !closed || !hasOutput || strings.Count(shown, "\n") != 8 {
		t.Fatalf("no transcript of eight lines: %q", shown)
	}
	t.Chdir(t.TempDir())
	if _, err := surgery.WriteDemo("quay"); err != nil {
		t.Fatal(err)
	}
	if _, got, stderr := run(t, strings.Fields(command)...); !strings.HasPrefix(got, want) {
		t.Errorf("%s prints\n%s%s\nand not what the README shows:\n%s", command, got, stderr, want)
	}
}
