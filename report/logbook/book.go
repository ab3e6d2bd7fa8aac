// Package logbook keeps everything: the bytes of every export and every act, in
// one SQLite file in the site's folder, for decades.
//
// Three tables are the store: originals (bytes, gzip'd, named by their SHA-256),
// entries (lines of JSON, see [entry]) and trees (size and root of the Merkle tree
// after each transaction). They are only added to; triggers in the file refuse
// anything else from any program. All other tables are projections: laid out for
// questions, made from the entries and from nothing else. [Book.Audit] makes them
// again and compares.
//
// Who may act, and when, is not settled here. What is refused here is what could
// not be true: a verdict on bytes that are not kept, a decision on a verdict that
// no longer counts, a correction of what is corrected already.
package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"modernc.org/sqlite" // the driver "sqlite" too
	sqlite3 "modernc.org/sqlite/lib"
)

// Options are what a logbook needs from outside.
type Options struct {
	// Now is the clock of the entry times; required.
	Now func() time.Time
}

// Book is an open logbook. Its methods may be called from several goroutines, and
// several programs may have the same logbook open.
type Book struct {
	*View // questions, each answered by itself; see [Book.Read] for several at one moment

	path string
	form layout
	now  func() time.Time
	w    *sql.DB // one connection that writes
	seen *statements
	r    *sql.DB // a few that cannot
}

// Create makes a new, empty logbook in the folder dir and opens it.
//
// Errors, each an [*Error]: a logbook is there already, a network share, a folder
// that cannot be written to, a full disk.
func Create(ctx context.Context, dir string, o Options) (*Book, error) {
	return create(ctx, dir, o, current)
}

func create(ctx context.Context, dir string, o Options, l layout) (*Book, error) {
	if err := checkPlace(dir); err != nil {
		return nil, err
	}
	path := filepath.Join(dir, FileName)
	w, err := connect(path, "mode=rwc&_txlock=immediate")
	if err != nil {
		return nil, err
	}
	defer w.Close()
	err = inTx(ctx, w, func(tx *sql.Tx) error {
		var n int64
		if err := tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM sqlite_master`).Scan(&n); err != nil {
			return err
		}
		if n > 0 {
			return &Error{Path: path, What: "there is a logbook here already", Remedy: "Use it, or choose another folder."}
		}
		return l.forward(ctx, tx, 0)
	})
	if err != nil {
		return nil, explain(path, err)
	}
	if err := syncFolder(dir); err != nil {
		return nil, explain(dir, err)
	}
	return open(ctx, dir, o, l)
}

// Open opens the logbook in the folder dir. One that an older program made is
// brought forward first.
//
// Errors, each an [*Error]: no logbook there, one of a newer program, a network
// share, a damaged file, a file or folder that cannot be written to.
func Open(ctx context.Context, dir string, o Options) (*Book, error) {
	return open(ctx, dir, o, current)
}

func open(ctx context.Context, dir string, o Options, l layout) (*Book, error) {
	if o.Now == nil {
		return nil, errors.New("a logbook needs a clock")
	}
	path := filepath.Join(dir, FileName)
	if err := isFile(path); err != nil {
		return nil, err
	}
	if err := checkPlace(dir); err != nil {
		return nil, err
	}
	w, err := connect(path, "mode=rw&_txlock=immediate")
	if err != nil {
		return nil, err
	}
	if err := ready(ctx, path, w, l); err != nil {
		w.Close()
		return nil, explain(path, err)
	}
	r, err := connect(path, "mode=rw&_query_only=1")
	if err != nil {
		w.Close()
		return nil, err
	}
	w.SetMaxOpenConns(1)
	r.SetMaxOpenConns(4)
	r.SetMaxIdleConns(4)
	return &Book{View: &View{q: r, path: path}, path: path, form: l, now: o.Now, w: w, r: r, seen: &statements{m: map[string]*sql.Stmt{}}}, nil
}

// ready refuses what this program cannot use and brings forward what is older. A
// folder or file that cannot be written to shows here, not at the first act; a full
// disk does not, as what is kept can be read all the same.
func ready(ctx context.Context, path string, w *sql.DB, l layout) error {
	if err := migrate(ctx, path, w, l); err != nil {
		return err
	}
	_, err := w.ExecContext(ctx, `UPDATE layout SET version = version`)
	var theirs *sqlite.Error
	if errors.As(err, &theirs) && theirs.Code()&0xff == sqlite3.SQLITE_FULL {
		return nil
	}
	return err
}

func migrate(ctx context.Context, path string, w *sql.DB, l layout) error {
	return inTx(ctx, w, func(tx *sql.Tx) error {
		var tables int64
		if err := tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM sqlite_master WHERE name = 'layout'`).Scan(&tables); err != nil {
			return err
		}
		if tables == 0 {
			return &Error{Path: path, What: "the file holds no logbook", Remedy: "If making it was interrupted, run holdproof init again. If not, restore the newest backup."}
		}
		v, err := readVersion(ctx, tx)
		if err != nil {
			return &Error{Path: path, What: err.Error(), Remedy: restoreIt, Err: err}
		}
		switch {
		case v > l.version():
			return &Error{Path: path, What: fmt.Sprintf("a newer holdproof made this logbook (layout %d, this program knows up to %d)", v, l.version()),
				Remedy: "Install the newest holdproof on this computer. Nothing was changed."}
		case v < l.version():
			return l.forward(ctx, tx, v)
		}
		return nil
	})
}

// connect opens a pool. What every connection needs stands in the name: it is
// applied to each of them.
func connect(path, parameters string) (*sql.DB, error) {
	name, err := dsn(path, parameters+"&_busy_timeout=10000&_foreign_keys=1&_journal_mode=WAL&_synchronous=FULL&_defensive=1&_dqs=0&_error_rc=1")
	if err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", name)
	return db, explain(path, err)
}

// Close closes the logbook. What was acknowledged is on the disk already.
func (b *Book) Close() error {
	return explain(b.path, errors.Join(b.r.Close(), b.w.Close()))
}

// Path returns the name of the database file.
func (b *Book) Path() string { return b.path }

// Read answers several questions as of one moment, whatever is written meanwhile.
func (b *Book) Read(ctx context.Context, fn func(*View) error) error {
	return explain(b.path, inTx(ctx, b.r, func(tx *sql.Tx) error {
		return fn(&View{q: prepare(tx), path: b.path})
	}))
}

// inTx runs fn in a transaction, and keeps what it did if it returns nil.
func inTx(ctx context.Context, db *sql.DB, fn func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if err := fn(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// syncFolder makes the name of a new file outlive a power cut. Windows has no such
// thing and refuses to open folders.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !cannotSync(err) {
		return err
	}
	return nil
}
