package figure

import (
	"math"

	"holdproof/validate"
)

// Mark draws the proof mark of an outcome with diameter d mm around at: a full
// disc conforms, a half disc is borderline, a ring is not proven, a cross failed, a
// dash was not assessed. Its word stands beside it, always.
func Mark(s Surface, o validate.Outcome, at Point, d float64) {
	r := d / 2
	line := Stroke{Ink: markInk(o), Width: d * 0.13}
	switch o {
	case validate.Conforms: // a circle of half the radius, drawn as wide as the radius, is the disc
		s.Polyline(arc(at, r/2, 0, 2*math.Pi), Stroke{Ink: line.Ink, Width: r})
	case validate.Borderline:
		s.Polyline(arc(at, r-line.Width/2, 0, 2*math.Pi), line)
		s.Polyline(arc(at, r/2, math.Pi/2, 3*math.Pi/2), Stroke{Ink: line.Ink, Width: r})
	case validate.Failed:
		k := r * 0.8
		line.Width = d * 0.17
		s.Polyline([]Point{{at.X - k, at.Y - k}, {at.X + k, at.Y + k}}, line)
		s.Polyline([]Point{{at.X - k, at.Y + k}, {at.X + k, at.Y - k}}, line)
	case validate.NotAssessed:
		s.Polyline([]Point{{at.X - r, at.Y}, {at.X + r, at.Y}}, line)
	default:
		s.Polyline(arc(at, r-line.Width/2, 0, 2*math.Pi), line)
	}
}

func markInk(o validate.Outcome) Ink {
	switch o {
	case validate.Failed:
		return InkFailed
	case validate.Borderline:
		return InkBorder
	case validate.NotAssessed:
		return InkQuiet
	}
	return InkLine
}

// arc is a part of a circle in 24 or fewer straight pieces, angles in radians.
func arc(at Point, r, from, to float64) []Point {
	n := max(6, int(math.Ceil(math.Abs(to-from)/(2*math.Pi)*24)))
	out := make([]Point, n+1)
	for i := range out {
		a := from + (to-from)*float64(i)/float64(n)
		out[i] = Point{at.X + r*math.Cos(a), at.Y + r*math.Sin(a)}
	}
	if to-from >= 2*math.Pi {
		out[n] = out[0]
		out = append(out, out[1]) // so that the ends meet without a notch
	}
	return out
}
