package cli

import (
	"os"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// The program runs as a process of its own in the scripts; its clock stands still.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"holdproof": func() {
			os.Exit(Run(os.Args[1:], World{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Getenv: os.Getenv,
				Now: func() time.Time { return time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC) }}))
		},
	})
}

// The command line as a surgery types it. The recordings lie in $EXPORTS.
func TestScripts(t *testing.T) {
	dir, _ := unpack(t)
	testscript.Run(t, testscript.Params{
		Dir:                 "../../../fixtures/scripts",
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
		UpdateScripts:       os.Getenv("UPDATE_SCRIPTS") != "",
		Setup: func(e *testscript.Env) error {
			e.Setenv("EXPORTS", dir)
			e.Setenv("LANG", "C.UTF-8")
			e.Setenv("TZ", "America/New_York") // the computer's zone must not show
			return nil
		},
	})
}
