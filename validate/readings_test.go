package validate

import (
	"math"
	"slices"
	"testing"

	"holdproof/parse/cycle"
)

func celsius(vs ...float64) []cycle.Celsius {
	var out []cycle.Celsius
	for _, v := range vs {
		out = append(out, cycle.Celsius(v))
	}
	return out
}

// taken is what read keeps of a chamber of so many temperatures every step seconds.
func taken(step float64, chamber, kpa []float64, ref cycle.Reference, site Site) *readings {
	raw := cycle.Readings{Channels: []cycle.Channel{{Role: cycle.Chamber, Heading: "chamber", Celsius: celsius(chamber...)}}}
	for i := range chamber {
		raw.Seconds = append(raw.Seconds, step*float64(i))
		raw.Lines = append(raw.Lines, i+2)
	}
	if kpa != nil {
		raw.Pressure = &cycle.Pressure{Reference: ref, Heading: "pressure", KPa: kpa}
	}
	cols := sortColumns(raw)
	return read(raw, cols, scaleOf(raw, cols, site), new(workspace))
}

func TestReadingsThatCannotBeOne(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		why     string
		chamber []float64
		kpa     []float64
		ref     cycle.Reference
		site    Site
		want    []int // lines removed
	}{
		{"the ends are inside", []float64{-20, 200, 199.5}, []float64{0, 600, 1}, cycle.Absolute, Site{}, nil},
		{"beyond the ends", []float64{-20.1, 200.1, 100}, []float64{0, 600, 1}, cycle.Absolute, Site{}, []int{2, 3}},
		{"no number", []float64{nan, 20, 20}, []float64{100, nan, 100}, cycle.Absolute, Site{}, []int{2, 3}},
		{"infinite", []float64{math.Inf(1), math.Inf(-1), 20}, []float64{100, 100, math.Inf(1)}, cycle.Absolute, Site{}, []int{2, 3, 4}},
		{"pressure beyond the ends", []float64{20, 20, 20}, []float64{-0.1, 600.1, 100}, cycle.Absolute, Site{}, []int{2, 3}},
		{"gauge", []float64{20, 20, 20}, []float64{-101, -101.1, 500}, cycle.Gauge, Site{}, []int{3}},
		{"gauge in air of 95 kPa", []float64{20, 20, 20}, []float64{-95.1, -94, 505.1}, cycle.Gauge, Site{Ambient: Known(95)}, []int{2, 4}},
		{"both cells of a row", []float64{nan, 20, 20}, []float64{nan, 100, 100}, cycle.Absolute, Site{}, []int{2}},
	} {
		r := taken(1, c.chamber, c.kpa, c.ref, c.site)
		var lines []int
		for _, x := range r.removed {
			lines = append(lines, x.line)
		}
		if !slices.Equal(lines, c.want) || len(r.t)+len(lines) != len(c.chamber) || len(r.lines) != len(r.t) {
			t.Errorf("%s: lines %v removed, want %v", c.why, lines, c.want)
		}
	}
}

func TestSpikes(t *testing.T) {
	for _, c := range []struct {
		why     string
		step    float64
		chamber []float64
		want    []int // readings removed
	}{
		{"1 K up", 1, []float64{134, 134.1, 135.1, 134.1, 134}, []int{2}},
		{"1 K down", 1, []float64{134, 134.1, 133.1, 134.1, 134}, []int{2}},
		{"0.9 K", 1, []float64{134, 134.1, 135, 134.1, 134}, nil},
		{"off one neighbour by less", 1, []float64{134, 134.1, 135.3, 134.6, 134.5}, nil},
		{"to different sides", 1, []float64{134, 134.1, 135.6, 137, 137.1}, nil},
		{"neighbours 0.5 K apart", 1, []float64{134, 134.1, 136, 134.6, 134.6}, []int{2}},
		{"neighbours 0.6 K apart", 1, []float64{134, 134.1, 136, 134.7, 134.7}, nil},
		{"5 s to either side", 5, []float64{134, 134.1, 136, 134.1, 134}, []int{2}},
		{"5.1 s to either side", 5.1, []float64{134, 134.1, 136, 134.1, 134}, nil},
		{"the first and the last are none", 1, []float64{136, 134.1, 134, 134.1, 136}, nil},
		{"less than two steps of 1 K", 1, []float64{134, 134, 135, 134, 134}, nil},
		{"two steps of 1 K", 1, []float64{134, 135, 135, 137, 135, 135}, []int{3}},
		{"two readings long", 1, []float64{134, 134.1, 136, 136, 134.1, 134}, nil},
	} {
		r := taken(c.step, c.chamber, nil, cycle.Absolute, Site{})
		var got []int
		for _, x := range r.removed {
			if !x.spike {
				t.Errorf("%s: line %d is no spike", c.why, x.line)
			}
			got = append(got, x.line-2)
		}
		if !slices.Equal(got, c.want) || len(r.ref) != len(r.t) {
			t.Errorf("%s: readings %v removed, want %v", c.why, got, c.want)
		}
	}
}

