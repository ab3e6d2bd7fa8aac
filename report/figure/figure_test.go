package figure

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// paper is a surface that remembers what was put on it.
type paper struct {
	lines  []Stroke
	points [][]Point
	words  []string
	places []Point
	types  []Type
	boxes  []Ink
}

func (p *paper) Polyline(pts []Point, s Stroke) {
	p.lines = append(p.lines, s)
	p.points = append(p.points, pts)
}
func (p *paper) Rectangle(_ Box, fill Ink) { p.boxes = append(p.boxes, fill) }
func (p *paper) Text(at Point, text string, t Type) {
	p.words = append(p.words, text)
	p.places = append(p.places, at)
	p.types = append(p.types, t)
}

func (p *paper) says(text string) bool {
	for _, w := range p.words {
		if w == text {
			return true
		}
	}
	return false
}

func drawn(c Cycle) *paper {
	p := &paper{}
	Draw(p, c, Box{0, 0, 170, 72})
	return p
}

// The figure states on itself: both ends of the band, the hold and what it needs,
// the name of each line at its end, a number for each finding that has a place.
func TestWhatTheFigureSays(t *testing.T) {
	for _, want := range []struct {
		what  string
		c     Cycle
		words []string
		never []string
	}{
		{"a load that conforms", invented(t, 216, nil),
			[]string{"134", "137", "134–137", "3 min 45 s", "3 min 45 s, needs 3 min", "chamber", "load", "jacket", "pressure", "steam from pressure", "steam", "°C", "kPa abs"},
			[]string{"1", "2"}},
		{"a load held too short", invented(t, 150, nil),
			[]string{"2 min 39 s, needs 3 min", "1", "2"}, nil},
		{"a leak test", leakTest(t, 0.0641), // rounded up: a rate never flatters
			[]string{"10 min: 0.065 kPa/min", "allowed", "pressure"}, []string{"°C", "134"}},
	} {
		p := drawn(want.c)
		for _, w := range want.words {
			if !p.says(w) {
				t.Errorf("%s: %q is not on the figure; on it are %q", want.what, w, p.words)
			}
		}
		for _, w := range want.never {
			if p.says(w) {
				t.Errorf("%s: %q is on the figure and should not be", want.what, w)
			}
		}
	}
}

// Without an absolute pressure there is no steam temperature, and the pressure is
// drawn in the unit it was recorded in.
func TestNoSteamWithoutAbsolutePressure(t *testing.T) {
	c := invented(t, 216, func(r *cycle.Readings) { r.Pressure.Reference = cycle.Gauge })
	p := drawn(c)
	if p.says("steam") || !p.says("kPa gauge") {
		t.Errorf("gauge pressure without the surrounding air: %q", p.words)
	}
	c = invented(t, 216, func(r *cycle.Readings) { r.Pressure = nil })
	if p := drawn(c); p.says("pressure") || p.says("steam") || !p.says("chamber") {
		t.Errorf("without pressure: %q", p.words)
	}
	if w := Words(c); !strings.Contains(w, "No pressure was recorded.") {
		t.Errorf("the words do not say that there is no pressure: %s", w)
	}
}

// In vacuum a saturation temperature means nothing, so no dot stands there.
func TestSteamIsNotDrawnInVacuum(t *testing.T) {
	c := invented(t, 216, nil)
	d := prepare(c)
	vacuum := 0
	for i, p := range c.Absolute {
		v := d.vapour.values[i]
		if p <= 110 != math.IsNaN(v) {
			t.Fatalf("at %g kPa the steam temperature is %g", p, v)
		}
		if p <= 110 {
			vacuum++
		}
	}
	if vacuum == 0 {
		t.Fatal("the invented cycle has no vacuum")
	}
}

// A peak of one reading survives thinning, up and down, wherever it lies.
func TestThinningKeepsPeaks(t *testing.T) {
	for _, at := range []int{0, 1, 333, 334, 500, 998, 999} {
		for _, by := range []float64{-7, 7} {
			run := make([]Point, 1000)
			for i := range run {
				run[i] = Point{float64(i) * 0.03, 20 + 0.01*math.Sin(float64(i))}
			}
			run[at].Y += by
			found := false
			kept := thinned(run)
			for i, q := range kept {
				found = found || q == run[at]
				if i > 0 && q.X < kept[i-1].X {
					t.Fatalf("point %d runs backwards", i)
				}
			}
			if !found {
				t.Errorf("a peak of %g mm at reading %d is lost", by, at)
			}
			if kept[0] != run[0] || kept[len(kept)-1] != run[len(run)-1] {
				t.Errorf("an end of the line is lost")
			}
			if columns := 30 / pixel; len(kept) > int(4*columns)+4 {
				t.Errorf("%d points kept for %g columns", len(kept), columns)
			}
		}
	}
}

