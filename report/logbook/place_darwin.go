package logbook

import (
	"os"
	"syscall"
)

const mntLocal = 0x1000 // MNT_LOCAL of sys/mount.h (memory)

func shareOf(dir string) (kind string, shared bool, err error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return "", false, &os.PathError{Op: "statfs", Path: dir, Err: err}
	}
	var name []byte
	for _, c := range st.Fstypename {
		if c == 0 {
			break
		}
		name = append(name, byte(c))
	}
	return string(name), st.Flags&mntLocal == 0, nil
}