func TestRecordsAreNotChanged(t *testing.T) {
	seconds, kpa := []float64{0, 1, 2, 3, 4}, []float64{100, 101, 102, 103, 104}
	raw := cycle.Readings{Seconds: seconds, Lines: []int{2, 3, 4, 5, 6},
		Channels: []cycle.Channel{{Role: cycle.Chamber, Celsius: celsius(100, 100.1, 104, 100, math.NaN())}},
		Pressure: &cycle.Pressure{Reference: cycle.Absolute, KPa: kpa}}
	cols := sortColumns(raw)
	r := read(raw, cols, scaleOf(raw, cols, Site{}), new(workspace))
	if len(r.t) != 3 || !slices.Equal(seconds, []float64{0, 1, 2, 3, 4}) || !slices.Equal(kpa, []float64{100, 101, 102, 103, 104}) || !slices.Equal(raw.Lines, []int{2, 3, 4, 5, 6}) {
		t.Errorf("%d readings are left, the record became %v %v %v", len(r.t), seconds, kpa, raw.Lines)
	}
}

func TestStep(t *testing.T) {
	for _, c := range []struct {
		why    string
		values []float64
		want   float64
	}{
		{"nothing", nil, 0},
		{"one value", []float64{5, 5, 5}, 0},
		{"between neighbours", []float64{1, 3, 2.5}, 0.5},
		{"between values far apart in time", []float64{1, 3, 1.25, 3}, 0.25},
		{"what a conversion leaves is no step", []float64{134, 134 + 1e-11, 135}, 1},
	} {
		if got := step(c.values, 0.1); math.Abs(got-c.want) > 1e-10 {
			t.Errorf("%s: got %v, want %v", c.why, got, c.want)
		}
		if got := smallestStep(c.values); math.Abs(got-c.want) > 1e-10 {
			t.Errorf("%s, in full: got %v, want %v", c.why, got, c.want)
		}
	}
}

// A channel that is written in large steps is less sure; its difference from another is not.
func TestUncertainty(t *testing.T) {
	certified := Machine{Uncertainty: Uncertainty{Temperature: Known(0.3), Pressure: Known(2)}}
	for _, c := range []struct {
		why           string
		machine       Machine
		step          float64
		scale         pressureScale
		uT, uP, uPair float64
	}{
		{"without a certificate", Machine{}, 0.1, pressureScale{reference: cycle.Absolute}, 0.5, 6.4, 0.5 * math.Sqrt2},
		{"0 is no uncertainty", Machine{Uncertainty: Uncertainty{Temperature: Known(0), Pressure: Known(-1)}}, 0.1, pressureScale{reference: cycle.Absolute}, 0.5, 6.4, 0.5 * math.Sqrt2},
		{"with one", certified, 0.1, pressureScale{reference: cycle.Absolute}, 0.3, 2, 0.3 * math.Sqrt2},
		{"steps of 0.2 K", certified, 0.2, pressureScale{reference: cycle.Absolute}, 0.3, 2, 0.3 * math.Sqrt2},
		{"steps of 0.3 K", certified, 0.3, pressureScale{reference: cycle.Absolute}, math.Sqrt(0.09 + 0.03), 2, 0.3 * math.Sqrt2},
		{"steps of 1 K", certified, 1, pressureScale{reference: cycle.Absolute}, math.Sqrt(0.09 + 1.0/3), 2, 0.3 * math.Sqrt2},
		{"gauge with an altitude", certified, 0.1, pressureScale{reference: cycle.Gauge, ambientU: 3}, 0.3, math.Sqrt(13), 0.3 * math.Sqrt2},
		{"gauge with a pressure", certified, 0.1, pressureScale{reference: cycle.Gauge, ambientU: 1}, 0.3, math.Sqrt(5), 0.3 * math.Sqrt2},
	} {
		s := &subject{rules: Rules{Machine: c.machine}, scale: c.scale, readings: &readings{judged: []column{{step: 0.1}, {step: c.step}}}}
		s.uncertainties()
		if math.Abs(s.uT-c.uT) > 1e-12 || math.Abs(s.uP-c.uP) > 1e-12 || math.Abs(s.uSpread-c.uPair) > 1e-12 {
			t.Errorf("%s: got %v K, %v kPa, %v K; want %v, %v, %v", c.why, s.uT, s.uP, s.uSpread, c.uT, c.uP, c.uPair)
		}
	}
}

