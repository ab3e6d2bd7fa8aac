package surgery

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"holdproof/report/daily"
)

// The record of a day says what moved up to its end, and nothing of what came later; the
// same logbook gives the same bytes.
func TestDriftInDayRecord(t *testing.T) {
	r := monthsLater(t, emptySite(t), time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC))
	imported(t, r, exported(t, t.TempDir(), "summer.csv", drifting(70, 0.02)...))
	of := func(date string) []daily.Drift {
		t.Helper()
		rec, err := r.Day(t.Context(), date)
		if err != nil {
			t.Fatal(err)
		}
		one, err := rec.PDF()
		if err != nil {
			t.Fatal(err)
		}
		r.drifts.size = -1
		rec2, err := r.Day(t.Context(), date)
		if err != nil {
			t.Fatal(err)
		}
		if two, err := rec2.PDF(); err != nil || !bytes.Equal(one, two) {
			t.Errorf("%s: the same logbook gives another record, %v", date, err)
		}
		return rec.Day.Drift
	}
	if d := of("2026-08-10"); len(d) != 1 || d[0].State != "still" || d[0].Says != "S1 134: not yet 20 cycles, 10 so far" {
		t.Errorf("%+v", d)
	}
	if d := of("2026-07-01"); d != nil {
		t.Errorf("before the first cycle: %+v", d)
	}
	d := of("2026-10-09")
	if len(d) != 2 || !d[0].Moves() || d[0].Name != "S1 134" || d[0].Quantity != "steam_mean_k" || len(d[0].Marks) != 70 || len(d[0].Limits) != 2 || d[0].Since[:7] != "2026-09" {
		text, _ := json.Marshal(d)
		t.Errorf("%.600s", text)
	}
	if !strings.Contains(d[0].Says, "moved up 0.") || d[0].ToDo == "" {
		t.Errorf("%q %q", d[0].Says, d[0].ToDo)
	}
}
