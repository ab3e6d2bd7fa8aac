package surgery

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Of the water lines of a chair every rinse of a note with a count is counted, and a
// disinfection that was too short is none. All of it is invented.
func TestWaterLinesCounted(t *testing.T) {
	r := opened(t, emptySite(t), machines(func(c *Configuration) { c.Chairs = []string{"chair 1", "chair 2"} }), "")
	keptAs(t, r, []laid{{"S1", "50", "2026-10-26 08:00", "load", "conforms", true}})
	note := func(duty, place, outcome string, d dutyData) entry.Draft {
		data, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		return entry.Draft{At: evening, By: "nurse", Proved: "test", Body: entry.Note{Duty: duty, Place: place, Day: "2026-10-26", Outcome: outcome, Data: data}}
	}
	minutes := func(x float64) *float64 { return &x }
	over := note(dutyCount, "chair 2", "failed", dutyData{Sampled: "2026-10-20"})
	said := over.Body.(entry.Note)
	said.Value, said.Unit = minutes(260), "CFU/mL"
	over.Body = said
	if err := r.write(t.Context(), func(b *logbook.Batch) error {
		return b.AddAll([]entry.Draft{
			note(dutyFlushed, "chair 1", "done", dutyData{}), note(dutyFlushedEnd, "chair 1", "done", dutyData{}),
			note(dutyRinsed, "chair 1", "done", dutyData{Times: 7}), note(dutyRinsed, "chair 1", "done", dutyData{}),
			note(dutyDisinfected, "chair 1", "done", dutyData{ContactMin: minutes(10), NeedsMin: minutes(10)}),
			note(dutyFlushed, "chair 2", "done", dutyData{}),
			note(dutyDisinfected, "chair 2", "failed", dutyData{ContactMin: minutes(4.6), NeedsMin: minutes(10)}),
			over,
		})
	}); err != nil {
		t.Fatal(err)
	}
	all, err := r.Replies(t.Context(), "2026-10-26", "2026-10-26", "")
	if err != nil {
		t.Fatal(err)
	}
	got := all[8]
	var rows []string
	for _, row := range got.Rows {
		var cells []string
		for _, c := range row {
			if c.Marked {
				c.Text = "(" + c.Outcome.String() + ") " + c.Text
			}
			cells = append(cells, c.Text)
		}
		rows = append(rows, strings.Join(cells, " | "))
	}
	want := []string{
		"the period | chair 1 | 2 times, on 1 of 1 day of use | 8 times | on 1 of 1 day | 10 min | no count is recorded",
		"the period | chair 2 | 1 time, on 1 of 1 day of use | 0 times | on 0 of 1 day | 4 min | (failed) 260 CFU/mL, 26 Oct 2026; failed",
		"26 Oct 2026 | chair 1 | (conforms) 2 | 8 | (conforms) 1 time | 10 min | ",
		"26 Oct 2026 | chair 2 | (conforms) 1 | 0 | (failed) 1 time, 1 too short or too weak | 4 min | (failed) 260 CFU/mL, 26 Oct 2026; failed",
	}
	if !slices.Equal(rows, want) {
		t.Errorf("%s\nexpected\n%s", strings.Join(rows, "\n"), strings.Join(want, "\n"))
	}
	const short = "2 chairs; 1 day of a chair without a flush or without a disinfection. On 1 of them the lines were disinfected, but too short or too weak. Of 1 chair the last water count failed. Of 1 chair no water count is recorded."
	if got.Outcome != Failed || got.Short != short {
		t.Errorf("[%s] %s", got.Outcome, got.Short)
	}
}
