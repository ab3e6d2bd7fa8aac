package desk

import (
	"html/template"
	"testing"
)

// The small figures of a day whose verdicts keep no sketch, drawn together from each file read once, are those that each
// cycle has when it is drawn alone; where they keep one no file is read.
func TestDrawnTogetherAsAlone(t *testing.T) {
	s := newSite(t).full()
	day, err := s.records.DayShown(t.Context(), "2026-11-02")
	if err != nil || len(day.Shown) < 12 {
		t.Fatalf("%d cycles, %v", len(day.Shown), err)
	}
	for _, c := range day.Shown {
		if s.desk.small(c) == "" || s.desk.smalls.has(pictureKey(c)) {
			t.Errorf("%s: %t: a figure is drawn from the verdict, and its export is not read", c.Name, s.desk.small(c) == "")
		}
		c.Verdict.Sketch = nil // as verdicts were kept before they had one
	}
	s.desk.draw(t.Context(), day.Shown)
	drawn := 0
	for _, c := range day.Shown {
		at := pictureKey(c)
		if !s.desk.smalls.has(at) {
			t.Errorf("%s was not drawn with the others", c.Name)
		}
		together := s.desk.small(c)
		s.desk.smalls = newMemory[template.HTML](mostSmall)
		if alone := s.desk.small(c); alone != together {
			t.Errorf("%s is another figure when it is drawn alone:\n%s\n%s", c.Name, alone, together)
		}
		s.desk.draw(t.Context(), day.Shown)
		if together != "" {
			drawn++
		}
	}
	if drawn < 12 {
		t.Errorf("only %d of %d are drawn", drawn, len(day.Shown))
	}
	if len(s.logged) > 0 {
		t.Errorf("logged: %v", s.logged)
	}
}
