package surgery

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"holdproof/report/seal"
)

// WriteNew writes a file that must not exist yet, all of it or nothing.
func WriteNew(path string, data []byte) error {
	err := seal.WriteNew(path, data, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return &Refusal{Why: path + " is there already", Instead: "Nothing is overwritten. Name another file."}
	}
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, plainPath(err))
	}
	return nil
}

// DayWords writes a date as people do: 2 Nov 2026.
func DayWords(day string) string { return dayWords(day) }

// recordName is the name of the file of a record: 2026-11-02.pdf, 2026-11-02.r2.pdf.
func recordName(date string, revision int64) string {
	if revision <= 1 {
		return date + ".pdf"
	}
	return fmt.Sprintf("%s.r%d.pdf", date, revision)
}

// recordPath is where the file of a record lies.
func (r *Records) recordPath(name string) string {
	return filepath.Join(r.dir, recordsFolder, filepath.Base(name))
}

// putRecord writes a record under a new name.
func (r *Records) putRecord(name string, data []byte) error {
	if err := os.MkdirAll(filepath.Join(r.dir, recordsFolder), 0o777); err != nil {
		return fmt.Errorf("the folder %s cannot be made: %w", filepath.Join(r.dir, recordsFolder), plainPath(err))
	}
	err := seal.WriteNew(r.recordPath(name), data, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return &Refusal{Why: r.recordPath(name) + " is there already, and the logbook does not know it",
			Instead: "A record is never overwritten. Look what the file is, move it elsewhere, and sign again."}
	}
	if err != nil {
		return fmt.Errorf("the record cannot be written to %s: %w", r.recordPath(name), plainPath(err))
	}
	return nil
}

// extendRecord puts the longer form of a record in place of the shorter one. A record
// is never overwritten: the new bytes must begin with all the old ones, which a second
// signature leaves untouched, and the name never holds anything but one of the two.
func extendRecord(path string, longer []byte) error {
	shorter, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("the record cannot be read: %w", err)
	}
	if len(longer) <= len(shorter) || !bytes.HasPrefix(longer, shorter) {
		return fmt.Errorf("%s was not replaced: the new record does not begin with all the bytes of the old one", path)
	}
	beside := path + ".second"
	if err := os.Remove(beside); err != nil && !errors.Is(err, fs.ErrNotExist) { // of an earlier try
		return fmt.Errorf("the second signature cannot be written: %w", err)
	}
	if err := seal.WriteNew(beside, longer, 0o644); err != nil {
		return fmt.Errorf("the second signature cannot be written to %s: %w", path, plainPath(err))
	}
	if err := os.Rename(beside, path); err != nil {
		return errors.Join(fmt.Errorf("the second signature cannot be put under %s: %w", path, err), os.Remove(beside))
	}
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes sure that a renamed file stays renamed.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" { // folders cannot be synchronised there
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
