package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"holdproof/report/logbook/entry"
)

// Backup writes a copy of the logbook as of one moment to file, while others may
// read and write, then opens the copy and audits it. It returns the copy's
// checkpoint. The copy is one file and may lie anywhere, a share included.
//
// Errors: the file is there already; no room; the copy is not whole.
func (b *Book) Backup(ctx context.Context, file string) (entry.Checkpoint, error) {
	return place(ctx, file, func(temporary string) error {
		// VACUUM INTO only reads, yet a connection that cannot write refuses it; the
		// one that writes must stay free.
		db, err := connect(b.path, "mode=rw")
		if err != nil {
			return err
		}
		defer db.Close()
		_, err = db.ExecContext(ctx, `VACUUM INTO $1`, temporary)
		return explain(file, err)
	})
}

// Restore makes the logbook of the folder dir from a backup, which is audited
// first. It never overwrites one.
func Restore(ctx context.Context, backup, dir string) (entry.Checkpoint, error) {
	if err := checkPlace(dir); err != nil {
		return entry.Checkpoint{}, err
	}
	if err := isFile(backup); err != nil {
		return entry.Checkpoint{}, err
	}
	target := filepath.Join(dir, FileName)
	for _, beside := range []string{target + "-wal", target + "-shm"} {
		if _, err := os.Lstat(beside); err == nil {
			return entry.Checkpoint{}, &Error{Path: beside, What: "this belongs to another logbook, and would be mixed into the restored one",
				Remedy: "Move it away, together with the logbook it belongs to."}
		}
	}
	return place(ctx, target, func(temporary string) error {
		if err := copyFile(backup, temporary); err != nil {
			return err
		}
		// A copy made by hand while the logbook was open has its last acts beside it.
		if _, err := os.Stat(backup + "-wal"); err == nil {
			if err := copyFile(backup+"-wal", temporary+"-wal"); err != nil {
				return err
			}
		}
		// Opening brings an older layout forward, closing leaves one file.
		b, err := Open(ctx, filepath.Dir(temporary), Options{Now: func() time.Time { return time.Time{} }})
		if err != nil {
			// What is wrong is wrong with the backup, not with the copy, which is gone.
			if e, ok := errors.AsType[*Error](err); ok {
				e.Path = backup
			}
			return err
		}
		return b.Close()
	})
}

// place makes a file under a temporary name, audits it, and gives it its name when
// it is whole and on the disk.
func place(ctx context.Context, file string, fill func(temporary string) error) (entry.Checkpoint, error) {
	var none entry.Checkpoint
	if err := absent(file); err != nil {
		return none, err
	}
	folder, err := os.MkdirTemp(filepath.Dir(file), ".holdproof-")
	if err != nil {
		return none, explain(file, err)
	}
	defer os.RemoveAll(folder)
	temporary := filepath.Join(folder, FileName)
	if err := fill(temporary); err != nil {
		return none, err
	}
	c, err := verifyCopy(ctx, temporary)
	if err != nil {
		return none, explain(file, err)
	}
	if err := publish(temporary, file); err != nil {
		return none, explain(file, err)
	}
	return c, nil
}

func absent(file string) error {
	if _, err := os.Lstat(file); err == nil {
		return &Error{Path: file, What: "there is a file of this name already, and nothing is overwritten", Remedy: "Choose another name, or move that file away."}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return explain(file, err)
	}
	return nil
}

// verifyCopy audits a database file without changing it.
func verifyCopy(ctx context.Context, file string) (entry.Checkpoint, error) {
	name, err := dsn(file, "mode=ro&immutable=1&_dqs=0&_error_rc=1")
	if err != nil {
		return entry.Checkpoint{}, err
	}
	db, err := sql.Open("sqlite", name)
	if err != nil {
		return entry.Checkpoint{}, err
	}
	defer db.Close()
	v, err := readVersion(ctx, db)
	if err != nil {
		return entry.Checkpoint{}, err
	}
	if v != current.version() {
		return entry.Checkpoint{}, &Error{Path: file, What: fmt.Sprintf("the copy has layout %d, this program audits layout %d", v, current.version()),
			Remedy: "Use the holdproof that wrote it."}
	}
	a, err := audit(ctx, db, file, current, AuditOptions{})
	if err != nil {
		return entry.Checkpoint{}, err
	}
	if !a.OK() {
		return entry.Checkpoint{}, &Error{What: "the copy is not whole: " + a.Problems[0], Remedy: tellAudit}
	}
	return a.Checkpoint, nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return explain(from, err)
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return explain(to, err)
	}
	_, err = io.Copy(out, in)
	return explain(to, errors.Join(err, out.Close()))
}

// publish syncs the file, gives it its name without replacing another, and syncs
// the folder.
func publish(temporary, file string) error {
	f, err := os.OpenFile(temporary, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	// A hard link fails where the name is taken; a file system without links has
	// only the look beforehand.
	if err := os.Link(temporary, file); errors.Is(err, fs.ErrExist) {
		return absent(file)
	} else if err != nil {
		if err := absent(file); err != nil {
			return err
		}
		if err := os.Rename(temporary, file); err != nil {
			return err
		}
	}
	return syncFolder(filepath.Dir(file))
}
