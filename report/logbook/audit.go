package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"holdproof/report/logbook/entry"
)

// AuditOptions say what an audit compares with, and who watches it.
type AuditOptions struct {
	// Since are checkpoints kept outside the logbook. Only they show that the whole
	// history was written anew, or an older copy put in its place.
	Since []entry.Checkpoint
	// Progress, if not nil, is called now and then, from one goroutine at a time,
	// with how many of the entries and files are done.
	Progress func(done, all int64)
}

// Audit is the result of an audit.
type Audit struct {
	Checked    int64            // entries and kept files
	Problems   []string         // sentences; none: the logbook is whole
	Remarks    []string         // sentences about what is odd, and no proof of a change
	Checkpoint entry.Checkpoint // recomputed from the entries; to be kept outside
}

// OK tells whether no problem was found.
func (a Audit) OK() bool { return len(a.Problems) == 0 }

// mostProblems is how many sentences of one kind are worth reading.
const mostProblems = 20

// Audit checks the whole logbook: the file by SQLite's own test, every kept file
// against the SHA-256 it is named by, the numbering, every entry against the tree
// made anew from the lines, what entries refer to, and the projections against
// ones made anew. Others may read and write meanwhile.
//
// What it found is in the result. The error is for an audit that could not be
// done: ctx ended, or the file cannot be opened.
func (b *Book) Audit(ctx context.Context, o AuditOptions) (Audit, error) {
	return audit(ctx, b.r, b.path, b.form, o)
}

// auditor gathers what several goroutines find.
type auditor struct {
	mu       sync.Mutex
	problems map[string][]string // by kind, in the order of kinds
	kinds    []string
	remarks  []string
	done     int64
	all      int64
	checked  int64
	progress func(done, all int64)
}

func (a *auditor) problem(kind, format string, args ...any) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.problems[kind] = append(a.problems[kind], fmt.Sprintf(format, args...))
}

func (a *auditor) step(n int64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.done += n
	a.checked += n
	if a.progress != nil {
		a.progress(a.done, a.all)
	}
}

// sentences returns the problems by kind, each kind cut after the first few.
func (a *auditor) sentences() []string {
	var out []string
	for _, k := range a.kinds {
		p := a.problems[k]
		out = append(out, p[:min(len(p), mostProblems)]...)
		if len(p) > mostProblems {
			out = append(out, fmt.Sprintf("%s: %d more of this kind", k, len(p)-mostProblems))
		}
	}
	return out
}

func audit(ctx context.Context, db *sql.DB, path string, l layout, o AuditOptions) (Audit, error) {
	a := &auditor{problems: map[string][]string{}, progress: o.Progress,
		kinds: []string{"file", "bytes", "layout", "entries", "tree", "references", "projections", "checkpoint"}}
	if err := db.PingContext(ctx); err != nil {
		return Audit{}, explain(path, err)
	}
	for _, count := range []string{`SELECT COUNT(*) FROM entries`, `SELECT COUNT(*) FROM originals`} {
		var n int64
		if err := db.QueryRowContext(ctx, count).Scan(&n); err != nil {
			a.problem("file", "the file cannot be read: %s", plain(err))
		}
		a.all += n
	}

	// The bytes take the most time and nothing else needs them: they go beside the rest.
	var side sync.WaitGroup
	side.Go(func() {
		a.guard(ctx, "file", func() error { return integrity(ctx, db, a) })
		a.guard(ctx, "bytes", func() error { return auditOriginals(ctx, db, a) })
	})
	var tree entry.Tree
	var last entry.Time
	a.guard(ctx, "entries", func() error {
		return inTx(ctx, db, func(tx *sql.Tx) (err error) {
			last, err = auditEntries(ctx, tx, l, a, &tree)
			return err
		})
	})
	side.Wait()
	if err := ctx.Err(); err != nil {
		return Audit{}, err
	}
	root, err := tree.Root(tree.Size())
	if err != nil {
		return Audit{}, err
	}
	for _, c := range o.Since {
		if err := tree.Since(c); err != nil {
			a.problem("checkpoint", "%s", sinceSentence(c, err))
		}
	}
	return Audit{Checked: a.checked, Problems: a.sentences(), Remarks: a.remarks,
		Checkpoint: entry.Checkpoint{Size: tree.Size(), Root: root, Time: last}}, nil
}

