package logbook

import (
	"database/sql"
	"strings"
	"testing"

	"holdproof/report/logbook/entry"
)

// With ten years kept no question may go through all of them: each is answered by
// an index. Benchmarks tell the times, this tells the way.
func TestQuestionsUseAnIndex(t *testing.T) {
	b := newSite(t)
	for _, c := range []struct {
		why   string
		f     CycleFilter
		index string
	}{
		{"a day", CycleFilter{From: "2026-11-02", To: "2026-11-02"}, "cycles_day"},
		{"a day with verdicts", CycleFilter{From: "2026-11-02", To: "2026-11-02", Verdicts: true}, "cycles_day"},
		{"a day of a machine", CycleFilter{Steriliser: "S1", From: "2026-11-02", To: "2026-11-02"}, "cycles_day"},
		{"a day of an outcome", CycleFilter{Outcome: "conforms", From: "2026-11-02", To: "2026-11-02", Verdicts: true}, "cycles_day"},
		{"a number", CycleFilter{Steriliser: "S1", Number: "1042"}, "cycles_number"},
		{"a start", CycleFilter{Steriliser: "S1", Start: entry.At(morning)}, "cycles_start"},
		{"the same readings", CycleFilter{Digest: strings.Repeat("ab", 32)}, "cycles_digest"},
		{"what waits", CycleFilter{Waiting: true}, "cycles_settled"},
		{"recalls", CycleFilter{Recalled: true}, "cycles_recall"},
		{"of a file", CycleFilter{File: strings.Repeat("ab", 32)}, "sources_sha256"},
		{"of a person", CycleFilter{Person: "nurse"}, "acts_person_cycle"},
		{"the newest", CycleFilter{Newest: true, Limit: 9, Verdicts: true}, "cycles_begun"},
		{"the newest since a day", CycleFilter{From: "2026-10-02", Newest: true, Limit: 9}, "cycles_begun"},
		{"the newest of a machine", CycleFilter{Steriliser: "S1", From: "2026-10-02", Newest: true, Limit: 9}, "cycles_start"},
		{"the newest of a kind", CycleFilter{Steriliser: "S1", Kind: "control test", To: "2026-10-02", Newest: true, Limit: 9}, "cycles_kind"},
		{"the newest failed", CycleFilter{Outcome: "failed", Steriliser: "S1", From: "2026-10-02", Newest: true, Limit: 9}, "cycles_outcome"},
		{"the newest of somebody who acts often", CycleFilter{Person: "nurse", often: true, Newest: true, Limit: 9, Verdicts: true}, "cycles_begun"},
		{"the same by what they entered", CycleFilter{Person: "nurse", often: true, Newest: true, Limit: 9}, "acts_person_cycle"},
		{"a key", CycleFilter{Key: "S1-x"}, "sqlite_autoindex_cycles_1"},
	} {
		var w where
		wantIndex(t, b.r, c.why, c.f.sql(&w), w.args, c.index)
	}
	wantIndex(t, b.r, "a month of days", daysSQL, []any{"2026-11-01", "2026-11-30"}, "cycles_day")
	for _, c := range []struct {
		why   string
		kind  string
		f     Filter
		index string
	}{
		{"imports of a day", "import", Filter{From: "2026-11-02", To: "2026-11-02"}, "acts_type_day"},
		{"all of a day", "", Filter{From: "2026-11-02", To: "2026-11-02"}, "acts_day"},
		{"the last leak test note of a machine", "note", Filter{Topic: "leak test", Steriliser: "S1", Newest: true, Limit: 1}, "acts_topic"},
		{"a topic on some days", "note", Filter{Topic: "counter", From: "2026-10-19", To: "2026-11-02"}, "acts_type_day"},
		{"a topic up to a day", "note", Filter{Topic: "counter", To: "2026-11-02"}, "acts_topic"},
		{"the last count of a chair", "note", Filter{Topic: "water count read", Subject: "chair 1", To: "2026-11-02", Newest: true, Limit: 1}, "acts_subject"},
		{"a topic of a cycle", "note", Filter{Cycle: "S1-x", Topic: "counter"}, "acts_cycle"},
		{"the history of a cycle", "", Filter{Cycle: "S1-x", Superseded: true}, "acts_cycle"},
		{"a release by number", "release", Filter{Steriliser: "S1", Number: "1042"}, "acts_number"},
		{"a person", "person", Filter{Subject: "nurse"}, "acts_subject"},
		{"an entry", "", Filter{Entry: 12}, "sqlite_autoindex_acts_1"},
	} {
		var w where
		w.is("a.type", c.kind)
		wantIndex(t, b.r, c.why, c.f.sql(&w), w.args, c.index)
	}
}

func wantIndex(t *testing.T, db *sql.DB, why, query string, args []any, index string) {
	t.Helper()
	var plan []string
	if err := each(ctx, db, "EXPLAIN QUERY PLAN "+query, args, func(r *sql.Rows) error {
		var id, parent, unused int
		var detail string
		err := r.Scan(&id, &parent, &unused, &detail)
		plan = append(plan, detail)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	all := strings.Join(plan, " \n") + " "
	if !strings.Contains(all, index+" ") || strings.Contains(strings.ReplaceAll(all, "SCAN c USING INDEX cycles_begun ", ""), "SCAN") || strings.Contains(all, "TEMP B-TREE FOR ORDER BY") && strings.Contains(query, "LIMIT") {
		t.Errorf("%s: want the index %s and no scan:\n%s\n%s", why, index, query, all)
	}
}
