package surgery

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"holdproof/report/logbook/entry"
)

// checkpointsFile is what the copies are called in a folder.
const checkpointsFile = "holdproof-checkpoints.txt"

// checkpointTitle begins each checkpoint, see [entry.Checkpoint.Text].
const checkpointTitle = "Holdproof logbook, checkpoint "

// maxCheckpoints bounds a file of checkpoints (ours): a hundred years of hourly acts.
const maxCheckpoints = 256 << 20

// copyCheckpoint adds the checkpoint after an act to the file outside the site's
// folder. That it cannot is a notice: the act itself is kept.
func (r *Records) copyCheckpoint(c entry.Checkpoint) {
	place := r.checkpointCopy()
	if place == "" || c.Size == 0 {
		return
	}
	if err := appendTo(place, c.Text()); err != nil {
		r.notice("The checkpoint was not copied to %s: %v. The act itself is kept; look whether the place can be reached.", place, err)
	}
}

// checkpointCopy is the file that checkpoints are copied to, "" for none. A path in
// the configuration counts from the site's folder.
func (r *Records) checkpointCopy() string {
	place := r.settings.Value.CheckpointCopy
	if place == "" {
		return ""
	}
	if !filepath.IsAbs(place) {
		place = filepath.Join(r.dir, place)
	}
	if info, err := os.Stat(place); err == nil && info.IsDir() {
		return filepath.Join(place, checkpointsFile)
	}
	return place
}

// appendTo adds bytes to a file and sees them onto the disk. Its folder must be
// there: a share that is away must not become a folder of this computer.
func appendTo(file string, b []byte) error {
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o666)
	if err != nil {
		return plainPath(err)
	}
	_, err = f.Write(b)
	return plainPath(errors.Join(err, f.Sync(), f.Close()))
}

// plainPath takes the name of the call and of the file from an error: the sentence
// around it names the file.
func plainPath(err error) error {
	var at *fs.PathError
	if errors.As(err, &at) {
		return at.Err
	}
	return err
}

// unreadCheckpoints says in words why a file of checkpoints cannot be read.
func unreadCheckpoints(file string, err error) error {
	out := &noCheckpoints{Problem{Message: file + ": " + plainPath(err).Error(), Remedy: "Look at the name, or name the folder it lies in."}, err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		out.Message = file + ": there is no such file"
	case errors.Is(err, fs.ErrPermission):
		out.Message, out.Remedy = file+": you may not read it", "Copy it to a folder of your own."
	}
	return out
}

// noCheckpoints is a problem whose cause can be asked for.
type noCheckpoints struct {
	Problem
	cause error
}

func (n *noCheckpoints) Unwrap() []error { return []error{&n.Problem, n.cause} }

// ReadCheckpoints reads a file with one or more checkpoints, as they were written
// one behind the other, or copied from the screen, with indents and empty lines. A
// last one that was cut is left out if others stand before it.
func ReadCheckpoints(file string) ([]entry.Checkpoint, error) {
	info, err := os.Stat(file)
	if err != nil {
		return nil, unreadCheckpoints(file, err)
	}
	if info.IsDir() {
		return ReadCheckpoints(filepath.Join(file, checkpointsFile))
	}
	if info.Size() > maxCheckpoints {
		return nil, fmt.Errorf("%s is longer than %d MiB, expected checkpoints of four lines each", file, maxCheckpoints>>20)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, unreadCheckpoints(file, err)
	}
	text = bareLines(text)
	var out []entry.Checkpoint
	for len(text) > 0 {
		n := len(text)
		if next := bytes.Index(text[1:], []byte(checkpointTitle)); next >= 0 {
			n = next + 1
		}
		c, err := entry.ParseCheckpoint(text[:n])
		if err != nil && n == len(text) {
			// An editor may have left out the end of the last line. A time that was cut is none.
			c, err = entry.ParseCheckpoint(append(bytes.Clone(text), '\n'))
		}
		switch {
		case err == nil:
			out = append(out, c)
		case bytes.HasPrefix(text, []byte(checkpointTitle)) && bytes.Count(text[:n], []byte("\n")) < 4:
			// Cut while it was written; the others stand.
		default:
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		text = text[n:]
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s holds no checkpoint", file)
	}
	return out, nil
}

// bareLines leaves out indents and empty lines.
func bareLines(text []byte) []byte {
	var out []byte
	for line := range bytes.Lines(text) {
		if line = bytes.TrimLeft(line, " \t"); len(bytes.TrimSpace(line)) > 0 {
			out = append(out, line...)
		}
	}
	return out
}
