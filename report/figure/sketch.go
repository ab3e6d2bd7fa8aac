package figure

import (
	"encoding/base64"
	"encoding/binary"
	"errors"
	"math"
	"slices"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// Sketch is what the small figure of a cycle is drawn from where its record is not at
// hand: kept with a verdict, it spares reading the export again.
//
// Curve is base64 (RFC 4648, 4) of at most 60 points in the order of time. Each is two numbers in the form of encoding/binary: an
// unsigned one, twice the way from the point before in thousandths of the time axis,
// plus 1 where the curve begins or begins anew; then a signed one, what the value is more
// than that of the point before in tenths. Both count from 0.
type Sketch struct {
	Seconds   float64 // length of the time axis, s, at least 60
	Top       float64 // upper end of the axis of temperatures, °C; it begins at 20
	Low, High float64 // ends of the band, °C; both 0: no band is known
	Curve     string  // reference temperature in °C; of an air leakage test the pressure in kPa
}

const (
	mostSketched = 60   // points of a curve (ours)
	mostRuns     = 25   // stretches of a broken curve: each has two ends
	sketchSteps  = 1000 // of the time axis
	sketchFine   = 0.01 // mm: nearer than that to the curve no point is added
	sketchColumn = 0.05 // mm, of which four readings are looked at
)

// The size in mm by which it is decided which points count. Ours: that of lists.
const sketchWide, sketchHigh = 30.0, 10.0

// SketchOf thins a cycle. The hottest and the coldest reading of the curve stay, those of
// the hold too, and then what the drawn line would be furthest from. False where there is
// nothing to draw, or the record is broken so often that a sketch would not be it.
func SketchOf(c Cycle) (Sketch, bool) {
	r := c.Record.Readings()
	d := &drawing{Cycle: c, seconds: r.Seconds, gap: widest(r.Seconds)}
	d.temperatures(r.Channels)
	out := Sketch{Seconds: d.all().to, Top: d.ceiling()}
	if lo, hi, ok := d.band(); ok {
		out.Low, out.High = lo, hi
	}
	values, lo, hi := d.reference(), 20.0, out.Top
	if c.Verdict.Kind == cycle.LeakTest {
		values, lo, hi = nil, 0, leakTop
		if r.Pressure != nil {
			values = r.Pressure.KPa
		}
		if len(c.Absolute) == len(r.Seconds) {
			values = c.Absolute
		}
	}
	if values == nil {
		return out, false
	}
	w, held := d.hold()
	t := thinner{seconds: d.seconds, values: values, x: sketchWide / out.Seconds, y: sketchHigh / (hi - lo)}
	runs := t.runs(d.gap)
	if len(runs) == 0 || len(runs) > mostRuns {
		return out, false
	}
	for _, run := range runs {
		t.keep = append(t.keep, run[0], run[len(run)-1])
	}
	t.extremes(runs, d.all())
	if held {
		t.extremes(runs, w)
	}
	t.fill(runs)
	out.Curve = t.packed(runs, out.Seconds)
	return out, true
}

// thinner chooses readings of a curve.
type thinner struct {
	seconds, values []float64
	x, y            float64 // mm a second and mm a unit
	keep            []int   // readings chosen
}

// runs are the readings of each unbroken stretch of at least two, of each narrow
// column the first, lowest, highest and last.
func (t *thinner) runs(gap float64) [][]int {
	var out [][]int
	for i := 0; i < len(t.values); {
		j := i
		for j < len(t.values) && !math.IsNaN(t.values[j]) && (j == i || t.seconds[j]-t.seconds[j-1] <= gap) {
			j++
		}
		if j-i > 1 {
			out = append(out, t.columns(i, j))
		}
		i = max(j, i+1)
	}
	return out
}

func (t *thinner) columns(i, end int) []int {
	var out []int
	for i < end {
		column := math.Floor(t.seconds[i] * t.x / sketchColumn)
		lo, hi, j := i, i, i
		for ; j < end && math.Floor(t.seconds[j]*t.x/sketchColumn) == column; j++ {
			if t.values[j] < t.values[lo] {
				lo = j
			}
			if t.values[j] > t.values[hi] {
				hi = j
			}
		}
		for _, k := range [...]int{i, min(lo, hi), max(lo, hi), j - 1} {
			if len(out) == 0 || out[len(out)-1] != k {
				out = append(out, k)
			}
		}
		i = j
	}
	return out
}

// extremes chooses the lowest and the highest reading in a window, the first of equals.
// Readings within it count, whether or not they stand for their column.
func (t *thinner) extremes(runs [][]int, w window) {
	lo, hi := -1, -1
	for _, run := range runs {
		for i := run[0]; i <= run[len(run)-1]; i++ {
			if t.seconds[i] < w.from || t.seconds[i] > w.to {
				continue
			}
			if lo < 0 || t.values[i] < t.values[lo] {
				lo = i
			}
			if hi < 0 || t.values[i] > t.values[hi] {
				hi = i
			}
		}
	}
	if lo >= 0 {
		t.keep = append(t.keep, lo, hi)
	}
}

// part is a line between two chosen readings, and the reading it is furthest from.
type part struct {
	run, from, to int
	far           int
	off           float64 // mm
}

// fill chooses more readings: each time the one that the line drawn so far is furthest
// from (Ramer, 1972; Douglas and Peucker, 1973), until all are near or the points are used up.
func (t *thinner) fill(runs [][]int) {
	slices.Sort(t.keep)
	t.keep = slices.Compact(t.keep)
	var parts []part
	for r, run := range runs {
		from := run[0]
		for _, k := range t.keep {
			if k > from && k <= run[len(run)-1] {
				parts = append(parts, t.part(runs, r, from, k))
				from = k
			}
		}
	}
	for len(t.keep) < mostSketched {
		worst := 0
		for i, p := range parts {
			if p.off > parts[worst].off {
				worst = i
			}
		}
		p := parts[worst]
		if p.off <= sketchFine {
			break
		}
		t.keep = append(t.keep, p.far)
		parts[worst] = t.part(runs, p.run, p.from, p.far)
		parts = append(parts, t.part(runs, p.run, p.far, p.to))
	}
	slices.Sort(t.keep)
}

// part measures how far the readings between two lie from the straight line.
func (t *thinner) part(runs [][]int, run, from, to int) part {
	p := part{run: run, from: from, to: to}
	ax, ay := t.seconds[from]*t.x, t.values[from]*t.y
	dx, dy := t.seconds[to]*t.x-ax, t.values[to]*t.y-ay
	length := math.Hypot(dx, dy)
	i, _ := slices.BinarySearch(runs[run], from+1)
	for ; i < len(runs[run]) && runs[run][i] < to; i++ {
		k := runs[run][i]
		off := math.Abs((t.seconds[k]*t.x-ax)*dy-(t.values[k]*t.y-ay)*dx) / length
		if off > p.off {
			p.far, p.off = k, off
		}
	}
	return p
}

// packed writes the chosen readings as [Sketch] says.
func (t *thinner) packed(runs [][]int, seconds float64) string {
	var raw []byte
	var x, y int64
	run := 0
	for i, k := range t.keep {
		fresh := uint64(0)
		for k > runs[run][len(runs[run])-1] {
			run++
		}
		if i == 0 || k == runs[run][0] {
			fresh = 1
		}
		px, py := int64(math.Round(t.seconds[k]/seconds*sketchSteps)), int64(math.Round(t.values[k]*10))
		raw = binary.AppendUvarint(raw, uint64(px-x)<<1|fresh)
		raw = binary.AppendVarint(raw, py-y)
		x, y = px, py
	}
	return base64.StdEncoding.EncodeToString(raw)
}

// errSketch is what a curve is that [SketchOf] did not write.
var errSketch = errors.New("the sketch of the curve cannot be read")

// points reads the curve: time in s, value, NaN between its stretches.
func (s Sketch) points() (seconds, values []float64, err error) {
	raw, err := base64.StdEncoding.DecodeString(s.Curve)
	if err != nil || !(s.Seconds >= 60) || math.IsInf(s.Seconds, 0) || len(raw) == 0 {
		return nil, nil, errSketch
	}
	var x, y int64
	for first := true; len(raw) > 0; first = false {
		step, n := binary.Uvarint(raw)
		if n <= 0 || step>>1 > sketchSteps {
			return nil, nil, errSketch
		}
		raw = raw[n:]
		more, n := binary.Varint(raw)
		if n <= 0 {
			return nil, nil, errSketch
		}
		raw = raw[n:]
		x, y = x+int64(step>>1), y+more
		if x > sketchSteps || first && step&1 == 0 || y < -mostTenths || y > mostTenths {
			return nil, nil, errSketch
		}
		t := float64(x) / sketchSteps * s.Seconds
		if step&1 == 1 && !first {
			seconds, values = append(seconds, t), append(values, math.NaN())
		}
		seconds, values = append(seconds, t), append(values, float64(y)/10)
	}
	return seconds, values, nil
}

// mostTenths bounds what is read (ours): no temperature and no pressure is beyond.
const mostTenths = 1e6

// Sketched is a cycle whose small figure is drawn from a sketch.
type Sketched struct {
	Sketch
	ID               string // of the cycle, unique on a page
	Name, Outcome    string // S1 · 1042, conforms
	Kind             cycle.Kind
	HoldFrom, HoldTo validate.Figure // as in [validate.Measured]
}

// SketchSVG is [SmallSVG] of a cycle whose record is not at hand: the same figure, each
// of its points within what [Sketch] rounds to.
//
// Error: a curve that [SketchOf] did not write.
func SketchSVG(c Sketched, w, h float64) ([]byte, error) {
	m, d, err := c.small()
	if err != nil {
		return nil, err
	}
	s := openAs("hp-small-"+identifier(c.ID), c.Name+", "+c.Outcome, "", "", w, h)
	m.draw(s, d, Box{0.5, 0.5, w - 1, h - 1})
	return s.close(), nil
}

// small is what the small figure of a sketch shows.
func (c Sketched) small() (smallest, *drawing, error) {
	seconds, values, err := c.points()
	if err != nil || !(c.Top > 20) || math.IsInf(c.Top, 0) {
		return smallest{}, nil, errSketch
	}
	v := validate.Verdict{Kind: c.Kind, Measured: validate.Measured{HoldFrom: c.HoldFrom, HoldTo: c.HoldTo}}
	d := &drawing{Cycle: Cycle{Verdict: v}, seconds: seconds, gap: math.Inf(1)}
	return smallest{time: window{0, c.Seconds}, values: values, top: c.Top, low: c.Low, high: c.High}, d, nil
}
