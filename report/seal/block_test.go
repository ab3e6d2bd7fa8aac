package seal

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// drawn returns the operators of a block, uncompressed.
func drawn(t *testing.T, lines []line, width, height float64) string {
	t.Helper()
	packed := must(drawBlock(lines, width, height))
	return string(must(io.ReadAll(must(zlib.NewReader(bytes.NewReader(packed))))))
}

func TestBlockOnlyDrawsPaths(t *testing.T) {
	out := drawn(t, filledLines("Prepared", "Zoë Ångström-Ćosić", "hygiene lead", "2026-11-02 18:15:00 +00:00"), 226, 73)
	for _, l := range strings.Split(strings.TrimSpace(out), "\n") {
		operator := l[strings.LastIndex(l, " ")+1:]
		if !strings.Contains(" m l c h f q Q cm rg ", " "+operator+" ") {
			t.Errorf("operator %q", operator)
		}
	}
	if strings.Count(out, "q") != strings.Count(out, "Q") {
		t.Error("q and Q do not pair")
	}
}

// A letter no font has is drawn as a box; all others differ from it.
func TestEveryLetterIsDrawn(t *testing.T) {
	box := shape("\U0001F6D1", false).glyphs[0].path
	if shape("\u4e2d", false).glyphs[0].path != box {
		t.Error("a letter that is missing is not drawn as a box")
	}
	for _, name := range []string{"Dana Reed", "Żółć Łukasz", "Παπαδοπούλου", "Ольга Щедрина", "Աննա", "გიორგი", "שרה כהן", "نور", "Nguyễn Thị Ánh", "✓"} {
		for i, g := range shape(name, true).glyphs {
			if g.path == box {
				t.Errorf("letter %d of %s is a box", i, name)
			}
		}
	}
	if n := len(shape("Dana Reed", true).glyphs); n != 8 {
		t.Errorf("%d letters drawn, expected 8 and a space", n)
	}
	first := shape("ש", false).glyphs[0].path
	if run := shape("שרה", false).glyphs; run[len(run)-1].path != first {
		t.Error("Hebrew does not begin at the right")
	}
}

// A name of 64 wide letters stays inside the frame.
func TestLongNameFits(t *testing.T) {
	for _, name := range []string{strings.Repeat("W", 64), strings.Repeat("Wilhelmina ", 5) + "Reed"} {
		l := line{text: name, bold: true, size: 0.22}
		var out bytes.Buffer
		l.draw(&out, 6, 73, 200)
		scale, last := 0.0, 0
		for _, op := range strings.Split(out.String(), "\n") {
			var a, b, c, d, x, y float64
			if n, _ := sscan(op, &a, &b, &c, &d, &x, &y); n == 6 && strings.HasSuffix(op, "cm") {
				if scale == 0 {
					scale = a
				} else {
					last = int(x)
				}
			}
		}
		if right := float64(last) * scale; right > 200 || right < 150 {
			t.Errorf("%s: the last letter begins at %.1f of 200", name, right)
		}
	}
}

// What a person sees, in pixels: ink in both blocks, none outside the frames.
func TestBlocksAreSeen(t *testing.T) {
	outside(t, "pdftoppm")
	h := newHouse(t)
	path := writeFile(t, "day.pdf", h.twice(t))
	if err := exec.Command("pdftoppm", "-r", "72", "-gray", "-singlefile", path, path).Run(); err != nil {
		t.Fatal(err)
	}
	pgm := must(os.ReadFile(path + ".pgm"))
	width, height := 596, 842
	pixels := pgm[len(pgm)-width*height:]
	dark := func(x, y, w, h int) (n int) { // points from the lower left, which are pixels
		for j := height - y - h; j < height-y; j++ {
			for i := x; i < x+w; i++ {
				if pixels[j*width+i] < 128 {
					n++
				}
			}
		}
		return n
	}
	if a, b := dark(56, 90, 227, 74), dark(312, 90, 227, 74); a < 150 || b < 150 {
		t.Errorf("%d and %d dark pixels in the blocks", a, b)
	}
	if n := dark(20, 166, 550, 30) + dark(285, 90, 25, 74) + dark(20, 40, 550, 48); n != 0 {
		t.Errorf("%d dark pixels around the blocks", n)
	}
}

func sscan(s string, to ...any) (int, error) { return fmt.Sscan(strings.TrimPrefix(s, "q "), to...) }
