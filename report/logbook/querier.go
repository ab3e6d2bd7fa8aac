package logbook

import (
	"context"
	"database/sql"
	"sync"
)

// querier is what a pool, a transaction and a transaction with kept statements
// have in common.
type querier interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// prepared keeps the statements of one transaction: an entry needs the same few
// again and again, and to parse them costs more than to run them.
type prepared struct {
	tx    *sql.Tx
	stmts map[string]*sql.Stmt
	known *statements // of earlier transactions; may be nil
}

func prepare(tx *sql.Tx) *prepared { return &prepared{tx: tx, stmts: map[string]*sql.Stmt{}} }

func (p *prepared) stmt(ctx context.Context, query string) (*sql.Stmt, error) {
	if s, ok := p.stmts[query]; ok {
		return s, nil
	}
	s := p.known.within(ctx, p.tx, query)
	if s == nil {
		var err error
		if s, err = p.tx.PrepareContext(ctx, query); err != nil {
			return nil, err
		}
	}
	p.stmts[query] = s
	return s, nil
}

// statements are kept from one transaction to the next on a pool of one connection.
type statements struct {
	mu sync.Mutex
	m  map[string]*sql.Stmt
}

// within returns the statement inside tx, nil if no earlier transaction ran it.
func (s *statements) within(ctx context.Context, tx *sql.Tx, query string) *sql.Stmt {
	if s == nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if kept := s.m[query]; kept != nil {
		return tx.StmtContext(ctx, kept)
	}
	return nil
}

// learn keeps the statements of a transaction that has ended. What cannot be kept
// is parsed again the next time, so that errors do not matter here.
func (s *statements) learn(ctx context.Context, db *sql.DB, p *prepared) {
	for query := range p.stmts {
		s.mu.Lock()
		known := s.m[query] != nil
		s.mu.Unlock()
		if known {
			continue
		}
		kept, err := db.PrepareContext(ctx, query) // may wait for another transaction: not under the lock
		if err != nil {
			return
		}
		s.mu.Lock()
		s.m[query] = kept
		s.mu.Unlock()
	}
}

func (p *prepared) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	s, err := p.stmt(ctx, query)
	if err != nil {
		return nil, err
	}
	return s.ExecContext(ctx, args...)
}

func (p *prepared) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	s, err := p.stmt(ctx, query)
	if err != nil {
		return nil, err
	}
	return s.QueryContext(ctx, args...)
}

func (p *prepared) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	s, err := p.stmt(ctx, query)
	if err != nil {
		return p.tx.QueryRowContext(ctx, query, args...) // hands out the same error
	}
	return s.QueryRowContext(ctx, args...)
}

// each runs scan on every row of a query.
func each(ctx context.Context, q querier, query string, args []any, scan func(*sql.Rows) error) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
