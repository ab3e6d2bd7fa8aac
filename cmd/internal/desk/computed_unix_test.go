//go:build !windows

package desk

import (
	"syscall"
	"time"
)

// computed is the time that this process has computed so far.
func computed() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
