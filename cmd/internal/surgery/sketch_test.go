package surgery

import (
	"archive/zip"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"holdproof/report/archive"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// dayPage packs a day and returns its page.
func dayPage(t *testing.T, r *Records, day string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "bag.zip")
	if _, err := r.Bag(t.Context(), Bagging{From: day, To: day, Out: out}); err != nil {
		t.Fatal(err)
	}
	z, err := zip.OpenReader(out)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	for _, f := range z.File {
		if !strings.HasSuffix(f.Name, archive.DayFile(day)) {
			continue
		}
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	t.Fatal("the day has no page")
	return ""
}

// reSketched adds a verdict that differs from the one that counts in its sketch alone.
func reSketched(t *testing.T, r *Records, key string, s *entry.Sketch) {
	t.Helper()
	c, err := r.Cycle(t.Context(), key)
	if err != nil {
		t.Fatal(err)
	}
	v := *c.Verdict
	v.Sketch = s
	if err := r.write(t.Context(), func(b *logbook.Batch) error {
		_, err := b.Add(entry.Draft{At: evening, Body: v})
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// A cycle that is imported keeps its sketch, and a bag draws it. A verdict without one,
// as they were kept before, has its figure from the export: the same but for the points
// of the curve. Judging again finds nothing to write either way, and an audit nothing wrong.
func TestSketchIsKept(t *testing.T) {
	r := opened(t, emptySite(t), machines(), "")
	out, _ := imported(t, r, exported(t, t.TempDir(), "a.csv", cycleAt("1", "08:00:00")))
	key := out.arrivals[0].Key
	kept, err := r.Cycle(t.Context(), key)
	if err != nil || kept.Verdict.Sketch == nil {
		t.Fatalf("no sketch: %+v, %v", kept.Verdict, err)
	}
	s := *kept.Verdict.Sketch
	if s.Low != 134 || s.High != 137 || s.Top != 150 || s.Seconds < 1000 || len(s.Curve) > 400 {
		t.Errorf("%+v", s)
	}
	curve := func(page string) (svg, points string) {
		t.Helper()
		_, svg, found := strings.Cut(page, `<svg xmlns="http://www.w3.org/2000/svg" class="hp-figure"`)
		svg, _, _ = strings.Cut(svg, "</svg>")
		head, points, more := strings.Cut(svg, `stroke-width="0.22"`)
		points, tail, _ := strings.Cut(points, "\n")
		if !found || !more {
			t.Fatalf("no figure on the page: %s", page)
		}
		return head + tail, points
	}
	around, sketched := curve(dayPage(t, r, kept.Day))

	reSketched(t, r, key, nil)
	again, full := curve(dayPage(t, r, kept.Day))
	if again != around {
		t.Errorf("without a sketch the figure is another one:\n%s\nwith one\n%s", again, around)
	}
	if len(sketched) >= len(full) || len(sketched) < 200 {
		t.Errorf("the sketch has %d characters, the record %d", len(sketched), len(full))
	}
	for _, what := range []string{"without a sketch", "with another one"} {
		done, err := r.Rejudge(t.Context(), Again{Write: true})
		if err != nil || done.Same != 1 || len(done.Changes) > 0 {
			t.Errorf("%s: %+v, %v", what, done, err)
		}
		flat := entry.Sketch{Seconds: 2400, Top: 150, Low: 134, High: 137, Curve: "AdAP0A8A"} // 100 °C from end to end
		reSketched(t, r, key, &flat)
	}
	if _, drawn := curve(dayPage(t, r, kept.Day)); drawn == full || drawn == sketched || strings.Count(drawn, " ") > 12 {
		t.Errorf("the export was drawn beside a sketch: %s", drawn)
	}
	a, err := r.Audit(t.Context(), Auditing{})
	if err != nil || !a.OK() {
		t.Errorf("%+v, %v", a, err)
	}
}