// No line crosses a hole in the record, and a missing reading breaks it.
func TestHolesStayOpen(t *testing.T) {
	hole := invented(t, 216, func(r *cycle.Readings) { r.Channels[0].Celsius[800] = cycle.Celsius(math.NaN()) })
	d := prepare(hole)
	p := panel{Box{0, 0, 100, 40}, d.all(), 0, 150}
	if n := len(p.runs(d, d.lines[1].values)); n != 2 {
		t.Errorf("a missing reading leaves %d stretches, want 2", n)
	}
	late := invented(t, 216, func(r *cycle.Readings) {
		for i := 801; i < len(r.Seconds); i++ {
			r.Seconds[i] += 30
		}
	})
	d = prepare(late)
	p.time = d.all()
	if n := len(p.runs(d, d.lines[1].values)); n != 2 {
		t.Errorf("30 s without readings leave %d stretches, want 2", n)
	}
}

// Everything stays on the figure, and what is cut ends on the edge.
func TestNothingLeavesTheFigure(t *testing.T) {
	cases := []Cycle{invented(t, 216, nil), invented(t, 150, nil), invented(t, 5, nil), leakTest(t, 0.064), leakTest(t, 4),
		invented(t, 216, func(r *cycle.Readings) { // never hot
			for i := range r.Channels[0].Celsius {
				r.Channels[0].Celsius[i] -= 40
			}
		}),
		invented(t, 216, func(r *cycle.Readings) { r.Channels[0].Celsius[900] = 1e9 }),
		invented(t, 216, func(r *cycle.Readings) { r.Channels = nil }),
	}
	for n, c := range cases {
		for _, b := range []Box{{0, 0, 170, 72}, {0, 0, 90, 110}} {
			p := &paper{}
			Draw(p, c, b)
			p.within(t, "case "+strconv.Itoa(n), b)
		}
	}
}

// Twelve lines that end at one temperature have names that do not touch; the ones
// without room are counted.
func TestNamesDoNotCollide(t *testing.T) {
	c := invented(t, 216, func(r *cycle.Readings) {
		for i := range 30 {
			k := r.Channels[0]
			k.Role, k.Heading, k.Column = cycle.LoadProbe, "probe", 10+i
			r.Channels = append(r.Channels, k)
		}
	})
	p := drawn(c)
	type place struct{ x, y float64 }
	var names []place
	counted := false
	for i, w := range p.words {
		counted = counted || strings.HasPrefix(w, "and ")
		if p.types[i].Anchor == Start && (strings.HasPrefix(w, "load") || w == "chamber" || w == "jacket" || strings.HasPrefix(w, "and ")) {
			names = append(names, place{p.places[i].X, p.places[i].Y})
		}
	}
	if len(names) < 10 || !counted {
		t.Fatalf("%d names, rest counted: %t", len(names), counted)
	}
	for i, a := range names {
		for _, b := range names[i+1:] {
			if math.Abs(a.x-b.x) < 12 && math.Abs(a.y-b.y) < small {
				t.Errorf("names at %v and %v touch", a, b)
			}
		}
	}
}

// Names that want one place at the upper edge move down, at the lower edge up.
func TestSpread(t *testing.T) {
	for _, y := range []float64{0, 20, 40} {
		tags := make([]tag, 4)
		for i := range tags {
			tags[i] = tag{at: Point{0, y}, text: strconv.Itoa(i)}
		}
		tags = spread(tags, 0, 40)
		for i, a := range tags {
			if a.y < -1e-9 || a.y > 40 || i > 0 && a.y-tags[i-1].y < tagHeight-1e-9 {
				t.Errorf("ends at %g: name %d stands at %g", y, i, a.y)
			}
		}
	}
}

// Only a finding that needs a person and has a place gets a flag.
func TestFlags(t *testing.T) {
	at := validate.Known(12)
	v := validate.Verdict{Findings: []validate.Finding{
		{Outcome: validate.Conforms, At: at}, {Outcome: validate.Failed, At: at}, {Outcome: validate.NotAssessed, At: at},
		{Outcome: validate.Borderline}, {Outcome: validate.Borderline, At: at}, {Outcome: validate.NotProven, At: at}}}
	if got := Flags(v); !slices.Equal(got, []int{0, 1, 0, 0, 2, 3}) {
		t.Errorf("flags %v", got)
	}
}

// Flags at about one time share a pole, their numbers in order, failed before all.
func TestFlagsTogether(t *testing.T) {
	c := invented(t, 216, nil)
	for i, at := range []float64{705, 700, 1500} {
		c.Verdict.Findings[0].Outcome, c.Verdict.Findings[0].At = validate.Failed, validate.Known(705)
		if i > 0 {
			c.Verdict.Findings = append(c.Verdict.Findings, validate.Finding{Outcome: validate.Borderline, At: validate.Known(at)})
		}
	}
	d := prepare(c)
	got := d.flagged(panel{Box{0, 0, 80, 20}, d.all(), 0, 150})
	if len(got) != 2 || got[0].text() != "1, 2" || got[0].ink != InkFailed || got[1].text() != "3" || got[1].ink != InkBorder {
		t.Errorf("flags %+v", got)
	}
}

