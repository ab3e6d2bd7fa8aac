//go:build !windows

package logbook

import (
	"errors"
	"syscall"
)

// cannotSync tells whether the file system has no way to sync a folder.
func cannotSync(err error) bool {
	return errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP)
}