func TestGapLimit(t *testing.T) {
	for _, c := range []struct{ m, hold, want float64 }{
		{0.5, 180, 2}, {1, 180, 3}, {5, 180, 15}, {10, 180, 18}, {20, 180, 30}, {10, 900, 30}, {10, 600, 30}, {60, 600, 90},
	} {
		if got := gapLimit(c.m, c.hold); got != c.want {
			t.Errorf("every %v s, hold %v s: got %v, want %v", c.m, c.hold, got, c.want)
		}
	}
}

func TestColumns(t *testing.T) {
	nan := math.NaN()
	a := celsius(20, 100, 134, 135, 100)
	b := celsius(20, 99, 133, 134, 99)
	dead := celsius(nan, 999.9, nan, 850, nan)
	channel := func(role cycle.Role, c []cycle.Celsius) cycle.Channel { return cycle.Channel{Role: role, Celsius: c} }
	for _, c := range []struct {
		why                  string
		channels             []cycle.Channel
		judged               []int
		ref                  int // a channel, -1 for none
		unknown, dead, twins []int
	}{
		{"chamber and load", []cycle.Channel{channel(cycle.LoadProbe, b), channel(cycle.Chamber, a)}, []int{0, 1}, 1, nil, nil, nil},
		{"the first chamber", []cycle.Channel{channel(cycle.Drain, b), channel(cycle.Chamber, a), channel(cycle.Chamber, b)}, []int{0, 1, 2}, 1, nil, nil, nil},
		{"a drain for want of a chamber", []cycle.Channel{channel(cycle.LoadProbe, a), channel(cycle.Drain, b)}, []int{0, 1}, 1, nil, nil, nil},
		{"loads only", []cycle.Channel{channel(cycle.LoadProbe, a), channel(cycle.LoadProbe, b)}, []int{0, 1}, -1, nil, nil, nil},
		{"the only column is the chamber", []cycle.Channel{channel(cycle.Unknown, a)}, []int{0}, 0, nil, nil, nil},
		{"a jacket is not", []cycle.Channel{channel(cycle.Other, a)}, nil, -1, nil, nil, nil},
		{"nobody knows it", []cycle.Channel{channel(cycle.Chamber, a), channel(cycle.Unknown, b)}, []int{0}, 0, []int{1}, nil, nil},
		{"not connected", []cycle.Channel{channel(cycle.Chamber, a), channel(cycle.NotConnected, dead)}, []int{0}, 0, nil, nil, nil},
		{"a dead load", []cycle.Channel{channel(cycle.Chamber, a), channel(cycle.LoadProbe, dead)}, []int{0}, 0, nil, []int{1}, nil},
		{"a dead chamber is judged", []cycle.Channel{channel(cycle.Chamber, dead), channel(cycle.LoadProbe, a)}, []int{0, 1}, 0, nil, nil, nil},
		{"a load that repeats the chamber behind it", []cycle.Channel{channel(cycle.LoadProbe, a), channel(cycle.Chamber, a)}, []int{1}, 1, nil, nil, []int{0}},
		{"of two equal loads one is judged", []cycle.Channel{channel(cycle.Chamber, a), channel(cycle.LoadProbe, b), channel(cycle.LoadProbe, b)}, []int{0, 1}, 0, nil, nil, []int{2}},
		{"a jacket may be repeated", []cycle.Channel{channel(cycle.Chamber, a), channel(cycle.Other, b), channel(cycle.LoadProbe, b)}, []int{0, 2}, 0, nil, nil, nil},
	} {
		got := sortColumns(cycle.Readings{Channels: c.channels})
		ref := -1
		if got.ref >= 0 {
			ref = got.judged[got.ref]
		}
		if !slices.Equal(got.judged, c.judged) || ref != c.ref || !slices.Equal(got.unknown, c.unknown) || !slices.Equal(got.dead, c.dead) || !slices.Equal(got.twin, c.twins) {
			t.Errorf("%s: got %+v", c.why, got)
		}
	}
}

func TestEqualAtMoreThan99Percent(t *testing.T) {
	for _, c := range []struct {
		differ int // of 200
		want   bool
	}{{0, true}, {1, true}, {2, false}, {3, false}} {
		a, b := make([]cycle.Celsius, 200), make([]cycle.Celsius, 200)
		for i := range c.differ {
			b[7*i] = 1
		}
		if same(a, b) != c.want {
			t.Errorf("%d of 200 differ: want %t", c.differ, c.want)
		}
	}
}

