// Holdproof judges what a steam steriliser recorded and says what to do with each load.
package main

import (
	"os"
	"runtime/debug"
	"time"
	_ "time/tzdata" // Windows has no zones of its own

	"holdproof/cmd/internal/cli"
)

// softMemory is where the collector begins to work harder. Twenty thousand cycles need
// a fifth of it; without the limit twice as much as needed would lie about uncollected.
const softMemory = 44 << 20

// garbage is how much may lie about beside what is in use, in per cent. What is in use
// is a few megabytes, so that the usual 100 would sweep all day for nothing.
const garbage = 400

func main() {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(softMemory)
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(garbage)
	}
	os.Exit(cli.Run(os.Args[1:], cli.World{
		Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr,
		Now: time.Now, Getenv: os.Getenv, Program: os.Args[0],
	}))
}
