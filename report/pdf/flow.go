package pdf

import (
	"strings"
	"unicode/utf8"

	"holdproof/report/figure"
)

// wrap breaks words into lines no wider than w mm, between words, and inside a word
// only where it alone is wider.
func (s *sheet) wrap(words string, st style, w float64) []string {
	var lines []string
	line, used := "", 0.0
	space := s.width(" ", st)
	for _, word := range unbroken(strings.Fields(words)) {
		width := s.width(word, st)
		if line != "" && used+space+width <= w {
			line += " " + word
			used += space + width
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for width > w {
			n := s.fits(word, st, w)
			lines = append(lines, word[:n])
			word = word[n:]
			width = s.width(word, st)
		}
		line, used = word, width
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// unbroken joins what belongs on one line: a machine and the number of a cycle, S1 · 1046.
func unbroken(words []string) []string {
	out := words[:0]
	for i := 0; i < len(words); i++ {
		if i > 0 && i+1 < len(words) && words[i] == "·" && '0' <= words[i+1][0] && words[i+1][0] <= '9' {
			out[len(out)-1] += " · " + words[i+1]
			i++
			continue
		}
		out = append(out, words[i])
	}
	return out
}

// fits is how many bytes of the word are no wider than w, at least one letter with
// the accents that belong to it.
func (s *sheet) fits(word string, st style, w float64) int {
	n := 0
	for n < len(word) {
		_, size := utf8.DecodeRuneInString(word[n:])
		if n > 0 && s.width(word[:n+size], st) > w {
			break
		}
		n += size
	}
	return n
}

// para sets words as a paragraph from x on, w wide, and moves down. A paragraph
// goes on over the page's end line by line.
func (s *sheet) para(x, w float64, words string, st style) {
	for _, l := range s.wrap(words, st, w) {
		s.room(st.line)
		s.put(x, s.y+st.line*0.75, l, st)
		s.y += st.line
	}
}

// heading starts a part of the record, with room for some lines below it.
func (s *sheet) heading(words string) {
	s.again = nil
	if s.y > top {
		s.y += 6
	}
	s.room(24)
	s.put(left, s.y+lineText*0.75, words, strong)
	s.y += lineText + 0.8
	s.Polyline([]figure.Point{{X: left, Y: s.y}, {X: left + column, Y: s.y}}, figure.Stroke{Ink: figure.InkLine, Width: 0.25})
	s.y += 1.4
}

// col is a column of a table.
type col struct {
	title string
	w     float64
	right bool // figures stand at the right, decimal sign under decimal sign
}

// cell is what stands in a row under a column: paragraphs, each in its own style,
// and perhaps something drawn beside the first line.
type cell struct {
	paras []para
	draw  func(at figure.Point) // at the middle of the first line, at the left edge
	shift float64               // mm that the words stand right of the edge
	high  float64               // mm that what is drawn needs
}

type para struct {
	words string
	st    style
	span  float64 // mm that it may be wide, past its own column; 0: the column
}

func say(words string, st style) cell { return cell{paras: []para{{words, st, 0}}} }

// and adds a paragraph to the cell, unless it has no words.
func (c cell) and(words string, st style) cell {
	if words != "" {
		c.paras = append(c.paras, para{words, st, 0})
	}
	return c
}

// across lets the paragraphs below the first be w mm wide, under the next columns,
// which then hold one line.
func (c cell) across(w float64) cell {
	for i := range c.paras {
		if i > 0 {
			c.paras[i].span = w
		}
	}
	return c
}

const (
	gutter    = 2.0 // mm between columns
	figureGap = 3.5 // mm right of a column of figures
)

// table draws rows with hairlines between them. The titles stand again on each page.
func (s *sheet) table(cols []col, rows [][]cell) {
	titles := func() {
		x := left
		for _, c := range cols {
			at := x
			if c.right {
				at = x + c.w - figureGap - s.width(c.title, note)
			}
			s.put(at, s.y+lineNote*0.75, c.title, note)
			x += c.w
		}
		s.y += lineNote + 0.6
		s.rule(s.y)
	}
	s.again = nil
	s.room(lineNote + 12)
	titles()
	s.again = titles
	for _, r := range rows {
		s.row(cols, r)
	}
	s.again = nil
	s.y += 1
}

// set is a paragraph broken into lines.
type set struct {
	lines []string
	st    style
}

func (s *sheet) row(cols []col, cells []cell) {
	const pad = 1.1
	broken := make([][]set, len(cells))
	high := 0.0
	for i, c := range cells {
		h := 0.0
		for _, p := range c.paras {
			w := cols[i].w
			if p.span > 0 {
				w = p.span
			}
			lines := s.wrap(p.words, p.st, w-gutter-c.shift)
			broken[i] = append(broken[i], set{lines, p.st})
			h += float64(len(lines)) * p.st.line
		}
		high = max(high, h, c.high)
	}
	s.room(min(high+2*pad, bottom-top-12))
	x, y0 := left, s.y+pad
	for i, c := range cells {
		if c.draw != nil {
			c.draw(figure.Point{X: x, Y: y0 + lineText/2 - 0.4})
		}
		y := y0
		for _, p := range broken[i] {
			for _, l := range p.lines {
				at := x + c.shift
				if cols[i].right {
					at = x + cols[i].w - figureGap - s.width(l, p.st)
				}
				if y+p.st.line > s.floor { // a row higher than a page is cut, and says so
					s.put(x+c.shift, s.floor-0.5, "… the rest stands in day.json", note)
					break
				}
				s.put(at, y+p.st.line*0.75, l, p.st)
				y += p.st.line
			}
		}
		x += cols[i].w
	}
	s.y = min(y0+high+pad, s.floor)
	s.rule(s.y)
}
