package logbook

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
)

// shadow is an empty database in memory in which an audit makes the projections anew.
type shadow struct {
	db *sql.DB
	tx *sql.Tx
	q  *prepared
}

func newShadow(ctx context.Context, l layout) (*shadow, error) {
	db, err := sql.Open("sqlite", "file::memory:?_dqs=0")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	tx, err := db.BeginTx(ctx, nil)
	if err == nil {
		err = l.forward(ctx, tx, 0)
	}
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return &shadow{db: db, tx: tx, q: prepare(tx)}, nil
}

func (s *shadow) close() {
	s.tx.Rollback()
	s.db.Close()
}

// compareLayout compares tables, indexes and triggers with those of a new logbook:
// without its triggers a table is no longer only added to.
func compareLayout(ctx context.Context, q, fresh querier, a *auditor) error {
	read := func(q querier) (map[string]string, error) {
		m := map[string]string{}
		err := each(ctx, q, `SELECT type || ' ' || name, COALESCE(sql, '') FROM sqlite_master WHERE name NOT LIKE 'sqlite_stat%'`, nil, func(r *sql.Rows) error {
			var name, text string
			err := r.Scan(&name, &text)
			m[name] = text
			return err
		})
		return m, err
	}
	got, err := read(q)
	if err != nil {
		return err
	}
	want, err := read(fresh)
	if err != nil {
		return err
	}
	for _, name := range sorted(keys(got, want)) {
		g, inGot := got[name]
		w, inWant := want[name]
		switch {
		case !inGot:
			a.problem("layout", "the %s of the database is missing", name)
		case !inWant:
			a.problem("layout", "the %s in the database is none of holdproof's", name)
		case g != w:
			a.problem("layout", "the %s of the database is not as holdproof made it", name)
		}
	}
	v, err := readVersion(ctx, q)
	if err != nil {
		return err
	}
	if w, err := readVersion(ctx, fresh); err != nil || v != w {
		a.problem("layout", "the layout says version %d, it is %d", v, w)
	}
	return nil
}

func keys(maps ...map[string]string) map[string]bool {
	all := map[string]bool{}
	for _, m := range maps {
		for k := range m {
			all[k] = true
		}
	}
	return all
}

// compareProjections compares every row of every projection with the one made anew.
func compareProjections(ctx context.Context, q, fresh querier, a *auditor) error {
	for _, p := range projections {
		if err := compareTable(ctx, q, fresh, a, p.table, p.order); err != nil {
			return err
		}
	}
	return nil
}

func compareTable(ctx context.Context, q, fresh querier, a *auditor, table, order string) error {
	query := "SELECT * FROM " + table + " ORDER BY " + order
	got, err := openRows(ctx, q, query)
	if err != nil {
		return err
	}
	defer got.rows.Close()
	want, err := openRows(ctx, fresh, query)
	if err != nil {
		return err
	}
	defer want.rows.Close()
	if strings.Join(got.columns, ",") != strings.Join(want.columns, ",") {
		return fmt.Errorf("the columns of %s are not holdproof's", table)
	}
	for row := 1; ; row++ {
		g, err := got.next()
		if err != nil {
			return err
		}
		w, err := want.next()
		if err != nil {
			return err
		}
		if g == nil && w == nil {
			return nil
		}
		if g == nil || w == nil {
			a.problem("projections", "%s: there are more or fewer rows than the entries make, from row %d on", table, row)
			return nil
		}
		for i := range g {
			if g[i] != w[i] {
				a.problem("projections", "%s: row %s: %s is %s, the entries make it %s: the table was changed by hand", table, text(g[0]), got.columns[i], text(g[i]), text(w[i]))
			}
		}
	}
}

func text(v any) string {
	if v == nil {
		return "empty"
	}
	return fmt.Sprintf("%q", fmt.Sprint(v))
}

// table reads rows of any shape.
type table struct {
	rows    *sql.Rows
	columns []string
	values  []any
	into    []any
}

