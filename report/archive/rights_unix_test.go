//go:build unix

package archive

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// A bag has the rights that the person's other files have: with umask 077 nobody else
// looks into it.
func TestRights(t *testing.T) {
	for mask, want := range map[int][3]os.FileMode{0o077: {0o700, 0o600, 0o600}, 0o022: {0o755, 0o644, 0o644}} {
		old := syscall.Umask(mask)
		dir := t.TempDir()
		packInto(t, filepath.Join(dir, "bag"))
		packInto(t, filepath.Join(dir, "bag.zip"))
		syscall.Umask(old)
		for i, name := range []string{"bag", "bag/bagit.txt", "bag.zip"} {
			info, err := os.Stat(filepath.Join(dir, name))
			if err != nil || info.Mode().Perm() != want[i] {
				t.Errorf("umask %o: %s has %o, expected %o, %v", mask, name, info.Mode().Perm(), want[i], err)
			}
		}
	}
}
