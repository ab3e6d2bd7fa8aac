package logbook

import (
	"context"
	"database/sql"
	"fmt"

	"holdproof/report/logbook/entry"
)

// Cycle is a cycle as it stands: its newest verdict and what people did with it.
// [Find] with its key returns the whole history.
type Cycle struct {
	Key           string
	ContinuedBy   string // key it has by now, "" for all but a cycle that was named anew
	Steriliser    string
	Configured    bool
	Number        string
	Start, End    entry.Time
	OffsetS       int64 // local time less UTC, s
	Day           string
	Kind          string
	Label         string
	Programme     string
	Outcome       string
	Instruction   string
	Readings      int64
	Digest        string
	HoldS         *float64
	Limits        string
	Configuration string
	VerdictEntry  int64  // the newest verdict
	FirstEntry    int64  // the first verdict: when the cycle came in
	Release       string // released, rejected; "": nothing entered at the machine
	ReleaseEntry  int64
	Decision      string // "": none
	DecisionEntry int64
	Recall        string // opened, followed, closed; "": none
	RecallEntry   int64
	Settled       bool // nothing more waits for a person, by the newest entry on the cycle

	// Verdict is what the newest verdict says, with figures and findings; filled
	// when [CycleFilter.Verdicts] asks for it.
	Verdict *entry.Verdict
}

// CycleFilter narrows what [View.Cycles] returns. An empty field narrows nothing.
type CycleFilter struct {
	Key        string
	Steriliser string
	Number     string
	From, To   string // days, ends included
	Start      entry.Time
	Kind       string
	Outcome    string
	Digest     string // of the readings
	File       string // SHA-256 of a file it was read from
	Person     string // who made any entry on it
	Waiting    bool   // only those that wait for a person
	Recalled   bool   // only those with a recall that is not closed
	Renamed    bool   // also those that have become another one
	Newest     bool   // newest first, by start
	Verdicts   bool   // fill Cycle.Verdict
	Limit      int    // 0: no limit

	often bool // the person made very many entries
}

const cycleColumns = `c.cycle, c.continued_by, c.steriliser, c.configured, c.number, c.start, c.finish, c.offset_s, c.day, c.kind, c.label,
	c.programme, c.outcome, c.instruction, c.readings, c.digest, c.hold_s, c.limits, c.configuration, c.verdict_n, c.first_n,
	c.release, c.release_n, c.decision, c.decision_n, c.recall, c.recall_n, c.settled`

// Cycles returns cycles by day, steriliser and number; those without a number come
// last, in the order of their start.
func (v *View) Cycles(ctx context.Context, f CycleFilter) ([]Cycle, error) {
	var cycles []Cycle
	if f.Person != "" && f.Newest && f.Limit > 0 {
		var err error
		if f.often, err = v.actsOften(ctx, f.Person); err != nil {
			return nil, explain(v.path, err)
		}
	}
	var w where
	query := f.sql(&w)
	err := each(ctx, v.q, query, w.args, func(r *sql.Rows) error {
		c, err := scanCycle(r, f.Verdicts)
		cycles = append(cycles, c)
		return err
	})
	return cycles, explain(v.path, err)
}

