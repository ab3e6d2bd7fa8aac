package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// Batch is one transaction that writes: all of it is kept, or nothing. It also
// answers questions, as of now and with what it wrote itself; nobody else writes
// before it ends.
type Batch struct {
	*View

	ctx     context.Context
	entered time.Time
	size    int64
	named   map[string]bool // kept originals: does an import name them?
	err     error           // the first refusal; nothing is kept after one
}

// Write runs fn and keeps what it added. It returns the checkpoint after it only
// when everything is on the disk; on any error, fn's own too, nothing is kept.
//
// fn may not keep the Batch, and may not use the Book: it would wait for itself.
func (b *Book) Write(ctx context.Context, fn func(*Batch) error) (entry.Checkpoint, error) {
	var tip entry.Checkpoint
	var p *prepared
	err := inTx(ctx, b.w, func(tx *sql.Tx) error {
		p = prepare(tx)
		p.known = b.seen
		v := &View{q: p, path: b.path}
		before, err := v.sound(ctx)
		if err != nil {
			return err
		}
		w := &Batch{View: v, ctx: ctx, entered: entry.At(b.now()).Time, size: before.Size, named: map[string]bool{}}
		err = fn(w)
		refused := w.err
		w.err = errors.New("the batch has ended")
		switch {
		case refused != nil:
			return refused
		case err != nil:
			return err
		}
		for sum, named := range w.named {
			if !named {
				return fmt.Errorf("the file %s was kept without an import that names it", sum)
			}
		}
		if w.size == before.Size {
			tip = before
			return nil
		}
		tip, err = w.grown(ctx)
		return err
	})
	if err != nil {
		return entry.Checkpoint{}, explain(b.path, err)
	}
	b.seen.learn(ctx, b.w, p)
	return tip, nil
}

// sound returns the checkpoint, after making sure that entries, hashes and root
// agree where new ones would be put on top.
func (v *View) sound(ctx context.Context) (entry.Checkpoint, error) {
	c, err := v.Checkpoint(ctx)
	if err != nil {
		return c, err
	}
	var last int64
	if err := v.q.QueryRowContext(ctx, `SELECT COALESCE(MAX(n), 0) FROM entries`).Scan(&last); err != nil {
		return c, err
	}
	root, err := tlog.TreeHash(c.Size, v.hashes(ctx))
	if err != nil || root != c.Root || last != c.Size {
		return c, &Error{Path: v.path, What: "entries and tree do not fit each other; nothing was added", Remedy: tellAudit, Err: err}
	}
	return c, nil
}

// grown records size and root after what was added.
func (w *Batch) grown(ctx context.Context) (entry.Checkpoint, error) {
	root, err := tlog.TreeHash(w.size, w.hashes(ctx))
	if err != nil {
		return entry.Checkpoint{}, err
	}
	c := entry.Checkpoint{Size: w.size, Root: root, Time: entry.At(w.entered)}
	_, err = w.q.ExecContext(ctx, `INSERT INTO trees (size, root, at) VALUES ($1, $2, $3)`, c.Size, hexOf(root), c.Time.String())
	return c, err
}

// Keep stores the bytes of a finished Original; bytes that are kept already stay
// one. An import in the same batch must name them.
func (w *Batch) Keep(o *Original) error {
	if w.err != nil {
		return w.err
	}
	if w.err = o.keep(w.ctx, w.q); w.err != nil {
		return w.err
	}
	if _, known := w.named[o.sum]; !known {
		w.named[o.sum] = false
	}
	return nil
}

// Add appends an entry and returns its number. Its entry time is the clock's when
// the batch began. After an error nothing of the batch is kept, whatever fn returns.
//
// Errors: what [entry.Draft.Line] refuses; an entry that speaks of a file, a
// configuration, a cycle or an entry that is not here; [ErrStale].
func (w *Batch) Add(d entry.Draft) (int64, error) {
	if w.err != nil {
		return 0, w.err
	}
	n, err := w.add(d)
	if err != nil {
		w.err = err
		return 0, err
	}
	return n, nil
}

// AddAll appends entries one after the other as Add does. Their lines are written and
// read back by another goroutine meanwhile, which is half of the work.
func (w *Batch) AddAll(drafts []entry.Draft) error {
	if w.err != nil {
		return w.err
	}
	lines := make(chan written, 16)
	stop := make(chan struct{})
	defer close(stop)
	go func(n int64) {
		for _, d := range drafts {
			n++
			select {
			case lines <- w.write(n, d):
			case <-stop:
				return
			}
		}
	}(w.size)
	for range drafts {
		if _, w.err = w.put(<-lines); w.err != nil {
			return w.err
		}
	}
	return nil
}

// written is an entry as its line says it.
type written struct {
	entry entry.Entry
	err   error
}

func (w *Batch) write(n int64, d entry.Draft) written {
	line, err := d.Line(n, w.entered)
	if err != nil {
		return written{err: err}
	}
	e, err := entry.Parse(line) // the projections see what the bytes say, now as at a rebuild
	return written{e, err}
}

func (w *Batch) add(d entry.Draft) (int64, error) { return w.put(w.write(w.size+1, d)) }

// put appends an entry that was written.
func (w *Batch) put(d written) (int64, error) {
	if d.err != nil {
		return 0, d.err
	}
	e, n, line := d.entry, d.entry.Number, d.entry.Line
	if err := w.refer(e); err != nil {
		return 0, err
	}
	if _, err := w.q.ExecContext(w.ctx, `INSERT INTO entries (n, line) VALUES ($1, $2)`, n, string(line)); err != nil {
		return 0, err
	}
	hashes, err := tlog.StoredHashes(n-1, line, w.hashes(w.ctx))
	if err != nil {
		return 0, err
	}
	for i, h := range hashes {
		if _, err := w.q.ExecContext(w.ctx, `INSERT INTO hashes (i, hash) VALUES ($1, $2)`, tlog.StoredHashIndex(0, n-1)+int64(i), h[:]); err != nil {
			return 0, err
		}
	}
	w.size = n
	return n, project(w.ctx, w.q, e)
}

// hashes reads the stored hashes of the tree.
func (v *View) hashes(ctx context.Context) tlog.HashReaderFunc {
	return func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, at := range indexes {
			var h []byte
			if err := v.q.QueryRowContext(ctx, `SELECT hash FROM hashes WHERE i = $1`, at).Scan(&h); err != nil {
				return nil, fmt.Errorf("hash %d of the tree: %w", at, err)
			}
			if len(h) != tlog.HashSize {
				return nil, fmt.Errorf("hash %d of the tree has %d bytes", at, len(h))
			}
			out[i] = tlog.Hash(h)
		}
		return out, nil
	}
}
