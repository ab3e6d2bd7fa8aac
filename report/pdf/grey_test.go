package pdf

import (
	"bytes"
	"image"
	imgdraw "image/draw"
	"image/png"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"holdproof/report/figure"
	"holdproof/validate"
)

// picture renders a page in grey.
func picture(t *testing.T, path string, page, dpi int) *image.Gray {
	t.Helper()
	out := filepath.Join(t.TempDir(), "page")
	tool(t, "pdftoppm", "-png", "-gray", "-singlefile", "-r", strconv.Itoa(dpi), "-f", strconv.Itoa(page), "-l", strconv.Itoa(page), path, out)
	f, err := os.Open(out + ".png")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	grey := image.NewGray(img.Bounds())
	imgdraw.Draw(grey, grey.Bounds(), img, image.Point{}, imgdraw.Src)
	return grey
}

// The two blocks are empty paper, where Blocks says, and a frame stands around them.
func TestBlocksAreEmpty(t *testing.T) {
	for _, d := range []*day{monday(t), big(t)} {
		img := picture(t, save(t, drawn(t, d)), 1, 144)
		first, second := Blocks()
		for _, b := range []Block{first, second} {
			if b.Page != 1 || b.X < 0 || b.X+b.W > 595.3 || b.Y < 0 || b.Y+b.H > 841.9 {
				t.Errorf("%+v is not on page 1", b)
			}
			px := func(v float64) int { return int(v * 2) } // 144 dpi
			high := img.Bounds().Dy()
			for y := high - px(b.Y+b.H) + 3; y < high-px(b.Y)-3; y++ {
				for x := px(b.X) + 3; x < px(b.X+b.W)-3; x++ {
					if img.GrayAt(x, y).Y != 255 {
						t.Fatalf("something stands at pixel %d, %d of %+v", x, y, b)
					}
				}
			}
			dark := 0
			for x := px(b.X); x < px(b.X+b.W); x++ {
				for y := high - px(b.Y+b.H) - 2; y <= high-px(b.Y+b.H)+2; y++ {
					if img.GrayAt(x, y).Y < 250 {
						dark++
						break
					}
				}
			}
			if dark < px(b.W)-4 {
				t.Errorf("the frame of %+v is not where it should be", b)
			}
		}
	}
}

// On paper, in grey, the styles of lines can be told apart by their dashes: one
// stretch of ink, some, or many; and the proof marks by their shape.
func TestGreyTellsThemApart(t *testing.T) {
	s := newSheet()
	s.newPage()
	lines := map[string]figure.Stroke{}
	for name, k := range styles(t) {
		lines[name] = k
	}
	order := []string{"chamber", "load", "steam"}
	for i, name := range order {
		y := 20 + 10*float64(i)
		s.Polyline([]figure.Point{{X: 20, Y: y}, {X: 100, Y: y}}, lines[name])
	}
	marks := []validate.Outcome{validate.Conforms, validate.Borderline, validate.NotProven, validate.Failed, validate.NotAssessed}
	for i, o := range marks {
		figure.Mark(s, o, figure.Point{X: 25 + 10*float64(i), Y: 60}, 4)
	}
	var b bytes.Buffer
	if err := s.pdf.Output(&b); err != nil {
		t.Fatal(err)
	}
	const dpi = 254 // ten pixels a mm
	img := picture(t, save(t, b.Bytes()), 1, dpi)
	stretches := func(y int) (n, ink int) {
		was := false
		for x := 190; x < 1010; x++ {
			is := img.GrayAt(x, y).Y < 160
			if is {
				ink++
			}
			if is && !was {
				n++
			}
			was = is
		}
		return n, ink
	}
	counts := map[string]int{}
	for i, name := range order {
		n, ink := stretches(200 + 100*i)
		counts[name] = n
		if ink < 100 {
			t.Errorf("%s has hardly any ink: %d", name, ink)
		}
	}
	if counts["chamber"] != 1 || counts["load"] < 15 || counts["load"] > 30 || counts["steam"] < 45 {
		t.Errorf("stretches of ink: %v", counts)
	}
	seen := map[string]validate.Outcome{}
	for i, o := range marks {
		key := ""
		for dy := -20; dy < 20; dy += 5 { // eight by eight cells of half a mm
			for dx := -20; dx < 20; dx += 5 {
				sum := 0
				for y := range 5 {
					for x := range 5 {
						sum += int(img.GrayAt(250+100*i+dx+x, 600+dy+y).Y)
					}
				}
				if sum < 25*150 {
					key += "#"
				} else {
					key += "."
				}
			}
		}
		if other, taken := seen[key]; taken {
			t.Errorf("%s and %s look alike in grey at eight pixels", o, other)
		}
		seen[key] = o
	}
}

// catcher is a surface that keeps the strokes of a figure.
type catcher struct{ strokes []figure.Stroke }

func (c *catcher) Polyline(_ []figure.Point, s figure.Stroke) { c.strokes = append(c.strokes, s) }
func (c *catcher) Rectangle(figure.Box, figure.Ink)           {}
func (c *catcher) Text(figure.Point, string, figure.Type)     {}

// styles takes the strokes of chamber, load and steam from a real figure.
func styles(t *testing.T) map[string]figure.Stroke {
	t.Helper()
	d := monday(t)
	c := &catcher{}
	figure.Draw(c, d.Figures[d.Cycles[1].ID], figure.Box{W: 170, H: 60})
	out := map[string]figure.Stroke{}
	for _, s := range c.strokes {
		switch {
		case s.Round:
			out["steam"] = s
		case len(s.Dash) == 2 && s.Width > 0.4:
			out["load"] = s
		case len(s.Dash) == 0 && s.Ink == figure.InkLine && s.Width == 0.3:
			out["chamber"] = s
		}
	}
	if len(out) != 3 {
		t.Fatalf("strokes found: %v", out)
	}
	return out
}
