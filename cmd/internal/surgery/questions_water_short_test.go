package surgery

import (
	"strings"
	"testing"
)

// A flush that fell short is shown, marked and not counted, and a day without loads has
// its rows and is no day of use.
func TestWaterThatFellShort(t *testing.T) {
	s := signedSite(t, chairs)
	half, two, three, tenth, twenty := 0.5, 2.0, 3.0, 0.1, 20.0
	for _, n := range []Noting{
		{Duty: dutyFlushed, Place: "chair 1", Outcome: "done", Value: &half},
		{Duty: dutyFlushed, Place: "chair 2", Outcome: "done", Value: &two},
		{Duty: dutyFlushed, Place: "chair 2", Outcome: "done", Value: &tenth},
		{Duty: dutyRinsed, Place: "chair 2", Outcome: "done", Value: &three},
		{Duty: dutyRinsed, Place: "chair 2", Outcome: "done", Value: &twenty, Times: 7},
	} {
		s.note(t, n)
	}
	water := func() (text []string) {
		all, err := s.Replies(t.Context(), monday, monday, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range all[8].Rows {
			line := ""
			for _, c := range row[:4] {
				line += c.Text + "|"
			}
			text = append(text, line+row[2].Outcome.String())
		}
		return text
	}
	want := []string{"the period|chair 1|0 times, on 0 of 0 days of use|0 times|not proven", "the period|chair 2|1 time, on 0 of 0 days of use|7 times|not proven",
		"2 Nov 2026|chair 1|0, 1 too short|0|failed", "2 Nov 2026|chair 2|1, 1 too short|7|conforms"}
	if got := water(); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%s\nexpected\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	s.demoDay(t)
	want[0], want[1] = strings.ReplaceAll(want[0], "0 of 0 days", "0 of 1 day"), strings.ReplaceAll(want[1], "0 of 0 days", "1 of 1 day")
	if got := water(); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("with loads:\n%s\nexpected\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
