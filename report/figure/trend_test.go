package figure

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// rising is an invented chart: n cycles, a day apart, the last third of which rises.
func rising(n int, change ...func(*Trend)) Trend {
	c := Trend{Name: "S1 leak tests", Quantity: "Leak rate", Unit: "kPa/min", Digits: 3, Centre: 0.025, Low: 0.01, High: 0.04, Limits: []float64{0.129}, Since: n * 2 / 3, Says: "it rose"}
	for i := range n {
		at := time.Date(2026, 7, 1+i, 8, 0, 0, 0, time.UTC)
		v := 0.025 + 0.002*float64(max(0, i-n*2/3))
		c.Marks = append(c.Marks, TrendMark{From: at, To: at, Low: v, High: v, Mean: v, Cycles: 1})
	}
	for _, f := range change {
		f(&c)
	}
	return c
}

func trendOn(c Trend, b Box) *paper {
	p := &paper{}
	DrawTrend(p, c, b)
	return p
}

// The chart says on itself where its limit is, what was usual, where it is now and since
// when it moves; a line of means goes through every mark, in order of time.
func TestTrendSaysWhatItShows(t *testing.T) {
	c := rising(30)
	p := trendOn(c, Box{0, 0, 170, 44})
	for _, want := range []string{"kPa/min", "limit 0.129", "was 0.025", "now 0.043", "moves since 21 Jul 2026", "1 Jul 2026", "30 Jul 2026"} {
		if !p.says(want) {
			t.Errorf("it lacks %q: %q", want, p.words)
		}
	}
	line := slices.IndexFunc(p.points, func(l []Point) bool { return len(l) == 30 })
	if line < 0 {
		t.Fatal("no line goes through all marks")
	}
	for i, q := range p.points[line][1:] {
		if before := p.points[line][i]; q.X <= before.X || q.Y > before.Y {
			t.Errorf("from %v to %v", before, q)
		}
	}
	if !slices.Contains(p.boxes, InkBand) {
		t.Error("where cycles are expected is not shown")
	}
}

func TestTrendStaysOnThePaper(t *testing.T) {
	far := func(c *Trend) { c.Marks[3].High, c.Marks[3].Mean = 1e6, 5e5 }
	same := func(c *Trend) {
		for i := range c.Marks {
			c.Marks[i].Low, c.Marks[i].High, c.Marks[i].Mean = 5, 5, 5
		}
		c.Low, c.High, c.Limits = 0, 0, nil
	}
	moment := func(c *Trend) {
		for i := range c.Marks {
			c.Marks[i].From, c.Marks[i].To = c.Marks[0].From, c.Marks[0].From
		}
	}
	for n, c := range []Trend{rising(30), rising(1), rising(400), rising(30, far), rising(30, same), rising(30, moment), rising(30, func(c *Trend) { c.Since = 99 }), {}} {
		for _, b := range []Box{{0, 0, 170, 44}, {0, 0, 120, 40}, {10, 20, 60, 40}} {
			trendOn(c, b).within(t, fmt.Sprintf("case %d", n), b)
		}
	}
}

func TestTrendWords(t *testing.T) {
	words := TrendWords(rising(30))
	for _, want := range []string{"30 cycles from 1 Jul 2026 to 30 Jul 2026, in kPa/min.", "Mean of the first cycles 0.025; single ones are expected from 0.010 to 0.040.", "Mean of the last cycle: 0.043.", "Limit 0.129.", "it rose."} {
		if !strings.Contains(words, want) {
			t.Errorf("%q lacks %q", words, want)
		}
	}
	svg := TrendSVG(rising(30, func(c *Trend) { c.Name = `<S1 & "x">` }), `<S1 & "x"> leak`, 120, 40)
	if bytes.Contains(svg, []byte(`<S1`)) || !bytes.Contains(svg, []byte("&lt;S1 &amp;")) || !bytes.Equal(svg, TrendSVG(rising(30, func(c *Trend) { c.Name = `<S1 & "x">` }), `<S1 & "x"> leak`, 120, 40)) {
		t.Errorf("%.300s", svg)
	}
}
