package logbook

import (
	"context"
	"database/sql"
	"slices"
	"strconv"

	"holdproof/report/logbook/entry"
)

// project adds to the projections what the entry says. It reads the entry and the
// projections and nothing else, so that the same entries in their order always
// give the same rows.
func project(ctx context.Context, q querier, e entry.Entry) error {
	a, err := actOf(ctx, q, e)
	if err != nil {
		return err
	}
	if _, err := q.ExecContext(ctx, `INSERT INTO acts (n, type, subject, topic, day, cycle, steriliser, number, person, at, entered, corrected_by, withdrawn)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, NULL, $12)`,
		e.Number, string(a.kind), e.Subject, a.Topic, a.Day, a.Cycle, a.Steriliser, a.Number,
		e.By, entry.At(e.At).String(), entry.At(e.Entered).String(), a.withdrawn); err != nil {
		return err
	}
	switch b := e.Body.(type) {
	case entry.Import:
		if err := putImport(ctx, q, b); err != nil {
			return err
		}
	case entry.Verdict:
		if err := putVerdict(ctx, q, e.Number, b); err != nil {
			return err
		}
	case entry.Correction:
		if _, err := q.ExecContext(ctx, `UPDATE acts SET corrected_by = $1 WHERE n = $2`, e.Number, e.Corrects); err != nil {
			return err
		}
	case entry.Signature:
		return putSignature(ctx, q, e.Number, b)
	}
	if err := touchCycles(ctx, q, a); err != nil {
		return err
	}
	return touchDays(ctx, q, e.Number, a)
}

// act is what an entry can be found by, once a correction was followed to what it
// corrects.
type act struct {
	entry.Facts
	kind      entry.Type
	withdrawn bool
	was       entry.Facts // of the corrected entry: its cycle and day change too
	continues string
}

func actOf(ctx context.Context, q querier, e entry.Entry) (act, error) {
	a := act{Facts: entry.FactsOf(e.Body), kind: e.Type}
	if v, is := e.Body.(entry.Verdict); is {
		a.continues = v.Continues
	}
	c, is := e.Body.(entry.Correction)
	if !is {
		return a, nil
	}
	a.kind, a.withdrawn = c.Of, c.Body == nil
	err := q.QueryRowContext(ctx, `SELECT topic, day, cycle, steriliser, number FROM acts WHERE n = $1`, e.Corrects).
		Scan(&a.was.Topic, &a.was.Day, &a.was.Cycle, &a.was.Steriliser, &a.was.Number)
	if err != nil {
		return a, err
	}
	if a.withdrawn {
		settled := a.Settled
		a.Facts = a.was
		a.Settled = settled
	}
	if a.Cycle == "" {
		a.Cycle = a.was.Cycle
	}
	return a, nil
}

const verdictSQL = `INSERT INTO cycles (cycle, continued_by, steriliser, configured, number, number_order, start, finish, offset_s,
	day, kind, label, programme, outcome, instruction, readings, digest, hold_s, limits, configuration, verdict_n, first_n,
	steam_mean_k, equilibration_s, leak_kpa_per_min, plateau_mean_c, heating_s, vacuum_s, gauge,
	release, release_n, decision, decision_n, recall, recall_n, settled)
	VALUES ($1, '', $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $20,
	$21, $22, $23, $24, $25, $26, $27, '', NULL, '', NULL, '', NULL, FALSE)
	ON CONFLICT (cycle) DO UPDATE SET continued_by = '', steriliser = excluded.steriliser, configured = excluded.configured,
	number = excluded.number, number_order = excluded.number_order, start = excluded.start, finish = excluded.finish,
	offset_s = excluded.offset_s, day = excluded.day, kind = excluded.kind, label = excluded.label, programme = excluded.programme,
	outcome = excluded.outcome, instruction = excluded.instruction, readings = excluded.readings, digest = excluded.digest,
	hold_s = excluded.hold_s, limits = excluded.limits, configuration = excluded.configuration, verdict_n = excluded.verdict_n,
	steam_mean_k = excluded.steam_mean_k, equilibration_s = excluded.equilibration_s, leak_kpa_per_min = excluded.leak_kpa_per_min,
	plateau_mean_c = excluded.plateau_mean_c, heating_s = excluded.heating_s, vacuum_s = excluded.vacuum_s, gauge = excluded.gauge`

