package logbook

import (
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

func shareOf(dir string) (kind string, shared bool, err error) {
	if _, err := os.Stat(dir); err != nil {
		return "", false, err
	}
	full, err := filepath.Abs(dir)
	if err != nil {
		return "", false, err
	}
	if real, err := filepath.EvalSymlinks(full); err == nil {
		full = real
	}
	volume := filepath.VolumeName(full)
	if unc(volume) {
		return volume, true, nil
	}
	root, err := windows.UTF16PtrFromString(volume + `\`)
	if err != nil {
		return "", false, err
	}
	return volume, windows.GetDriveType(root) == windows.DRIVE_REMOTE, nil
}