// guard runs one part of the audit; that it could not go on is a finding too.
func (a *auditor) guard(ctx context.Context, kind string, part func() error) {
	if err := part(); err != nil && ctx.Err() == nil {
		a.problem(kind, "%s: the check could not go on: %s", kind, plain(err))
	}
}

// plain says an error in the words of [explain].
func plain(err error) string {
	var e *Error
	if errors.As(explain("", err), &e) {
		if e.Err != nil {
			return e.What + " (" + e.Err.Error() + ")"
		}
		return e.What
	}
	return err.Error()
}

func sinceSentence(c entry.Checkpoint, err error) string {
	s := fmt.Sprintf("checkpoint of %s: %v", c.Time, err)
	return s + ": an older copy may have been put in place, or the history written anew. Ask who had access, and compare with the newest backup."
}

// integrity lets SQLite test its own file.
func integrity(ctx context.Context, db *sql.DB, a *auditor) error {
	return each(ctx, db, `PRAGMA integrity_check`, nil, func(r *sql.Rows) error {
		var s string
		if err := r.Scan(&s); err != nil {
			return err
		}
		if s != "ok" {
			a.problem("file", "the file is damaged: %s", s)
		}
		return nil
	})
}

// auditEntries checks everything but the bytes, and leaves the tree of the lines in
// tree. It returns the entry time of the last one.
func auditEntries(ctx context.Context, tx *sql.Tx, l layout, a *auditor, tree *entry.Tree) (entry.Time, error) {
	q := prepare(tx)
	fresh, err := newShadow(ctx, l)
	if err != nil {
		return entry.Time{}, err
	}
	defer fresh.close()
	a.guard(ctx, "layout", func() error { return compareLayout(ctx, q, fresh.tx, a) })

	sums := map[string]bool{}
	err = each(ctx, q, `SELECT sha256, size, parts FROM originals`, nil, func(r *sql.Rows) error {
		var s strictText
		var size, parts strictInt
		err := r.Scan(&s, &size, &parts)
		sums[string(s)] = true
		return err
	})
	if err != nil {
		a.problem("bytes", "the list of kept files cannot be read: %s", plain(err))
	}
	c := checker{a: a, sums: sums, imported: map[string]bool{}, configurations: map[string]bool{}, shadow: fresh, entered: map[int64]time.Time{}}
	var n int64
	err = each(ctx, q, `SELECT n, line FROM entries ORDER BY n`, nil, func(r *sql.Rows) error {
		var row strictInt
		var text strictText
		if err := r.Scan(&row, &text); err != nil {
			return err
		}
		line := []byte(text)
		n++
		if err := tree.Add(line); err != nil {
			return err
		}
		return c.check(ctx, n, int64(row), line)
	})
	if err != nil {
		a.problem("entries", "entries cannot be read beyond number %d: %s", n, plain(err))
	}
	for _, s := range sorted(sums) {
		if !c.imported[s] {
			a.problem("references", "the kept file %s is named by no import", s)
		}
	}
	a.guard(ctx, "tree", func() error { return auditTree(ctx, q, a, tree, c.entered) })
	if c.broken {
		a.problem("projections", "the projections cannot be compared, as not all entries stand as they should")
	} else {
		a.guard(ctx, "projections", func() error { return compareProjections(ctx, q, fresh.tx, a) })
	}
	return c.last, ctx.Err()
}

func sorted(m map[string]bool) []string {
	s := make([]string, 0, len(m))
	for k := range m {
		s = append(s, k)
	}
	slices.Sort(s)
	return s
}
