package logbook

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Error is something the logbook could not do: which file, what is wrong, and one
// thing to do about it.
type Error struct {
	Path   string // of the database or folder; "" if none is to blame
	What   string // such as "the disk is full; nothing of this act was kept"
	Remedy string // a sentence
	Err    error  // the cause, nil if there is none beyond What
}

func (e *Error) Error() string {
	if e.Path == "" {
		return e.What
	}
	return e.Path + ": " + e.What
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// ErrStale says that somebody else acted first: what the person saw on the screen
// no longer counts. Nothing was kept; show the new state and ask again.
var ErrStale = errors.New("somebody else acted first")

// Remedies that more than one place gives.
const (
	tellAudit  = "Run holdproof audit, and keep a copy of the folder before anything else is done to it."
	restoreIt  = "Keep the damaged file, and restore the newest backup with holdproof restore."
	freeSpace  = "Free some space and do the same again."
	allowWrite = "Give this user the right to write there, or start holdproof as the user who has it."
	waitAgain  = "Wait a minute and do the same again. If it stays so, close other holdproof windows."
)

// explain turns an error of the database into one for the person; other errors,
// those of the caller among them, pass as they are.
func explain(path string, err error) error {
	if err == nil {
		return nil
	}
	var ours *Error
	if errors.As(err, &ours) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var theirs *sqlite.Error
	if errors.As(err, &theirs) {
		what, remedy := sentence(theirs.Code())
		return &Error{Path: path, What: what, Remedy: remedy, Err: err}
	}
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return &Error{Path: path, What: "the disk is full; nothing of this act was kept", Remedy: freeSpace, Err: err}
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return &Error{Path: path, What: "this user may not write there", Remedy: allowWrite, Err: err}
	case errors.Is(err, fs.ErrNotExist):
		return &Error{Path: path, What: "it is not there", Remedy: "Check the name.", Err: err}
	}
	return err
}

// sentence says a result code of SQLite in words (sqlite.org/rescode.html). The
// low byte is the kind, the rest says where.
func sentence(code int) (what, remedy string) {
	switch code {
	case sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_SHMMAP:
		return "the disk is full, or cannot share memory between programs; nothing of this act was kept", freeSpace
	case sqlite3.SQLITE_READONLY_DIRECTORY, sqlite3.SQLITE_READONLY_CANTINIT:
		return "its folder cannot be written to", allowWrite
	}
	switch code & 0xff {
	case sqlite3.SQLITE_FULL:
		return "the disk is full; nothing of this act was kept", freeSpace
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return "this user may not write there", allowWrite
	case sqlite3.SQLITE_CANTOPEN:
		return "the file or its folder cannot be written to", allowWrite
	case sqlite3.SQLITE_CORRUPT:
		return "the file is damaged", restoreIt
	case sqlite3.SQLITE_NOTADB:
		return "this is not a logbook, or its beginning is damaged", restoreIt
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return "another program has been writing to it for too long; nothing of this act was kept", waitAgain
	case sqlite3.SQLITE_IOERR:
		return "the disk gave an error; whether this act was kept is not sure", tellAudit
	case sqlite3.SQLITE_NOMEM:
		return "this computer is out of memory; nothing of this act was kept", "Close other programs and do the same again."
	case sqlite3.SQLITE_TOOBIG:
		return "one piece is too big to be kept; nothing of this act was kept", "Split the file and import its parts."
	case sqlite3.SQLITE_CONSTRAINT:
		return "the logbook refused what would change or repeat what it holds; nothing of this act was kept", tellAudit
	}
	return fmt.Sprintf("the database answered with code %d; nothing of this act was kept", code), tellAudit
}

// isFile tells whether path names a regular file, and says plainly if not.
func isFile(path string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &Error{Path: path, What: "there is no logbook here", Err: err,
			Remedy: "Check --dir, or make one with holdproof init."}
	case err != nil:
		return explain(path, err)
	case !info.Mode().IsRegular():
		return &Error{Path: path, What: "this is not a file", Remedy: "Move it away and restore the logbook."}
	case info.Size() == 0:
		return &Error{Path: path, What: "the file is empty: making the logbook was interrupted, or it was cut",
			Remedy: "If it is new, run holdproof init again. If not, restore the newest backup with holdproof restore."}
	}
	return nil
}