func putVerdict(ctx context.Context, q querier, n int64, v entry.Verdict) error {
	f := chartedOf(v.Measured)
	if _, err := q.ExecContext(ctx, verdictSQL, v.Cycle, v.Steriliser, v.Configured, v.Number, numberOrder(v.Number),
		v.Start.String(), v.End.String(), v.OffsetS, v.Day, v.Kind, v.Label, v.Programme, v.Outcome, v.Instruction,
		v.Readings, v.Digest, v.HoldS, v.Limits, v.Configuration, n,
		f.SteamMean, f.Equilibration, f.Leak, f.PlateauMean, f.Heating, f.Vacuum, f.Gauge); err != nil {
		return err
	}
	if err := putSources(ctx, q, v); err != nil {
		return err
	}
	if v.Release != 0 {
		if _, err := q.ExecContext(ctx, `UPDATE acts SET cycle = $1 WHERE n = $2`, v.Cycle, int64(v.Release)); err != nil {
			return err
		}
	}
	if v.Continues == "" {
		return nil
	}
	if _, err := q.ExecContext(ctx, `UPDATE acts SET cycle = $1 WHERE cycle = $2`, v.Cycle, v.Continues); err != nil {
		return err
	}
	_, err := q.ExecContext(ctx, `UPDATE cycles SET continued_by = $1, settled = TRUE, release = '', release_n = NULL,
		decision = '', decision_n = NULL, recall = '', recall_n = NULL WHERE cycle = $2`, v.Cycle, v.Continues)
	return err
}

// putSources puts the sources of a verdict in place of earlier ones; those that only
// an import named stay behind them.
func putSources(ctx context.Context, q querier, v entry.Verdict) error {
	sources := slices.Clone(v.Sources)
	err := each(ctx, q, `SELECT sha256, file FROM sources WHERE cycle IN ($1, $2) AND first_line = 0 ORDER BY cycle, place`, []any{v.Cycle, v.Continues}, func(r *sql.Rows) error {
		var s entry.Source
		err := r.Scan(&s.SHA256, &s.File)
		if !slices.ContainsFunc(sources, func(o entry.Source) bool { return o.SHA256 == s.SHA256 }) {
			sources = append(sources, s)
		}
		return err
	})
	if err != nil {
		return err
	}
	if _, err := q.ExecContext(ctx, `DELETE FROM sources WHERE cycle = $1`, v.Cycle); err != nil {
		return err
	}
	for i, s := range sources {
		if _, err := q.ExecContext(ctx, `INSERT INTO sources (cycle, place, sha256, file, first_line, last_line) VALUES ($1, $2, $3, $4, $5, $6)`,
			v.Cycle, i+1, s.SHA256, s.File, s.FirstLine, s.LastLine); err != nil {
			return err
		}
	}
	return nil
}

// putImport adds the file to the sources of the cycles that were here before it. Their
// lines in it are told by a verdict, if it tells anything new; until then they are 0.
func putImport(ctx context.Context, q querier, b entry.Import) error {
	for _, cycle := range b.Cycles {
		if _, err := q.ExecContext(ctx, `INSERT INTO sources (cycle, place, sha256, file, first_line, last_line)
			SELECT c.cycle, (SELECT COUNT(*) FROM sources s WHERE s.cycle = c.cycle) + 1, $1, $2, 0, 0 FROM cycles c
			WHERE c.cycle = $3 AND NOT EXISTS (SELECT 1 FROM sources s WHERE s.cycle = c.cycle AND s.sha256 = $1)`,
			b.SHA256, b.File, cycle); err != nil {
			return err
		}
	}
	return nil
}

// newest is the newest act of a type on a cycle that still counts.
func newest(column, kind string) string {
	return `(SELECT ` + column + ` FROM acts WHERE acts.cycle = cycles.cycle AND type = '` + kind +
		`' AND corrected_by IS NULL AND NOT withdrawn ORDER BY n DESC LIMIT 1)`
}