func TestLengthsOfThePicture(t *testing.T) {
	for v, want := range map[float64]string{0: "0.00", -0.001: "0.00", 1.005: "1.00", -2: "-2.00", 170: "170.00"} {
		if got := num(v); got != want {
			t.Errorf("%g is written %s, want %s", v, got, want)
		}
	}
}

// The picture says where its overview stands, and for which seconds.
func TestDataForThePointer(t *testing.T) {
	c := invented(t, 216, nil)
	if !bytes.Contains(SVG(c, 170, 72), []byte(`data-plot="12.00 6.50 74.70 61.00" data-from="0.00" data-to="1816.00"`)) {
		t.Errorf("%s", SVG(c, 170, 72)[:400])
	}
}

// Styles that mean different things differ by their dashes and not by colour alone.
func TestStylesDifferInGrey(t *testing.T) {
	key := func(s Stroke) string {
		k := strconv.FormatBool(s.Round)
		for _, d := range s.Dash {
			k += " " + num(d)
		}
		return k
	}
	seen := map[string]string{}
	for name, s := range map[string]Stroke{"chamber": solid, "load": dashes(0), "second load": dashes(1), "third load": dashes(2), "drain": chain, "steam": dotted, "allowed leak": allowed} {
		if other, taken := seen[key(s)]; taken {
			t.Errorf("%s and %s have the same dashes", name, other)
		}
		seen[key(s)] = name
	}
}

// The text alternative states kind, outcome, band, hold and every flag.
func TestWords(t *testing.T) {
	good := Words(invented(t, 216, nil))
	for _, w := range []string{"Load, programme 134", "2 Nov 2026 08:14:03", "Outcome: conforms.", "The band is 134 to 137 °C.", "Held 3 min 45 s, needs 3 min, from 08:25:34 to 08:29:19.", "jacket, chamber, load"} {
		if !strings.Contains(good, w) {
			t.Errorf("%q is not in: %s", w, good)
		}
	}
	bad := Words(invented(t, 150, nil))
	if !strings.Contains(bad, "Outcome: failed.") || !strings.Contains(bad, "Flag 1 at 08:28:13, failed: held 134 to 137 °C for 2 min 40 s, needs 3 min.") {
		t.Errorf("words of the failed load: %s", bad)
	}
	leak := Words(leakTest(t, 0.0641))
	if !strings.Contains(leak, "Pressure rose 0.065 kPa/min over 10 min") || !strings.Contains(leak, "Allowed: 0.13 kPa/min.") {
		t.Errorf("words of the leak test: %s", leak)
	}
	zero := invented(t, 216, nil)
	zero.Verdict = validate.Verdict{}
	if w := Words(zero); !strings.Contains(w, "Outcome: not proven.") || !strings.Contains(w, "No hold was measured.") {
		t.Errorf("a cycle without a verdict: %s", w)
	}
}

// Rounding never flatters: a hold goes down, a leak rate up.
func TestRounding(t *testing.T) {
	for s, want := range map[float64]string{179.96: "2 min 59 s", 180: "3 min", 59.99: "59 s", 0: "0 s", 214.6: "3 min 34 s", 3600: "60 min"} {
		if got := Duration(s); got != want {
			t.Errorf("%g s is written %q, want %q", s, got, want)
		}
	}
	for r, want := range map[float64]string{0.1304: "0.131", 0.13: "0.130", 0.064: "0.064", 0: "0.000"} {
		if got := Rate(r); got != want {
			t.Errorf("%g kPa/min is written %q, want %q", r, got, want)
		}
	}
}

// The marks differ in shape, so that each can be told without colour.
func TestMarks(t *testing.T) {
	shapes := map[string]validate.Outcome{}
	for _, o := range []validate.Outcome{validate.NotProven, validate.Conforms, validate.Borderline, validate.Failed, validate.NotAssessed} {
		p := &paper{}
		Mark(p, o, Point{5, 5}, 4)
		key := ""
		for i, pts := range p.points {
			key += num(p.lines[i].Width) + ":"
			for _, q := range pts {
				if q.X < 2.9 || q.X > 7.1 || q.Y < 2.9 || q.Y > 7.1 {
					t.Errorf("%s: %v is outside the mark", o, q)
				}
				key += num(q.X) + "," + num(q.Y) + " "
			}
		}
		if other, taken := shapes[key]; taken {
			t.Errorf("%s and %s have one mark", o, other)
		}
		shapes[key] = o
	}
	p := &paper{}
	Mark(p, validate.Outcome(99), Point{5, 5}, 4)
	if len(p.points) != 1 || p.lines[0].Width > 1 {
		t.Error("an outcome that is none has not the empty ring")
	}
}

func BenchmarkSVG(b *testing.B) {
	c := invented(b, 216, nil)
	for b.Loop() {
		SVG(c, 170, 72)
	}
}
