package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// The store proper: what is kept, and nothing that follows from it. The SQL keeps
// to what SQLite and PostgreSQL both run; the triggers are SQLite's.
//
// lines of entries are JSON in UTF-8, times text in UTC, hashes lower-case hex but
// for those of the tree, which are 32 bytes.
const kept = `
CREATE TABLE layout (version BIGINT NOT NULL);
CREATE TABLE entries (
	n    BIGINT NOT NULL PRIMARY KEY,
	line TEXT   NOT NULL
);
CREATE TABLE originals (
	sha256 TEXT   NOT NULL PRIMARY KEY,
	size   BIGINT NOT NULL,
	parts  BIGINT NOT NULL
);
CREATE TABLE original_parts (
	sha256 TEXT   NOT NULL REFERENCES originals (sha256),
	part   BIGINT NOT NULL,
	gzip   BYTEA  NOT NULL,
	PRIMARY KEY (sha256, part)
);
CREATE TABLE trees (
	size BIGINT NOT NULL PRIMARY KEY,
	root TEXT   NOT NULL,
	at   TEXT   NOT NULL
);
CREATE TABLE hashes (
	i    BIGINT NOT NULL PRIMARY KEY,
	hash BYTEA  NOT NULL
);
`

// appendOnly are the tables whose rows are never changed or removed, each with the
// column that names a row.
var appendOnly = []struct{ table, key string }{
	{"entries", "NEW.n = n"},
	{"originals", "NEW.sha256 = sha256"},
	{"original_parts", "NEW.sha256 = sha256 AND NEW.part = part"},
	{"trees", "NEW.size = size"},
	{"hashes", "NEW.i = i"},
}

// triggers refuse a change from any program that opens the file, not only from
// this one. The third one is for REPLACE, which deletes without asking the second.
func triggers() string {
	var s string
	for _, t := range appendOnly {
		const refuse = " BEGIN SELECT RAISE(ABORT, '%[1]s are only added to'); END;\n"
		s += fmt.Sprintf("CREATE TRIGGER %[1]s_update BEFORE UPDATE ON %[1]s"+refuse, t.table)
		s += fmt.Sprintf("CREATE TRIGGER %[1]s_delete BEFORE DELETE ON %[1]s"+refuse, t.table)
		s += fmt.Sprintf("CREATE TRIGGER %[1]s_replace BEFORE INSERT ON %[1]s WHEN EXISTS (SELECT 1 FROM %[1]s WHERE %[2]s)"+refuse, t.table, t.key)
	}
	return s
}

