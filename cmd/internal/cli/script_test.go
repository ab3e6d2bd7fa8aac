package cli

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"holdproof/fixtures"
)

// The program runs as a process of its own in the scripts; its clock stands still, at
// $NOW if that is set.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"holdproof": func() {
			now := time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC)
			if t, err := time.Parse(time.RFC3339, os.Getenv("NOW")); err == nil {
				now = t
			}
			os.Exit(Run(os.Args[1:], World{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Getenv: os.Getenv,
				Now: func() time.Time { return now }, rounds: 1}))
		},
	})
}

// The command line as a surgery types it. The recordings lie in $EXPORTS; "monday DIR"
// writes settings and exports of the invented Monday, and nothing else.
func TestScripts(t *testing.T) {
	dir, _ := unpack(t)
	testscript.Run(t, testscript.Params{
		Dir:                 "../../../fixtures/scripts",
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
		UpdateScripts:       os.Getenv("UPDATE_SCRIPTS") != "",
		Cmds:                map[string]func(*testscript.TestScript, bool, []string){"monday": writeMonday},
		Setup: func(e *testscript.Env) error {
			e.Setenv("EXPORTS", dir)
			e.Setenv("LANG", "C.UTF-8")
			e.Setenv("TZ", "America/New_York") // the computer's zone must not show
			return nil
		},
	})
}

func writeMonday(ts *testscript.TestScript, neg bool, args []string) {
	files, err := fixtures.DemoDay()
	ts.Check(err)
	if neg || len(args) != 1 {
		ts.Fatalf("usage: monday DIR")
	}
	for _, f := range files {
		name := filepath.Join(ts.MkAbs(args[0]), f.Name)
		ts.Check(os.MkdirAll(filepath.Dir(name), 0o777))
		ts.Check(os.WriteFile(name, f.Bytes, 0o666))
	}
}