func openRows(ctx context.Context, q querier, query string) (*table, error) {
	rows, err := q.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	columns, err := rows.Columns()
	if err != nil {
		return nil, errors.Join(err, rows.Close())
	}
	t := &table{rows: rows, columns: columns, values: make([]any, len(columns)), into: make([]any, len(columns))}
	for i := range t.values {
		t.into[i] = &t.values[i]
	}
	return t, nil
}

// next returns the values of the next row, comparable with ==; nil after the last.
func (t *table) next() ([]any, error) {
	if !t.rows.Next() {
		return nil, t.rows.Err()
	}
	if err := t.rows.Scan(t.into...); err != nil {
		return nil, err
	}
	for i, v := range t.values {
		if b, ok := v.([]byte); ok {
			t.values[i] = "bytes " + string(b)
		}
	}
	return t.values, nil
}

// packed is the compressed form of a kept file on its way to a checker.
type packed struct {
	sha256 string
	size   int64
	parts  [][]byte
}

// auditOriginals checks the bytes of every kept file. Rows are read in the order
// they lie in the file; two checkers unpack and hash.
func auditOriginals(ctx context.Context, db *sql.DB, a *auditor) error {
	work := make(chan packed, 4)
	var checkers sync.WaitGroup
	for range 2 {
		checkers.Go(func() {
			gz := new(gzip.Reader)
			for p := range work {
				if why := p.check(gz); why != "" {
					a.problem("bytes", "the kept file %s is damaged: %s", p.sha256, why)
				}
				a.step(1)
			}
		})
	}
	err := inTx(ctx, db, func(tx *sql.Tx) error { return readOriginals(ctx, tx, a, work) })
	close(work)
	checkers.Wait()
	return err
}

func readOriginals(ctx context.Context, tx *sql.Tx, a *auditor, work chan<- packed) error {
	var now packed
	var want int64
	flush := func() {
		if now.sha256 == "" {
			return
		}
		if int64(len(now.parts)) != want {
			a.problem("bytes", "the kept file %s has %d of its %d parts", now.sha256, len(now.parts), want)
		}
		work <- now
	}
	var found int64
	err := each(ctx, tx, `SELECT p.sha256, p.part, p.gzip, o.size, o.parts FROM original_parts p LEFT JOIN originals o ON o.sha256 = p.sha256`, nil, func(r *sql.Rows) error {
		var text strictText
		var at strictInt
		var gz strictBytes
		var size, parts sql.NullInt64
		if err := r.Scan(&text, &at, &gz, &size, &parts); err != nil {
			return err
		}
		sum, part := string(text), int64(at)
		if sum != now.sha256 {
			flush()
			now, want = packed{sha256: sum, size: size.Int64}, parts.Int64
			found++
		}
		if part != int64(len(now.parts))+1 || !parts.Valid {
			a.problem("bytes", "the kept file %s: part %d stands where part %d belongs", sum, part, len(now.parts)+1)
		}
		now.parts = append(now.parts, gz)
		return nil
	})
	flush()
	if err != nil {
		return err
	}
	var all int64
	if err := tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM originals`).Scan(&all); err != nil {
		return err
	}
	if all != found {
		a.problem("bytes", "%d kept files are listed, the bytes of %d are there", all, found)
	}
	return nil
}

// check unpacks and hashes; it returns what is wrong, "" if nothing.
func (p packed) check(gz *gzip.Reader) string {
	in := make([]io.Reader, len(p.parts))
	for i, b := range p.parts {
		in[i] = bytes.NewReader(b)
	}
	if err := gz.Reset(io.MultiReader(in...)); err != nil {
		return err.Error()
	}
	if h := gz.Header; !h.ModTime.IsZero() || h.OS != 255 || h.Name+h.Comment != "" || len(h.Extra) > 0 {
		return "its gzip header is not as holdproof writes it"
	}
	sum := sha256.New()
	n, err := io.Copy(sum, gz)
	switch {
	case err != nil:
		return err.Error()
	case n != p.size:
		return fmt.Sprintf("%d bytes are kept, the list says %d", n, p.size)
	case hex.EncodeToString(sum.Sum(nil)) != p.sha256:
		return "its bytes have another SHA-256 than the one they are named by"
	}
	return ""
}
