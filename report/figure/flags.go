package figure

import (
	"slices"
	"strconv"
	"strings"

	"holdproof/validate"
)

// flag is one or more findings at about one time.
type flag struct {
	x       float64
	numbers []int // ascending
	ink     Ink
}

// flagRoom is the height that flags take below the axis, 0 if there are none.
func (d *drawing) flagRoom() float64 {
	if slices.ContainsFunc(Flags(d.Verdict), func(n int) bool { return n > 0 }) {
		return flagRoom
	}
	return 0
}

// flagged returns the flags that fall into the panel, from left to right; flags too
// close to one another share one pole.
func (d *drawing) flagged(p panel) []flag {
	var out []flag
	for i, n := range Flags(d.Verdict) {
		f := d.Verdict.Findings[i]
		if n == 0 || f.At.Value < p.time.from || f.At.Value > p.time.to {
			continue
		}
		out = append(out, flag{x: p.x(f.At.Value), numbers: []int{n}, ink: flagInk(f.Outcome)})
	}
	slices.SortStableFunc(out, func(a, b flag) int {
		switch {
		case a.x < b.x:
			return -1
		case a.x > b.x:
			return 1
		}
		return 0
	})
	var joined []flag
	for _, f := range out {
		if n := len(joined); n > 0 && f.x < joined[n-1].x+joined[n-1].width()+0.6 {
			joined[n-1].numbers = append(joined[n-1].numbers, f.numbers...)
			slices.Sort(joined[n-1].numbers)
			if f.ink == InkFailed {
				joined[n-1].ink = f.ink
			}
			continue
		}
		joined = append(joined, f)
	}
	return joined
}

func flagInk(o validate.Outcome) Ink {
	switch o {
	case validate.Failed:
		return InkFailed
	case validate.Borderline:
		return InkBorder
	}
	return InkLine
}

func (f flag) text() string {
	words := make([]string, len(f.numbers))
	for i, n := range f.numbers {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, ", ")
}

// width is the room of the flag's cloth in mm.
func (f flag) width() float64 { return 1.4 + 1.45*float64(len(f.text())) }

// flags draws the flags below the axis of the panel.
func (d *drawing) flags(s Surface, p panel) {
	for _, f := range d.flagged(p) {
		y := p.bottom() + 0.9
		s.Polyline([]Point{{f.x, p.bottom() - 1.2}, {f.x, y + 3.2}}, Stroke{Ink: f.ink, Width: 0.25})
		left := f.x
		if left+f.width() > p.right()+14 {
			left -= f.width()
		}
		s.Rectangle(Box{left, y, f.width(), 3.2}, f.ink)
		t := label(InkPaper, Middle)
		t.Bold = true
		s.Text(Point{left + f.width()/2, y + 1.6 + small*0.36}, f.text(), t)
	}
}

// poles draws where the flags stand through the height of a panel.
func (d *drawing) poles(s Surface, p panel) {
	for _, f := range d.flagged(p) {
		s.Polyline([]Point{{f.x, p.Y}, {f.x, p.bottom()}}, Stroke{Ink: f.ink, Width: 0.12, Dash: []float64{0.5, 0.9}})
	}
}