var touchSQL = `UPDATE cycles SET release = COALESCE(` + newest("topic", "release") + `, ''), release_n = ` + newest("n", "release") +
	`, decision = COALESCE(` + newest("topic", "decision") + `, ''), decision_n = ` + newest("n", "decision") +
	`, recall = COALESCE(` + newest("topic", "recall") + `, ''), recall_n = ` + newest("n", "recall") +
	`, settled = $1 WHERE cycle = $2`

// touchCycles brings what people did with a cycle up to date.
func touchCycles(ctx context.Context, q querier, a act) error {
	for i, c := range []string{a.Cycle, a.was.Cycle} {
		if c == "" || i == 1 && c == a.Cycle {
			continue
		}
		// A cycle that a correction took an act away from waits again.
		if _, err := q.ExecContext(ctx, touchSQL, i == 0 && a.Settled, c); err != nil {
			return err
		}
	}
	return nil
}

// touchDays marks the days whose record the entry changes.
func touchDays(ctx context.Context, q querier, n int64, a act) error {
	days := []string{a.Day, a.was.Day}
	if a.continues != "" {
		var day string
		if err := q.QueryRowContext(ctx, `SELECT day FROM cycles WHERE cycle = $1`, a.continues).Scan(&day); err != nil {
			return err
		}
		days = append(days, day)
	}
	for _, day := range days {
		if day == "" {
			continue
		}
		if _, err := q.ExecContext(ctx, `INSERT INTO days (day, changed, revision, covers, prepared, reviewed) VALUES ($1, $2, 0, 0, NULL, NULL)
			ON CONFLICT (day) DO UPDATE SET changed = excluded.changed`, day, n); err != nil {
			return err
		}
	}
	return nil
}

func putSignature(ctx context.Context, q querier, n int64, s entry.Signature) error {
	if s.Meaning == "reviewed" {
		_, err := q.ExecContext(ctx, `UPDATE days SET reviewed = $1 WHERE day = $2`, n, s.Day)
		return err
	}
	_, err := q.ExecContext(ctx, `INSERT INTO days (day, changed, revision, covers, prepared, reviewed) VALUES ($1, 0, $2, $3, $4, NULL)
		ON CONFLICT (day) DO UPDATE SET revision = excluded.revision, covers = excluded.covers, prepared = excluded.prepared, reviewed = NULL`,
		s.Day, s.Revision, s.Covers, n)
	return err
}

// numberOrder is the figure by which cycle numbers are put in order: the last run
// of digits, such as 42 of "A-0042/"; nil when there is none or more than 18 digits.
func numberOrder(number string) any {
	end := len(number)
	for end > 0 && !digit(number[end-1]) {
		end--
	}
	start := end
	for start > 0 && digit(number[start-1]) {
		start--
	}
	if start == end || end-start > 18 {
		return nil
	}
	n, err := strconv.ParseInt(number[start:end], 10, 64)
	if err != nil {
		return nil
	}
	return n
}

func digit(c byte) bool { return '0' <= c && c <= '9' }

// rebuild makes the projections from the entries; the tables must be empty.
func rebuild(ctx context.Context, tx *sql.Tx) error {
	p := prepare(tx)
	const batch = 500 // entries are read ahead in batches: one statement runs at a time
	for from := int64(1); ; {
		lines, next, err := someLines(ctx, p, from, batch)
		if err != nil || len(lines) == 0 {
			return err
		}
		from = next
		for _, line := range lines {
			e, err := entry.Parse(line)
			if err != nil {
				return err
			}
			if err := project(ctx, p, e); err != nil {
				return err
			}
		}
	}
}

// someLines reads the lines of at most limit entries from number first on, and
// returns the number to go on with.
func someLines(ctx context.Context, q querier, first, limit int64) (lines [][]byte, next int64, err error) {
	next = first
	err = each(ctx, q, `SELECT n, line FROM entries WHERE n >= $1 ORDER BY n LIMIT $2`, []any{first, limit}, func(r *sql.Rows) error {
		var line []byte
		if err := r.Scan(&next, &line); err != nil {
			return err
		}
		next++
		lines = append(lines, line)
		return nil
	})
	return lines, next, err
}
