package archive

import (
	"bytes"
	"strings"
	"testing"

	"holdproof/report/daily"
)

// Every check of a cycle is on its page in the open, so that paper has it too: the figure
// rounded away from its better side, the limit, the uncertainty, the source and how sure it
// is, and who loaded and released. All of it is invented.
func TestDayPageShowsEveryCheck(t *testing.T) {
	f := func(v float64) *float64 { return &v }
	page := DayPage{State: "signed", Records: []string{"2026-11-02.pdf", "2026-11-02.r2.pdf"}, Day: daily.Day{Date: "2026-11-02", Cycles: []daily.Cycle{
		{ID: "S1-1", Steriliser: "S1", Number: "1", Kind: "load", Outcome: "failed", Start: "2026-11-02T08:00:00Z", Load: daily.Load{By: "Tobin Averley"},
			Sources: []daily.Span{{File: "a.csv", SHA256: strings.Repeat("a", 64), FirstLine: 1, LastLine: 9}},
			Findings: []daily.Finding{
				{Check: "sampling", Outcome: "conforms", Measured: f(1.01), High: f(20), Unit: "s", Source: "Ours", Sure: "ours", Message: "a reading <often>"},
				{Check: "holding-time", Outcome: "failed", Measured: f(179.96), Low: f(180), Uncertainty: f(3.61), Unit: "s", Source: "A standard, 8.3", Sure: "second-hand", Message: "held too short"},
				{Check: "air-leakage", Outcome: "conforms", Measured: f(0.1294), High: f(0.13), Unit: "kPa/min", Source: "A standard, 8.3", Sure: "second-hand", Message: "it rose"}}},
		{ID: "S1-2", Steriliser: "S1", Number: "2", Kind: "load", Outcome: "conforms", Start: "2026-11-02T09:00:00Z"}},
		Decisions: []daily.Decision{{Cycle: "S1-1", Act: "sent for reprocessing", By: "Edda Marlick", At: "2026-11-02T09:00:00Z"}}}}
	var b bytes.Buffer
	if err := WriteDay(&b, page); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{
		`holding-time: failed. Found 179.9 s, at least 180 s, uncertainty 3.7 s. <a href="#source-2">Source 2</a>`,
		`air-leakage: conforms. Found 0.130 kPa/min, at most 0.13 kPa/min. <a href="#source-2">Source 2</a>`,
		`A reading &lt;often&gt;.`, `sampling: conforms. Found 1.1 s, at most 20 s. <a href="#source-1">Source 1</a>`,
		`<li id="source-2">A standard, 8.3. Certainty: second-hand.</li>`, `<li id="source-1">Ours. Certainty: ours.</li>`,
		"loaded by Tobin Averley", "Sent for reprocessing by Edda Marlick", "Who loaded it was not entered.", "What became of it was not entered.",
		`<a href="../records/2026-11-02.r2.pdf">signed record 2026-11-02.r2.pdf</a>`, `<a href="../exports/` + strings.Repeat("a", 64) + `.csv">a.csv</a>, lines 1 to 9`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not on the page:\n%s", want, text[strings.Index(text, "<main"):])
		}
	}
	if strings.Index(text, "Held too short") > strings.Index(text, "A reading") {
		t.Error("what failed does not stand first")
	}
	for _, closed := range []string{"<details", "<summary"} {
		if strings.Contains(text, closed) {
			t.Errorf("%q would not be printed", closed)
		}
	}
}
