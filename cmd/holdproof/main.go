// Holdproof judges what a steam steriliser recorded and says what to do with each load.
package main

import (
	"os"
	"time"
	_ "time/tzdata" // Windows has no zones of its own

	"holdproof/cmd/internal/cli"
)

func main() {
	os.Exit(cli.Run(os.Args[1:], cli.World{
		Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr,
		Now: time.Now, Getenv: os.Getenv, Program: os.Args[0],
	}))
}