func (f CycleFilter) sql(w *where) string {
	w.is("c.cycle", f.Key)
	by := f.walk()
	machine := by.column("steriliser", byMachine)
	if by == byChoice && f.From != "" && f.Number == "" {
		machine = "c.steriliser || ''" // keeps the index of machines out: that of days finds fewer
	}
	w.is(machine, f.Steriliser)
	w.is("c.number", f.Number)
	if order := numberOrder(f.Number); order != nil {
		w.add("c.number_order = ", order) // the index on numbers is by their figure
	}
	w.is("c.start", f.Start.String())
	w.is(by.column("kind", byKind), f.Kind)
	w.is(by.column("outcome", byOutcome), f.Outcome)
	by.around(f, w)
	w.is("c.digest", f.Digest)
	f.period(by, w)
	if f.File != "" {
		w.add("c.cycle IN (SELECT cycle FROM sources WHERE sha256 = ", f.File)
		w.terms[len(w.terms)-1] += ")"
	}
	switch {
	case f.often:
		w.add("EXISTS (SELECT 1 FROM acts p WHERE p.cycle = c.cycle AND p.person = ", f.Person)
		w.terms[len(w.terms)-1] += ")"
	case f.Person != "":
		w.add("c.cycle IN (SELECT cycle FROM acts WHERE person = ", f.Person)
		w.terms[len(w.terms)-1] += ")"
	}
	if f.Waiting {
		// Few wait as a rule; where something else narrows too, its index is the better one.
		term := "c.settled = FALSE"
		if f.Outcome != "" || f.From != "" {
			term = "NOT c.settled"
		}
		w.terms = append(w.terms, term)
	}
	if f.Recalled {
		w.terms = append(w.terms, "c.recall IN ('opened', 'followed')")
	}
	if !f.Renamed {
		w.terms = append(w.terms, "c.continued_by = ''")
	}
	return f.choose() + w.clause() + f.order() + w.limit(f.Limit)
}

// period adds the days that are asked for.
func (f CycleFilter) period(by walk, w *where) {
	if f.From != "" && f.From == f.To { // one day is found by the index of days, whatever else is asked
		w.is("c.day", f.From)
		return
	}
	if f.From != "" {
		w.add(by.column("day", byChoice)+" >= ", f.From)
	}
	if f.To != "" {
		w.add(by.column("day", byChoice)+" <= ", f.To)
	}
}

func (f CycleFilter) choose() string {
	columns, from := cycleColumns, " FROM cycles c"
	if f.Verdicts {
		columns, from = columns+", e.line", from+" JOIN entries e ON e.n = c.verdict_n"
	}
	return "SELECT " + columns + from
}

func (f CycleFilter) order() string {
	if f.Newest {
		return " ORDER BY c.start DESC, c.cycle DESC"
	}
	return " ORDER BY c.day, c.steriliser, c.number_order NULLS LAST, c.start, c.cycle"
}

func scanCycle(r *sql.Rows, verdict bool) (Cycle, error) {
	var c Cycle
	var start, end string
	var release, decision, recall sql.NullInt64
	var line []byte
	into := []any{&c.Key, &c.ContinuedBy, &c.Steriliser, &c.Configured, &c.Number, &start, &end, &c.OffsetS, &c.Day, &c.Kind, &c.Label,
		&c.Programme, &c.Outcome, &c.Instruction, &c.Readings, &c.Digest, &c.HoldS, &c.Limits, &c.Configuration, &c.VerdictEntry, &c.FirstEntry,
		&c.Release, &release, &c.Decision, &decision, &c.Recall, &recall, &c.Settled}
	if verdict {
		into = append(into, &line)
	}
	if err := r.Scan(into...); err != nil {
		return c, err
	}
	c.ReleaseEntry, c.DecisionEntry, c.RecallEntry = release.Int64, decision.Int64, recall.Int64
	var err error
	if c.Start, err = entry.ParseTime(start); err != nil {
		return c, err
	}
	if c.End, err = entry.ParseTime(end); err != nil {
		return c, err
	}
	if verdict {
		e, err := entry.Parse(line)
		if err != nil {
			return c, err
		}
		said, ok := e.Body.(entry.Verdict)
		if !ok {
			return c, fmt.Errorf("entry %d is a %s, not the verdict on %s", e.Number, e.Type, c.Key)
		}
		c.Verdict = &said
	}
	return c, nil
}

// Cycle returns the cycle with that key, its verdict included. A cycle that has
// become another one is returned as it was, with ContinuedBy.
func (v *View) Cycle(ctx context.Context, key string) (Cycle, error) { return v.one(ctx, key, true) }

// Standing is Cycle without the verdict: it reads no entry, which most of the time goes into.
func (v *View) Standing(ctx context.Context, key string) (Cycle, error) {
	return v.one(ctx, key, false)
}