func TestAbsoluteOrGauge(t *testing.T) {
	hot := []float64{20, 134, 134.5, 134, 100}
	for _, c := range []struct {
		why        string
		chamber    []float64
		kpa        []float64
		site       Site
		want       cycle.Reference
		contradict bool
	}{
		{"saturation says absolute", hot, []float64{30, 304, 308, 304, 200}, Site{}, cycle.Absolute, false},
		{"saturation says gauge", hot, []float64{30, 203, 207, 203, 30}, Site{}, cycle.Gauge, false},
		{"an end says absolute", []float64{20, 20, 20, 20, 20}, []float64{101, 300, 300, 300, 200}, Site{}, cycle.Absolute, false},
		{"an end says gauge", []float64{20, 20, 20, 20, 20}, []float64{200, 250, 250, 250, 3}, Site{}, cycle.Gauge, false},
		{"near 0 without going anywhere", []float64{20, 20, 20, 20, 20}, []float64{0, 50, 50, 50, 0}, Site{}, cycle.ReferenceUnsaid, false},
		{"saturation against an end", hot, []float64{0, 304, 308, 304, 200}, Site{}, cycle.ReferenceUnsaid, true},
		{"one end against the other", []float64{20, 20, 20, 20, 20}, []float64{0, 300, 300, 300, 100}, Site{}, cycle.ReferenceUnsaid, true},
		{"nothing says anything", []float64{20, 20, 20, 20, 20}, []float64{250, 260, 250, 260, 250}, Site{}, cycle.ReferenceUnsaid, false},
		{"a leak test, by saturation", []float64{28, 28, 28, 28, 28}, []float64{4, 4, 5, 5, 50}, Site{}, cycle.Absolute, false},
		{"a leak test in gauge", []float64{28, 28, 28, 28, 28}, []float64{-97, -97, -96, -96, -50}, Site{}, cycle.Gauge, false},
		{"high up", hot, []float64{30, 228, 232, 228, 30}, Site{Altitude: Known(2300)}, cycle.Gauge, false},
		{"a fault code is no end", []float64{20, 20, 20, 20, 20}, []float64{101, 300, 300, 300, 9999}, Site{}, cycle.Absolute, false},
	} {
		raw := cycle.Readings{Seconds: []float64{0, 1, 2, 3, 4}, Lines: []int{1, 2, 3, 4, 5},
			Channels: []cycle.Channel{{Role: cycle.Chamber, Celsius: celsius(c.chamber...)}},
			Pressure: &cycle.Pressure{KPa: c.kpa}}
		ps := scaleOf(raw, sortColumns(raw), c.site)
		if ps.reference != c.want || ps.contradict != c.contradict {
			t.Errorf("%s: got %q, contradiction %t", c.why, ps.reference, ps.contradict)
		}
	}
}

func TestMedian(t *testing.T) {
	for _, c := range []struct {
		xs   []float64
		want float64
	}{
		{[]float64{3}, 3}, {[]float64{4, 1}, 2.5}, {[]float64{5, 1, 3}, 3}, {[]float64{1, 1, 9, 9}, 5},
		{[]float64{2, 2, 2, 9, 1}, 2}, {[]float64{9, 8, 7, 6, 5, 4, 3, 2, 1, 0}, 4.5}, {[]float64{1, 2, 1, 2, 1, 2}, 1.5},
	} {
		if got, ok := median(slices.Clone(c.xs)); !ok || got != c.want {
			t.Errorf("%v: got %v, want %v", c.xs, got, c.want)
		}
	}
	if _, ok := median(nil); ok {
		t.Error("nothing has no median")
	}
}

func TestRounding(t *testing.T) {
	for _, c := range []struct {
		x               float64
		digits          int
		atLeast, atMost string
	}{
		{179.96, 1, "179.9", "180.0"},
		{0.1304, 3, "0.130", "0.131"},
		{180, 1, "180.0", "180.0"},
		{179.9999999999, 1, "180.0", "180.0"},
		{0.13000000000000003, 3, "0.130", "0.130"},
		{0.12999999999999998, 2, "0.13", "0.13"},
		{-0.213, 1, "-0.3", "-0.2"},
		{-0.00000000001, 1, "0.0", "0.0"},
		{134, 0, "134", "134"},
		{math.NaN(), 1, "NaN", "NaN"},
	} {
		if got := AtLeast(c.x, c.digits); got != c.atLeast {
			t.Errorf("at least %v: got %s, want %s", c.x, got, c.atLeast)
		}
		if got := AtMost(c.x, c.digits); got != c.atMost {
			t.Errorf("at most %v: got %s, want %s", c.x, got, c.atMost)
		}
	}
}
