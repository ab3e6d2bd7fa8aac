package archive

import (
	"bytes"
	"strings"
	"testing"

	"holdproof/report/daily"
	"holdproof/validate"
)

// The surgery is invented.
func overview() Overview {
	reply := daily.Reply{Number: 1, Question: daily.Questions()[0], Short: "Yes <script>.", Outcome: validate.Conforms, Columns: []string{"Day", "Cycle", "Far"},
		Rows: [][]daily.Cell{{
			{Text: "2 Nov 2026", To: daily.Reference{Kind: daily.ToDay, ID: "2026-11-02"}},
			{Text: "S1 · 1043", To: daily.Reference{Kind: daily.ToCycle, ID: "S1-20261102-091247", Day: "2026-11-02"}, Marked: true, Outcome: validate.Failed},
			{Text: "elsewhere", To: daily.Reference{Kind: daily.ToCycle, ID: "x", Day: "2026-10-30"}}}}}
	return Overview{Surgery: daily.Surgery{Name: "Tern Quay Surgery", Zone: "Europe/London"}, From: "2026-11-01", To: "2026-11-03", Replies: []daily.Reply{reply},
		Days: []OverviewDay{{Date: "2026-11-01", State: "nothing recorded"}, {Date: "2026-11-02", Page: true, State: "signed",
			Tallies: []daily.Tally{{Outcome: validate.Failed, Cycles: 1}}}, {Date: "2026-11-03", State: "closed", Closed: "Market day."}}}
}

func TestIndexLeadsToWhatIsThere(t *testing.T) {
	var b, again bytes.Buffer
	if err := WriteIndex(&b, overview()); err != nil {
		t.Fatal(err)
	}
	if err := WriteIndex(&again, overview()); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Errorf("the same overview gave other bytes, %v", err)
	}
	page := b.String()
	for _, want := range []string{`<a href="days/2026-11-02.html">2 Nov 2026</a>`, `<a href="days/2026-11-02.html#S1-20261102-091247">S1 · 1043</a>`,
		"elsewhere", "Yes &lt;script&gt;.", "Market day.", `<h3 id="m-2026-11">November 2026</h3>`} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is not on the page:\n%s", want, page)
		}
	}
	for _, never := range []string{"2026-10-30", `days/2026-11-03.html`, `days/2026-11-01.html`, "http://", "https://", "<script"} {
		if strings.Contains(strings.ReplaceAll(page, "http://www.w3.org/2000/svg", ""), never) {
			t.Errorf("%q is on the page", never)
		}
	}
}
