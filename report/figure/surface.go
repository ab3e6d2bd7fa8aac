// Package figure draws a cycle once, for paper and for the screen.
//
// A figure knows nothing of either: it puts lines, rectangles and words on a
// [Surface], in millimetres from the upper left corner. It judges nothing and
// computes no figure of a verdict; what it prints was measured by validate.
//
// The meaning of a line is carried by its style (solid, long dashes, dots), so
// that a figure can be read in grey; colour only repeats it.
package figure

// Point is a place on the surface in mm, x to the right and y downwards.
type Point struct{ X, Y float64 }

// Box is a part of the surface in mm; X and Y are its upper left corner.
type Box struct{ X, Y, W, H float64 }

func (b Box) right() float64  { return b.X + b.W }
func (b Box) bottom() float64 { return b.Y + b.H }

// Ink names a colour by what it is for. Each surface has its own table of colours,
// and a dark page another.
type Ink int

// The inks.
const (
	InkLine   Ink = iota // lines and words
	InkQuiet             // what stands back: other channels, words of an axis
	InkHair              // the lines of a grid
	InkBand              // the pale stripe of the band
	InkPress             // the steam temperature, in the colour of what can be pressed
	InkFailed            // failed, and only that
	InkBorder            // borderline
	InkPaper             // the paper itself, for words on a filled flag
	inkCount
)

// Stroke is how a line is drawn.
type Stroke struct {
	Ink   Ink
	Width float64   // mm
	Dash  []float64 // mm drawn, mm left out, in turn; nil is a solid line
	Round bool      // round ends; a dash of length 0 is then a dot
}

// Anchor is the part of a word that stands at its place.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Type is how a word is set. Its place is on the baseline.
type Type struct {
	Ink    Ink
	Size   float64 // mm
	Bold   bool
	Anchor Anchor
}

// Surface is something to draw on.
type Surface interface {
	Polyline(points []Point, s Stroke)
	Rectangle(b Box, fill Ink)
	Text(at Point, text string, t Type)
}

// small is the one size of words in a figure, in mm: 7.5 points.
const small = 2.646

// The styles of lines. In grey they differ by dash, not by colour.
var (
	solid    = Stroke{Ink: InkLine, Width: 0.3}
	dotted   = Stroke{Ink: InkPress, Width: 0.68, Dash: []float64{0, 1.5}, Round: true}
	thin     = Stroke{Ink: InkQuiet, Width: 0.15}
	hair     = Stroke{Ink: InkHair, Width: 0.12}
	measured = Stroke{Ink: InkLine, Width: 0.2}
	allowed  = Stroke{Ink: InkLine, Width: 0.25, Dash: []float64{1.2, 0.8}}
)

// dashes are long dashes for the n-th load probe, from 0, each a little other.
func dashes(n int) Stroke {
	lengths := [...][]float64{{2.6, 1.1}, {1.6, 0.9}, {4, 1.2}, {2.6, 0.9, 0.9, 0.9}}
	return Stroke{Ink: InkQuiet, Width: 0.42, Dash: lengths[n%len(lengths)]}
}

// chain is a line of dashes and dots, for a drain.
var chain = Stroke{Ink: InkLine, Width: 0.22, Dash: []float64{1.8, 0.7, 0.3, 0.7}}
