package figure

import (
	"encoding/base64"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// wandering is an invented record without sense: temperatures that walk and jump, now
// and then a sensor that falls silent and times that are not read.
func wandering(t testing.TB, rnd *rand.Rand) Cycle {
	t.Helper()
	var r cycle.Readings
	chamber := cycle.Channel{Role: cycle.Chamber, Heading: "chamber", Column: 2}
	p := &cycle.Pressure{Reference: cycle.Absolute, Heading: "pressure", Column: 3}
	s, v := 0.0, 20+rnd.Float64()*100
	for i := range 20 + rnd.IntN(1500) {
		v += rnd.NormFloat64()
		if rnd.IntN(200) == 0 {
			v = 20 + rnd.Float64()*130
		}
		at := v
		if rnd.IntN(100) == 0 { // one reading
			at += 30 * rnd.NormFloat64()
		}
		r.Seconds, r.Lines = append(r.Seconds, s), append(r.Lines, i+2)
		chamber.Celsius = append(chamber.Celsius, cycle.Celsius(math.Round(at*10)/10))
		p.KPa = append(p.KPa, math.Round(1000+at*10)/10)
		s += 1 + float64(rnd.IntN(2))
		if rnd.IntN(300) == 0 {
			s += 100
		}
	}
	r.Channels, r.Pressure = []cycle.Channel{chamber}, p
	record, err := cycle.New(cycle.Header{Source: cycle.Source{File: "invented.csv", FirstLine: 2, LastLine: 3}, Steriliser: "S1", Number: "1", Start: time.Unix(0, 0)}, r)
	if err != nil {
		t.Fatal(err)
	}
	from := rnd.Float64() * s
	m := validate.Measured{HoldFrom: validate.Known(from), HoldTo: validate.Known(from + rnd.Float64()*(s-from))}
	return Cycle{Record: record, Absolute: p.KPa, Verdict: validate.Verdict{Kind: cycle.Load, Measured: m,
		Programme: validate.Programme{Name: "134", Sterilising: 134, Band: 3}}}
}

// seenIn returns the lowest and the highest value within a window.
func seenIn(seconds, values []float64, w window) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i, v := range values {
		if seconds[i] >= w.from && seconds[i] <= w.to && !math.IsNaN(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return lo, hi
}

// Whatever the record: few points, each one a reading to the tenth, the hottest and the
// coldest of the whole and of the hold among them, and gaps where the record has some.
func TestSketchKeepsExtremes(t *testing.T) {
	rnd := rand.New(rand.NewPCG(134, 137))
	drawn := 0
	for range 500 {
		c := wandering(t, rnd)
		s, ok := SketchOf(c)
		if !ok {
			continue
		}
		drawn++
		seconds, values, err := s.points()
		if err != nil {
			t.Fatal(err)
		}
		if n := len(values); n > mostSketched+mostRuns || len(s.Curve) > 400 {
			t.Errorf("%d points, %d characters", n, len(s.Curve))
		}
		d := prepare(c)
		half := s.Seconds / sketchSteps / 2
		hold, _ := d.hold()
		for _, w := range []window{d.all(), hold} {
			lo, hi := seenIn(d.seconds, d.reference(), w)
			if lo > hi {
				continue
			}
			kept := window{w.from - half - 1e-6, w.to + half + 1e-6}
			a, b := seenIn(seconds, values, kept)
			if a > lo+1e-9 || b < hi-1e-9 {
				t.Errorf("from %.1f to %.1f s it goes from %v to %v, sketched from %v to %v", w.from, w.to, lo, hi, a, b)
			}
		}
		for i, v := range values {
			if !math.IsNaN(v) && !isReading(d, seconds[i], v, half) {
				t.Errorf("%v at %.1f s is no reading", v, seconds[i])
			}
		}
		gaps := 0
		for i := 1; i < len(d.seconds); i++ {
			if d.seconds[i]-d.seconds[i-1] > d.gap {
				gaps++
			}
		}
		broken := 0
		for _, v := range values {
			if math.IsNaN(v) {
				broken++
			}
		}
		if broken > gaps || broken < gaps-2 { // a single reading between two gaps is not drawn
			t.Errorf("%d gaps, %d in the sketch", gaps, broken)
		}
	}
	if drawn < 400 {
		t.Errorf("only %d of 500 were sketched", drawn)
	}
}

func isReading(d *drawing, at, v, half float64) bool {
	for i, r := range d.reference() {
		if math.Abs(d.seconds[i]-at) <= half+1e-6 && math.Abs(r-v) < 1e-9 {
			return true
		}
	}
	return false
}

// Of a load as it is, no reading is further from the sketched line than a quarter of its width.
func TestSketchIsNear(t *testing.T) {
	for what, c := range map[string]Cycle{"load": invented(t, 216, nil), "short": invented(t, 20, nil), "leak": leakTest(t, 0.2)} {
		s, ok := SketchOf(c)
		if !ok {
			t.Fatalf("%s: no sketch", what)
		}
		seconds, values, err := s.points()
		if err != nil {
			t.Fatal(err)
		}
		d := prepare(c)
		of, high := d.reference(), sketchHigh/(s.Top-20)
		if what == "leak" {
			of, high = d.pressure.values, sketchHigh/leakTop
		}
		var sketch []Point
		for i := range values {
			sketch = append(sketch, Point{seconds[i] / s.Seconds * sketchWide, values[i] * high})
		}
		far := 0.0
		for i, v := range of {
			p, least := Point{d.seconds[i] / s.Seconds * sketchWide, v * high}, math.Inf(1)
			for j := 1; j < len(sketch); j++ {
				least = min(least, distance(p, sketch[j-1], sketch[j]))
			}
			far = max(far, least)
		}
		if far > 0.05 { // a quarter of the 0.22 mm that the line is wide
			t.Errorf("%s: %.3f mm off, %d points", what, far, len(values))
		}
		t.Logf("%s: %.3f mm off at most, %d points, %d characters", what, far, len(values), len(s.Curve))
	}
}

func distance(p, a, b Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	along := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		along = min(1, max(0, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l))
	}
	return math.Hypot(p.X-a.X-along*dx, p.Y-a.Y-along*dy)
}

// The small figure of a sketch has the words, the band and the hold of the one that is
// drawn from the record, byte for byte; only the curve has fewer points.
func TestSketchDrawsTheSame(t *testing.T) {
	for what, c := range map[string]Cycle{"load": invented(t, 216, nil), "leak": leakTest(t, 0.2)} {
		s, ok := SketchOf(c)
		again, _ := SketchOf(c)
		if !ok || s != again {
			t.Fatalf("%s: %v, %+v, %+v", what, ok, s, again)
		}
		h, m := c.Record.Header(), c.Verdict.Measured
		got, err := SketchSVG(Sketched{Sketch: s, ID: c.Record.ID(), Name: h.Steriliser + " · " + h.Number, Outcome: c.Verdict.Outcome().String(),
			Kind: c.Verdict.Kind, HoldFrom: m.HoldFrom, HoldTo: m.HoldTo}, 32, 12)
		if err != nil {
			t.Fatal(err)
		}
		want := strings.Split(string(SmallSVG(c, 32, 12)), "\n")
		lines := strings.Split(string(got), "\n")
		if len(lines) != len(want) {
			t.Fatalf("%s: %s\nexpected\n%s", what, got, strings.Join(want, "\n"))
		}
		differ := 0
		for i := range lines {
			if lines[i] == want[i] {
				continue
			}
			differ++
			if !strings.Contains(lines[i], `stroke-width="0.22"`) || len(lines[i]) > len(want[i]) {
				t.Errorf("%s: %s\nexpected\n%s", what, lines[i], want[i])
			}
		}
		if differ > 1 {
			t.Errorf("%s: %d lines differ", what, differ)
		}
	}
}

// What no record gives is refused, and no bytes make a figure fail in another way.
func FuzzSketch(f *testing.F) {
	s, _ := SketchOf(invented(f, 216, nil))
	f.Add(s.Curve, s.Seconds, s.Top)
	f.Add("", 2400.0, 150.0)
	f.Add("AAA", 2400.0, 150.0)
	f.Add(base64.StdEncoding.EncodeToString(binary.AppendVarint([]byte{1}, math.MaxInt64)), 2400.0, 150.0)
	f.Add("AdAD", math.Inf(1), math.NaN())
	f.Fuzz(func(t *testing.T, curve string, seconds, top float64) {
		c := Sketched{Sketch: Sketch{Seconds: seconds, Top: top, Curve: curve}, ID: "S1-x", Kind: cycle.Load}
		svg, err := SketchSVG(c, 32, 12)
		if err != nil {
			return
		}
		at, values, err := c.points()
		if err != nil || len(at) != len(values) || strings.Contains(string(svg), "NaN") || strings.Contains(string(svg), "Inf") {
			t.Errorf("%v, %s", err, svg)
		}
		for i := 1; i < len(at); i++ {
			if at[i] < at[i-1] || at[i] > seconds {
				t.Errorf("at %v after %v, of %v", at[i], at[i-1], seconds)
			}
		}
	})
}

func BenchmarkSketch(b *testing.B) {
	c := invented(b, 216, nil)
	b.Run("thin", func(b *testing.B) {
		for b.Loop() {
			SketchOf(c)
		}
	})
	s, _ := SketchOf(c)
	b.Run("draw", func(b *testing.B) {
		for b.Loop() {
			if _, err := SketchSVG(Sketched{Sketch: s, ID: "S1-x"}, 32, 12); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// A curve that could not be of a record is refused, not drawn.
func TestSketchRefused(t *testing.T) {
	curve := func(numbers ...int64) string { // in pairs
		var raw []byte
		for i, n := range numbers {
			if i%2 == 0 {
				raw = binary.AppendUvarint(raw, uint64(n))
			} else {
				raw = binary.AppendVarint(raw, n)
			}
		}
		return base64.StdEncoding.EncodeToString(raw)
	}
	good := Sketch{Seconds: 2400, Top: 150, Curve: curve(1, 200, 2000, 0)}
	draw := func(s Sketch) error {
		_, err := SketchSVG(Sketched{Sketch: s, ID: "S1-x", Kind: cycle.Load}, 32, 12)
		return err
	}
	if err := draw(good); err != nil {
		t.Fatal(err)
	}
	for why, change := range map[string]func(*Sketch){
		"no curve":                        func(s *Sketch) { s.Curve = "" },
		"no base64":                       func(s *Sketch) { s.Curve = "?" },
		"a point cut":                     func(s *Sketch) { s.Curve = curve(1, 200, 2000) },
		"does not begin":                  func(s *Sketch) { s.Curve = curve(0, 200, 2000, 0) },
		"goes on behind the axis":         func(s *Sketch) { s.Curve = curve(1, 200, 2002, 0) },
		"goes on behind it in two steps":  func(s *Sketch) { s.Curve = curve(1, 200, 1200, 0, 1200, 0) },
		"hotter than anything":            func(s *Sketch) { s.Curve = curve(1, 2_000_000) },
		"no time":                         func(s *Sketch) { s.Seconds = 0 },
		"an axis that ends at its bottom": func(s *Sketch) { s.Top = 20 },
	} {
		bad := good
		change(&bad)
		if draw(bad) == nil {
			t.Errorf("%s: it was drawn", why)
		}
	}
}