// derived are the projections: what the entries say, laid out for questions. They
// may be dropped at any time and made again from the entries.
const derived = `
CREATE TABLE acts (
	n            BIGINT  NOT NULL PRIMARY KEY REFERENCES entries (n),
	type         TEXT    NOT NULL,
	subject      TEXT    NOT NULL,
	topic        TEXT    NOT NULL,
	day          TEXT    NOT NULL,
	cycle        TEXT    NOT NULL,
	steriliser   TEXT    NOT NULL,
	number       TEXT    NOT NULL,
	person       TEXT    NOT NULL,
	at           TEXT    NOT NULL,
	entered      TEXT    NOT NULL,
	corrected_by BIGINT,
	withdrawn    BOOLEAN NOT NULL
);
CREATE INDEX acts_topic ON acts (type, topic, steriliser, n);
CREATE INDEX acts_type_day ON acts (type, day, n);
CREATE INDEX acts_day ON acts (day, n);
CREATE INDEX acts_cycle ON acts (cycle, n);
CREATE INDEX acts_subject ON acts (type, subject, n);
CREATE INDEX acts_number ON acts (type, steriliser, number, n);
CREATE INDEX acts_person ON acts (person, n);
CREATE INDEX acts_person_cycle ON acts (person, cycle);
CREATE TABLE cycles (
	cycle         TEXT    NOT NULL PRIMARY KEY,
	continued_by  TEXT    NOT NULL,
	steriliser    TEXT    NOT NULL,
	configured    BOOLEAN NOT NULL,
	number        TEXT    NOT NULL,
	number_order  BIGINT,
	start         TEXT    NOT NULL,
	finish        TEXT    NOT NULL,
	offset_s      BIGINT  NOT NULL,
	day           TEXT    NOT NULL,
	kind          TEXT    NOT NULL,
	label         TEXT    NOT NULL,
	programme     TEXT    NOT NULL,
	outcome       TEXT    NOT NULL,
	instruction   TEXT    NOT NULL,
	readings      BIGINT  NOT NULL,
	digest        TEXT    NOT NULL,
	hold_s        DOUBLE PRECISION,
	steam_mean_k     DOUBLE PRECISION,
	equilibration_s  DOUBLE PRECISION,
	leak_kpa_per_min DOUBLE PRECISION,
	plateau_mean_c   DOUBLE PRECISION,
	heating_s        DOUBLE PRECISION,
	vacuum_s         DOUBLE PRECISION,
	gauge            BOOLEAN NOT NULL,
	limits        TEXT    NOT NULL,
	configuration TEXT    NOT NULL,
	verdict_n     BIGINT  NOT NULL REFERENCES entries (n),
	first_n       BIGINT  NOT NULL REFERENCES entries (n),
	release       TEXT    NOT NULL,
	release_n     BIGINT,
	decision      TEXT    NOT NULL,
	decision_n    BIGINT,
	recall        TEXT    NOT NULL,
	recall_n      BIGINT,
	settled       BOOLEAN NOT NULL
);
CREATE INDEX cycles_day ON cycles (day, steriliser, number_order);
CREATE INDEX cycles_number ON cycles (steriliser, number_order, start);
CREATE INDEX cycles_start ON cycles (steriliser, start);
CREATE INDEX cycles_begun ON cycles (start, cycle);
CREATE INDEX cycles_kind ON cycles (kind, start);
CREATE INDEX cycles_outcome ON cycles (outcome, start);
CREATE INDEX cycles_settled ON cycles (settled, start);
CREATE INDEX cycles_recall ON cycles (recall, start);
CREATE INDEX cycles_digest ON cycles (digest);
CREATE TABLE sources (
	cycle      TEXT   NOT NULL REFERENCES cycles (cycle),
	place      BIGINT NOT NULL,
	sha256     TEXT   NOT NULL REFERENCES originals (sha256),
	file       TEXT   NOT NULL,
	first_line BIGINT NOT NULL,
	last_line  BIGINT NOT NULL,
	PRIMARY KEY (cycle, place)
);
CREATE INDEX sources_sha256 ON sources (sha256, cycle);
CREATE TABLE days (
	day      TEXT   NOT NULL PRIMARY KEY,
	changed  BIGINT NOT NULL,
	revision BIGINT NOT NULL,
	covers   BIGINT NOT NULL,
	prepared BIGINT,
	reviewed BIGINT
);
`

// projections lists the derived tables with the columns that order their rows;
// each after those it refers to.
var projections = []struct{ table, order string }{
	{"acts", "n"}, {"cycles", "cycle"}, {"sources", "cycle, place"}, {"days", "day"},
}

// layout is the form of the database. migrations[v] leads from version v to v+1;
// after them the projections are made anew from the entries.
type layout struct {
	migrations []string
	derived    string
}

var current = layout{migrations: []string{
	kept + triggers(),
	"-- the projection of cycles holds the figures of charts", // nothing of what is kept changes
	"-- cycles are found by their start, their kind and who acted on them",
}, derived: derived}

func (l layout) version() int64 { return int64(len(l.migrations)) }

// read returns the version of the layout in a database.
func readVersion(ctx context.Context, q querier) (int64, error) {
	var v, rows int64
	err := q.QueryRowContext(ctx, `SELECT COALESCE(MAX(version), 0), COUNT(*) FROM layout`).Scan(&v, &rows)
	if err != nil {
		return 0, err
	}
	if rows != 1 || v < 1 {
		return 0, errors.New("the table layout does not say which version this is")
	}
	return v, nil
}

// forward brings a database of version from up to this program's, inside tx.
func (l layout) forward(ctx context.Context, tx *sql.Tx, from int64) error {
	for _, m := range l.migrations[from:] {
		if _, err := tx.ExecContext(ctx, m); err != nil {
			return err
		}
	}
	if from > 0 {
		for i := range projections {
			// An older version may lack a projection of today.
			if _, err := tx.ExecContext(ctx, "DROP TABLE IF EXISTS "+projections[len(projections)-1-i].table); err != nil {
				return err
			}
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM layout`); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, l.derived); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO layout (version) VALUES ($1)`, l.version()); err != nil {
		return err
	}
	if from == 0 {
		return nil
	}
	return rebuild(ctx, tx)
}
