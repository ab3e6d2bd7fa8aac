package pdf

import (
	"strings"
	"testing"

	"holdproof/report/daily"
)

// What the record holds of a chart is all that its drawing needs; the change begins at
// the mark that holds its first cycle.
func TestTrendOfRow(t *testing.T) {
	centre, low, high := 0.025, 0.01, 0.04
	x := daily.Drift{Name: "S1 leak tests", State: "moves", What: "Leak rate", Unit: "kPa/min", Digits: 3, Since: "2026-07-14T08:00:00+01:00", Centre: &centre, Low: &low, High: &high, Limits: []float64{0.129},
		Marks: []daily.DriftMark{{From: "2026-07-06T07:31:34+01:00", To: "2026-07-07T07:31:34+01:00", Low: 0.02, High: 0.03, Mean: 0.025, Cycles: 2},
			{From: "2026-07-13T07:31:34+01:00", To: "2026-07-14T07:00:00Z", Low: 0.02, High: 0.05, Mean: 0.04, Cycles: 2}}}
	c := trendOf(x)
	if c.Since != 1 || len(c.Marks) != 2 || c.Marks[1].Cycles != 2 || c.Marks[0].Mean != 0.025 || c.Centre != centre || c.High != high || c.Limits[0] != 0.129 {
		t.Errorf("%+v", c)
	}
	if x.Centre, x.Since = nil, ""; trendOf(x).High != 0 {
		t.Error("without a baseline there is a stripe")
	}
}

// The section is there where something is said, what moves first, and else not.
func TestDriftSection(t *testing.T) {
	d := newDay(t)
	plain, err := Draw(d.Day, d.Parts)
	if err != nil {
		t.Fatal(err)
	}
	d.Drift = []daily.Drift{{State: "still", Says: "S1 134: steady over 33 cycles"}}
	quiet, err := Draw(d.Day, d.Parts)
	if err != nil {
		t.Fatal(err)
	}
	a, b := wordsOf(t, plain), wordsOf(t, quiet)
	if strings.Contains(a, "What moves slowly") || !strings.Contains(b, "What moves slowly") || !strings.Contains(b, "S1 134: steady over 33 cycles.") {
		t.Errorf("without: %s\nwith: %s", a, b)
	}
}

// wordsOf is what pdftotext reads in a record.
func wordsOf(t *testing.T, record []byte) string {
	t.Helper()
	return strings.Join(strings.Fields(tool(t, "pdftotext", "-raw", save(t, record), "-")), " ")
}
