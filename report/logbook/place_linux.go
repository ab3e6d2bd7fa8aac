package logbook

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// Numbers of file systems, from statfs(2) and linux/magic.h (memory). 9p is how a
// virtual machine sees a folder of its host: the host's programs take no part in
// the locks of the guest.
var shares = map[uint32]string{
	0x6969:     "NFS",
	0x517B:     "SMB",
	0xFF534D42: "CIFS",
	0xFE534D42: "SMB2",
	0x564C:     "NCP",
	0x5346414F: "AFS",
	0x6B414653: "AFS",
	0x73757245: "Coda",
	0x00C36400: "Ceph",
	0x47504653: "GPFS",
	0x0BD00BD0: "Lustre",
	0x01021997: "9p, a folder of the host of this virtual machine",
	0x786F4256: "VirtualBox, a folder of the host of this virtual machine",
}

const fuse = 0x65735546

func shareOf(dir string) (kind string, shared bool, err error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return "", false, &os.PathError{Op: "statfs", Path: dir, Err: err}
	}
	if uint32(st.Type) != fuse {
		kind, shared = shareNumbered(uint32(st.Type))
		return kind, shared, nil
	}
	mounts, err := os.Open("/proc/self/mountinfo")
	if err != nil {
		return "", false, nil // no list of mounts: FUSE is local more often than not
	}
	defer mounts.Close()
	real, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return "", false, err
	}
	name := mountedAs(mounts, real)
	return name, fuseShare(name), nil
}

func shareNumbered(magic uint32) (kind string, shared bool) {
	kind, shared = shares[magic]
	return kind, shared
}

// mountedAs finds the type of the file system that holds path in a list of the
// form of /proc/self/mountinfo (proc(5)); "" if it is not there.
func mountedAs(list io.Reader, path string) string {
	best, name := -1, ""
	s := bufio.NewScanner(list)
	for s.Scan() {
		before, after, ok := strings.Cut(s.Text(), " - ")
		f, g := strings.Fields(before), strings.Fields(after)
		if !ok || len(f) < 5 || len(g) < 1 {
			continue
		}
		at := unescape(f[4])
		inside := at == "/" || path == at || strings.HasPrefix(path, at+"/")
		if inside && len(at) >= best {
			best, name = len(at), g[0]
		}
	}
	return name
}

// unescape undoes the octal escapes of a mount point, such as \040 for a space.
func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		var c int
		if s[i] == '\\' && i+3 < len(s) {
			if _, err := fmt.Sscanf(s[i+1:i+4], "%03o", &c); err == nil {
				b.WriteByte(byte(c))
				i += 3
				continue
			}
		}
		b.WriteByte(s[i])
	}
	return b.String()
}