func (v *View) one(ctx context.Context, key string, verdict bool) (Cycle, error) {
	all, err := v.Cycles(ctx, CycleFilter{Key: key, Renamed: true, Verdicts: verdict})
	if err != nil {
		return Cycle{}, err
	}
	if key == "" || len(all) == 0 {
		return Cycle{}, v.notFound(sql.ErrNoRows, fmt.Sprintf("the cycle %q is not in the logbook", key))
	}
	return all[0], nil
}

// Sources returns the files that a cycle is in, the one it was judged by first. A file
// that only its import names, because it told nothing new, has no lines (0).
func (v *View) Sources(ctx context.Context, key string) ([]entry.Source, error) {
	var sources []entry.Source
	err := each(ctx, v.q, `SELECT sha256, file, first_line, last_line FROM sources WHERE cycle = $1 ORDER BY place`, []any{key}, func(r *sql.Rows) error {
		var s entry.Source
		err := r.Scan(&s.SHA256, &s.File, &s.FirstLine, &s.LastLine)
		sources = append(sources, s)
		return err
	})
	return sources, explain(v.path, err)
}

// SourcesOf is [View.Sources] of all cycles of some days, ends included, by their keys.
func (v *View) SourcesOf(ctx context.Context, from, to string) (map[string][]entry.Source, error) {
	sources := map[string][]entry.Source{}
	err := each(ctx, v.q, `SELECT s.cycle, s.sha256, s.file, s.first_line, s.last_line FROM cycles c JOIN sources s ON s.cycle = c.cycle
		WHERE c.day >= $1 AND c.day <= $2 ORDER BY s.cycle, s.place`, []any{from, to}, func(r *sql.Rows) error {
		var key string
		var s entry.Source
		err := r.Scan(&key, &s.SHA256, &s.File, &s.FirstLine, &s.LastLine)
		sources[key] = append(sources[key], s)
		return err
	})
	return sources, explain(v.path, err)
}

// Day is a day with anything in it.
type Day struct {
	Day           string
	Cycles        int64 // on the day
	Waiting       int64 // of them
	Changed       int64 // the last entry that changes its record, 0: none
	Revision      int64 // of the signed record, 0: not signed
	Covers        int64 // entries that record was drawn from
	PreparedEntry int64 // the signature, 0: none
	ReviewedEntry int64
}

// Due tells whether the signed record no longer says all that is in the logbook.
func (d Day) Due() bool { return d.Revision > 0 && d.Changed > d.Covers }

const daysSQL = `SELECT d.day, d.changed, d.revision, d.covers, d.prepared, d.reviewed,
	COUNT(c.cycle), COALESCE(SUM(CASE WHEN c.settled = FALSE THEN 1 ELSE 0 END), 0)
	FROM days d LEFT JOIN cycles c ON c.day = d.day AND c.continued_by = ''
	WHERE d.day >= $1 AND d.day <= $2
	GROUP BY d.day, d.changed, d.revision, d.covers, d.prepared, d.reviewed ORDER BY d.day`

// Span returns the first and the last day that has an entry, "" if none has.
func (v *View) Span(ctx context.Context) (first, last string, err error) {
	err = v.q.QueryRowContext(ctx, `SELECT COALESCE(MIN(day), ''), COALESCE(MAX(day), '') FROM days`).Scan(&first, &last)
	return first, last, explain(v.path, err)
}

// Days returns the days from one to another, ends included, that have an entry.
func (v *View) Days(ctx context.Context, from, to string) ([]Day, error) {
	var days []Day
	err := each(ctx, v.q, daysSQL, []any{from, to}, func(r *sql.Rows) error {
		var d Day
		var prepared, reviewed sql.NullInt64
		err := r.Scan(&d.Day, &d.Changed, &d.Revision, &d.Covers, &prepared, &reviewed, &d.Cycles, &d.Waiting)
		d.PreparedEntry, d.ReviewedEntry = prepared.Int64, reviewed.Int64
		days = append(days, d)
		return err
	})
	return days, explain(v.path, err)
}
