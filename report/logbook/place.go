package logbook

import (
	"fmt"
	"net/url"
	"path/filepath"
	"runtime"
	"strings"
)

// FileName is the name of the database in a site's folder.
const FileName = "holdproof.db"

// checkPlace refuses a folder on a share: two computers that write to one SQLite
// file do not see each other's locks and memory, and the file is lost
// (sqlite.org/wal.html: "does not work over a network filesystem"; read).
func checkPlace(dir string) error {
	kind, shared, err := shareOf(dir)
	if err != nil {
		return explain(dir, err)
	}
	if !shared {
		return nil
	}
	return &Error{Path: dir, What: fmt.Sprintf("the folder is on a network share (%s), where the logbook could be damaged when two computers write", kind),
		Remedy: "Put the site's folder on a disk of this computer. Backups and copies of checkpoints may go to the share."}
}

// fuseShares are file systems behind FUSE that reach another computer. Others
// behind FUSE (a stick's file system, an encrypted folder) are local.
var fuseShares = []string{"sshfs", "rclone", "s3fs", "glusterfs", "davfs", "cifs", "smb", "nfs", "ceph", "curlftpfs", "gcsfuse", "juicefs", "moosefs", "vmhgfs", "virtiofs", "grpcfuse"}

// fuseShare tells whether a file system type such as "fuse.sshfs" is a share.
func fuseShare(name string) bool {
	name = strings.TrimPrefix(name, "fuse.")
	for _, s := range fuseShares {
		if strings.HasPrefix(name, s) {
			return true
		}
	}
	return false
}

// dsn names the database for SQLite as a URI, in which '?', '#' and '%' of the
// path are escaped. Parameters are SQLite's and the driver's own.
func dsn(path, parameters string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	p := filepath.ToSlash(abs)
	if runtime.GOOS == "windows" && !strings.HasPrefix(p, "/") {
		p = "/" + p
	}
	return (&url.URL{Scheme: "file", Path: p, RawQuery: parameters}).String(), nil
}

// unc tells whether a Windows volume is a share such as \\server\folder, written
// plainly or as \\?\UNC\server\folder; \\?\C: and \\.\C: are disks of this computer.
func unc(volume string) bool {
	if rest, ok := strings.CutPrefix(volume, `\\?\`); ok {
		return strings.HasPrefix(strings.ToUpper(rest), `UNC\`)
	}
	return strings.HasPrefix(volume, `\\`) && !strings.HasPrefix(volume, `\\.\`)
}
