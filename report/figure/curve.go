package figure

import "math"

// pixel is the width in mm of a column in which only the first, lowest, highest
// and last reading are kept: a peak of one reading survives.
const pixel = 0.2

// curve draws l in the panel, broken where there is no reading, and cut at the
// panel's edges.
func (p panel) curve(s Surface, d *drawing, l line) {
	for _, run := range p.runs(d, l.values) {
		for _, part := range cut(run, p.Box) {
			s.Polyline(part, l.stroke)
		}
	}
}

// runs maps readings to points, thinned, a slice for each unbroken stretch.
func (p panel) runs(d *drawing, values []float64) [][]Point {
	var out [][]Point
	var run []Point
	for i, v := range values {
		t := d.seconds[i]
		broken := math.IsNaN(v) || i > 0 && t-d.seconds[i-1] > d.gap
		if broken && len(run) > 0 {
			out = append(out, thinned(run))
			run = nil
		}
		if !math.IsNaN(v) && t >= p.time.from-d.gap && t <= p.time.to+d.gap {
			run = append(run, Point{p.x(t), p.y(v)})
		}
	}
	if len(run) > 0 {
		out = append(out, thinned(run))
	}
	return out
}

// thinned keeps of each column of a [pixel] the first, the lowest, the highest and
// the last point, in their order.
func thinned(run []Point) []Point {
	if len(run) < 3 {
		return run
	}
	out := make([]Point, 0, len(run))
	for i := 0; i < len(run); {
		column := math.Floor(run[i].X / pixel)
		lo, hi, j := i, i, i
		for ; j < len(run) && math.Floor(run[j].X/pixel) == column; j++ {
			if run[j].Y < run[lo].Y {
				lo = j
			}
			if run[j].Y > run[hi].Y {
				hi = j
			}
		}
		last := -1
		for _, k := range [...]int{i, min(lo, hi), max(lo, hi), j - 1} {
			if k != last {
				out = append(out, run[k])
				last = k
			}
		}
		i = j
	}
	return straightened(out)
}

// straightened leaves out points on a level line, which add nothing to it.
func straightened(run []Point) []Point {
	out := run[:0:0]
	for i, q := range run {
		if i > 0 && i < len(run)-1 && run[i-1].Y == q.Y && q.Y == run[i+1].Y {
			continue
		}
		out = append(out, q)
	}
	return out
}

// cut returns the parts of run inside b (Liang and Barsky, 1984).
func cut(run []Point, b Box) [][]Point {
	var out [][]Point
	var part []Point
	for i := 1; i < len(run); i++ {
		from, to, ok := inside(run[i-1], run[i], b)
		if !ok {
			part = flush(&out, part)
			continue
		}
		if len(part) == 0 || part[len(part)-1] != from {
			part = flush(&out, part)
			part = append(part, from)
		}
		part = append(part, to)
	}
	flush(&out, part)
	return out
}

func flush(out *[][]Point, part []Point) []Point {
	if len(part) > 1 {
		*out = append(*out, part)
	}
	return nil
}

// inside returns the part of the line from a to c that lies in b.
func inside(a, c Point, b Box) (Point, Point, bool) {
	dx, dy := c.X-a.X, c.Y-a.Y
	from, to := 0.0, 1.0
	for _, e := range [...]struct{ p, q float64 }{
		{-dx, a.X - b.X}, {dx, b.right() - a.X}, {-dy, a.Y - b.Y}, {dy, b.bottom() - a.Y},
	} {
		switch {
		case e.p == 0 && e.q < 0:
			return a, c, false
		case e.p < 0:
			from = max(from, e.q/e.p)
		case e.p > 0:
			to = min(to, e.q/e.p)
		}
	}
	if from > to {
		return a, c, false
	}
	at := func(t float64, whole Point) Point {
		switch t {
		case 0:
			return a
		case 1:
			return whole
		}
		return Point{a.X + t*dx, a.Y + t*dy}
	}
	return at(from, c), at(to, c), true
}
