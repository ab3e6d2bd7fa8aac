package daily

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A day that the first version wrote is read and written again byte for byte.
func TestFirstVersion(t *testing.T) {
	old, err := os.ReadFile(filepath.Join("testdata", "day-version-1.json"))
	if err != nil {
		t.Fatal(err)
	}
	d, err := Parse(old)
	if err != nil {
		t.Fatal(err)
	}
	if d.Version != 1 || len(d.Duties) != 2 || d.Duties[1].State != "missed" || d.Closed[0].Machine != "S2" {
		t.Errorf("%+v", d)
	}
}

// Rows put what is missing first, join places at which the same is said, and keep the rest
// in the order of a day.
func TestDutyRows(t *testing.T) {
	at := func(clock string) string { return "2026-11-02T" + clock + ":00Z" }
	d := Day{Date: "2026-11-02", Duties: []Duty{
		{When: "weekly", What: "clock checked", Where: "S1", State: "never entered", DueBy: "2026-11-09"},
		{When: "end of day", What: "steriliser drained", Where: "S1", State: "done", At: at("17:00"), By: "A", Source: "x", Sure: "memory"},
		{When: "start of day", What: "reservoir filled", Where: "S1", State: "done", At: at("07:05"), By: "A"},
		{When: "start of day", What: "reservoir filled", Where: "S2", State: "done", At: at("07:05"), By: "A"},
		{When: "start of day", What: "reservoir filled", Where: "S3", State: "done", At: at("07:06"), By: "A"},
		{When: "end of day", What: "suction disinfected", Where: "chair 1", State: "open"},
		{When: "end of day", What: "suction disinfected", Where: "chair 2", State: "open"},
		{When: "start of day", What: "water lines flushed", Where: "chair 1", State: "failed", Detail: "1 min, needs 2 min", LimitSource: "the leaflet"},
		{When: "between patients", What: "water lines rinsed", Where: "chair 1", State: "not due"},
		{When: "quarterly", What: "engineer's visit", State: "overdue", Last: "2026-07-01", LastBy: "B", DueBy: "2026-10-01", Every: "3 months"},
	}}
	var got []string
	for _, r := range d.DutyRows() {
		got = append(got, strings.Join([]string{r.State, r.What, strings.Join(r.Places, "+"), r.Time, r.Words, r.Origin}, "|"))
	}
	want := []string{
		"failed|water lines flushed|chair 1||1 min, needs 2 min|",
		"overdue|engineer's visit|||last 1 Jul 2026 by B, due on 1 Oct 2026|",
		"open|suction disinfected|chair 1+chair 2|||",
		"done|reservoir filled|S1+S2|07:05||",
		"done|reservoir filled|S3|07:06||",
		"not due|water lines rinsed|chair 1||none was entered|",
		"done|steriliser drained|S1|17:00||x (memory)",
		"never entered|clock checked|S1||next by 9 Nov 2026|",
	}
	if !slices.Equal(got, want) {
		t.Errorf("rows\n%s\nexpected\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
