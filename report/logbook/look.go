package logbook

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Look opens the logbook in the folder dir to be read. Where it can be written to, it is
// [Open]. Where it cannot, as on a disc that was put away, the file is read as it lies
// (immutable, sqlite.org/uri.html), and every act on it is refused.
//
// Errors, each an [*Error]: those of Open; beside a file that cannot be written to, pages
// that a running program had not put into it yet; one of an older program, which cannot
// be brought forward there.
func Look(ctx context.Context, dir string, o Options) (*Book, error) {
	b, err := Open(ctx, dir, o)
	if !unwritable(err) {
		return b, err
	}
	path := filepath.Join(dir, FileName)
	const elsewhere = "Copy the folder to a place where you may write, and look at that copy."
	if waiting, err := os.Stat(path + "-wal"); err == nil && waiting.Size() > 0 {
		return nil, &Error{Path: path, What: "the folder cannot be written to, and it was copied while holdproof was at work: its last acts lie in " + FileName + "-wal", Remedy: elsewhere}
	}
	r, err := immutable(path)
	if err != nil {
		return nil, err
	}
	v, err := readVersion(ctx, r)
	if err == nil && v != current.version() {
		err = &Error{Path: path, What: "another version of holdproof made this logbook, and it cannot be brought forward where nothing can be written", Remedy: elsewhere}
	}
	if err != nil {
		r.Close()
		return nil, explain(path, err)
	}
	w, err := immutable(path)
	if err != nil {
		r.Close()
		return nil, err
	}
	return &Book{View: &View{q: r, path: path}, path: path, form: current, now: o.Now, w: w, r: r, seen: &statements{m: map[string]*sql.Stmt{}}}, nil
}

func immutable(path string) (*sql.DB, error) {
	name, err := dsn(path, "mode=ro&immutable=1&_query_only=1&_foreign_keys=1&_defensive=1&_dqs=0&_error_rc=1")
	if err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", name)
	return db, explain(path, err)
}

// unwritable tells whether an error means that nothing can be written there.
func unwritable(err error) bool {
	var theirs *sqlite.Error
	if errors.As(err, &theirs) {
		switch theirs.Code() & 0xff {
		case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
			return true
		}
	}
	return errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS)
}
