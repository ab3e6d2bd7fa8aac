package logbook

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// View answers questions. That of a [Book] answers each by itself, that of a
// [Batch] or of [Book.Read] all as of one moment.
type View struct {
	q    querier
	path string
}

// notFound says what is not there, or explains another error.
func (v *View) notFound(err error, what string) error {
	if errors.Is(err, sql.ErrNoRows) {
		return &Error{What: what, Remedy: "Check the name.", Err: err}
	}
	return explain(v.path, err)
}

// Checkpoint returns size and root of the tree after the last transaction.
func (v *View) Checkpoint(ctx context.Context) (entry.Checkpoint, error) {
	var c entry.Checkpoint
	var root, at string
	err := v.q.QueryRowContext(ctx, `SELECT size, root, at FROM trees ORDER BY size DESC LIMIT 1`).Scan(&c.Size, &root, &at)
	if errors.Is(err, sql.ErrNoRows) {
		c.Root, err = tlog.TreeHash(0, nil)
		return c, err
	}
	if err != nil {
		return c, explain(v.path, err)
	}
	b, err := hex.DecodeString(root)
	if err != nil || len(b) != tlog.HashSize {
		return c, &Error{Path: v.path, What: fmt.Sprintf("the root over %d entries is not a SHA-256", c.Size), Remedy: tellAudit}
	}
	c.Root = tlog.Hash(b)
	if c.Time, err = entry.ParseTime(at); err != nil {
		return c, &Error{Path: v.path, What: err.Error(), Remedy: tellAudit}
	}
	return c, nil
}

func hexOf(h tlog.Hash) string { return hex.EncodeToString(h[:]) }

// ProveEntry returns the proof (RFC 6962, 2.1.1) that entry n is in the tree of the
// first size entries; [tlog.CheckRecord] checks it with n-1 as its index.
func (v *View) ProveEntry(ctx context.Context, n, size int64) (tlog.RecordProof, error) {
	p, err := tlog.ProveRecord(size, n-1, v.hashes(ctx))
	return p, explain(v.path, err)
}

// ProveGrowth returns the proof (RFC 6962, 2.1.2) that the tree of the first size
// entries only adds to that of the first older; [tlog.CheckTree] checks it.
func (v *View) ProveGrowth(ctx context.Context, older, size int64) (tlog.TreeProof, error) {
	p, err := tlog.ProveTree(size, older, v.hashes(ctx))
	return p, explain(v.path, err)
}

// Lines hands out the lines of all entries from number first to the end, in order
// and without a line break, until fn returns an error.
func (v *View) Lines(ctx context.Context, first int64, fn func(line []byte) error) error {
	const batch = 200 // lines of verdicts are 5 kB each
	for {
		lines, next, err := someLines(ctx, v.q, first, batch)
		if err != nil {
			return explain(v.path, err)
		}
		for _, l := range lines {
			if err := fn(l); err != nil {
				return err
			}
		}
		if len(lines) < batch {
			return nil
		}
		first = next
	}
}

// Filter narrows what [Find] returns. An empty field narrows nothing.
type Filter struct {
	Entry      int64  // number of the entry
	Subject    string // see [entry.Facts]
	Topic      string
	Cycle      string
	Steriliser string
	Number     string
	Person     string // who made the entry
	From, To   string // days, ends included; entries that belong to no day are left out
	Superseded bool   // also what was corrected or withdrawn since
	Newest     bool   // newest first
	Limit      int    // 0: no limit
}

// Row is an entry that was found.
type Row[B entry.Body] struct {
	entry.Entry
	Said        B          // what counts: the body, or for a correction the one it puts in place
	Of          entry.Type // type of Said: a correction has the type it corrects
	Cycle       string     // key of the cycle it belongs to by now, "" if none
	CorrectedBy int64      // 0: stands
	Withdrawn   bool       // it withdraws what it corrects; Said is empty
}

// Find returns the entries whose bodies are a B, oldest first; with [entry.Body]
// for B, those of all types. Corrections count as what they correct.
func Find[B entry.Body](ctx context.Context, v *View, f Filter) ([]Row[B], error) {
	var rows []Row[B]
	var w where
	if reflect.TypeFor[B]().Kind() != reflect.Interface {
		w.is("a.type", string(entry.TypeOf[B]()))
	}
	query := f.sql(&w)
	err := each(ctx, v.q, query, w.args, func(r *sql.Rows) error {
		var row Row[B]
		var line []byte
		var by sql.NullInt64
		if err := r.Scan(&row.Of, &row.Cycle, &by, &row.Withdrawn, &line); err != nil {
			return err
		}
		e, err := entry.Parse(line)
		if err != nil {
			return &Error{Path: v.path, What: err.Error(), Remedy: tellAudit, Err: err}
		}
		row.Entry, row.CorrectedBy = e, by.Int64
		row.Said, _ = entry.As[B](e)
		rows = append(rows, row)
		return nil
	})
	return rows, explain(v.path, err)
}

func (f Filter) sql(w *where) string {
	w.is("a.subject", f.Subject)
	// A cycle has few entries. Else, where a first day is named, the index of days finds
	// fewest, and without one that of topics. The other ones are kept out.
	topic, day := "a.topic", "a.day"
	switch {
	case f.Cycle != "", f.Topic != "" && f.From != "":
		topic = "a.topic || ''"
	case f.Topic != "":
		day = "a.day || ''"
	}
	w.is(topic, f.Topic)
	w.is("a.cycle", f.Cycle)
	w.is("a.steriliser", f.Steriliser)
	w.is("a.number", f.Number)
	w.is("a.person", f.Person)
	if f.Entry != 0 {
		w.add("a.n = ", f.Entry)
	}
	if f.From != "" || f.To != "" {
		w.add(day+" >= ", max(f.From, "0"))
	}
	if f.To != "" {
		w.add(day+" <= ", f.To)
	}
	if !f.Superseded {
		w.terms = append(w.terms, "a.corrected_by IS NULL AND NOT a.withdrawn")
	}
	order := " ORDER BY a.n"
	if f.Newest {
		order += " DESC"
	}
	return `SELECT a.type, a.cycle, a.corrected_by, a.withdrawn, e.line FROM acts a JOIN entries e ON e.n = a.n` + w.clause() + order + w.limit(f.Limit)
}

// where collects the terms of a WHERE clause and their arguments in order.
type where struct {
	terms []string
	args  []any
}

func (w *where) add(term string, arg any) {
	w.args = append(w.args, arg)
	w.terms = append(w.terms, fmt.Sprintf("%s$%d", term, len(w.args)))
}

// is adds a term unless the text is empty.
func (w *where) is(column, text string) {
	if text != "" {
		w.add(column+" = ", text)
	}
}

func (w *where) clause() string {
	if len(w.terms) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(w.terms, " AND ")
}

func (w *where) limit(n int) string {
	if n <= 0 {
		return ""
	}
	w.args = append(w.args, n)
	return fmt.Sprintf(" LIMIT $%d", len(w.args))
}
