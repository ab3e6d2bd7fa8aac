package surgery

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// recordsFolder is where the records of days lie in a site's folder.
const recordsFolder = "records"

// Auditing says what an audit compares with.
type Auditing struct {
	Since    []string // files of checkpoints kept outside the site's folder
	Progress func(done, all int64)
}

// Audited is what an audit found.
type Audited struct {
	Checked    int64 // entries, kept files, checkpoints and records of days
	Problems   []string
	Remarks    []string
	Checkpoint string // of the logbook as it stands, to be kept outside; in its four lines
	Entries    int64
	Retention  string // how long all of this is to be kept, a sentence
}

// OK tells whether no problem was found.
func (a Audited) OK() bool { return len(a.Problems) == 0 }

// Audit checks the whole logbook (see [logbook.Book.Audit]), the checkpoints kept
// elsewhere, those of the configuration among them, and the files of signed records.
//
// Error: a file of checkpoints that cannot be read; the context's.
func (r *Records) Audit(ctx context.Context, o Auditing) (Audited, error) {
	var since []entry.Checkpoint
	for _, file := range o.Since {
		c, err := ReadCheckpoints(file)
		if err != nil {
			return Audited{}, fmt.Errorf("the checkpoint could not be read: %w", err)
		}
		since = append(since, c...)
	}
	var out Audited
	if place := r.checkpointCopy(); place != "" {
		c, err := ReadCheckpoints(place)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			out.Remarks = append(out.Remarks, fmt.Sprintf("There are no checkpoints at %s (checkpoint_copy), so nothing was compared with them.", place))
		case err != nil:
			out.Problems = append(out.Problems, fmt.Sprintf("The checkpoints of checkpoint_copy cannot be read: %v.", err))
		}
		since = append(since, c...)
	}
	found, err := r.book.Audit(ctx, logbook.AuditOptions{Since: since, Progress: o.Progress})
	if err != nil {
		return Audited{}, err
	}
	out.Checked = found.Checked + int64(len(since))
	out.Problems = append(out.Problems, found.Problems...)
	out.Remarks = append(out.Remarks, found.Remarks...)
	out.Checkpoint, out.Entries = string(found.Checkpoint.Text()), found.Checkpoint.Size
	out.Retention = r.settings.Value.Retention()
	if err := r.auditAuthority(ctx, &out); err != nil {
		return out, err
	}
	return out, r.auditDays(ctx, &out)
}

// auditAuthority compares keys/ca.pem, which people hand to other programs and to
// verify --roots, with the authority that the logbook holds. A site may be without the
// file: holdproof keys --pem prints it.
func (r *Records) auditAuthority(ctx context.Context, out *Audited) error {
	onDisk, err := os.ReadFile(filepath.Join(r.dir, "keys", "ca.pem"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		out.Problems = append(out.Problems, fmt.Sprintf("keys/ca.pem cannot be read: %v.", plainPath(err)))
		return nil
	}
	held, err := r.AuthorityPEM(ctx)
	if err != nil {
		return err
	}
	// A copy through mail or an editor may change how lines end, and nothing else.
	if !slices.EqualFunc(bytes.Fields(onDisk), bytes.Fields(held), bytes.Equal) {
		out.Problems = append(out.Problems, "keys/ca.pem is not the certificate of the site's authority: records of others would be trusted by it. Look for who replaced it, move it away, and print the right one with holdproof keys --pem.")
	}
	return nil
}

// Backup writes a verified copy of the logbook to a new file while others may use it.
// It returns the number of entries in it.
func (r *Records) Backup(ctx context.Context, file string) (int64, error) {
	c, err := r.book.Backup(ctx, file)
	return c.Size, err
}

// Restore makes the logbook of a folder from a backup, after an audit of it. A
// logbook that is there is never overwritten. It returns the number of entries.
func Restore(ctx context.Context, backup, dir string) (int64, error) {
	if _, err := os.Stat(backup); err != nil {
		return 0, fmt.Errorf("the backup %s could not be read: %w", backup, plainPath(err))
	}
	c, err := logbook.Restore(ctx, backup, dir)
	return c.Size, err
}
