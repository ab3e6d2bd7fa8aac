package cli

import (
	"bufio"
	"io"
	"os"
	"runtime"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
	"golang.org/x/text/width"
)

// pageWidth is the width of a page in cells; a narrower terminal gets its own.
const pageWidth, leastWidth = 80, 40

// page writes text for a person: wrapped by what a terminal shows and not by
// bytes, in colour only where somebody looks, in ASCII where the locale asks for it.
type page struct {
	out    *bufio.Writer
	width  int
	colour bool
	ascii  bool
}

func newPage(w World, out io.Writer) *page {
	p := &page{out: bufio.NewWriter(out), width: pageWidth, ascii: !utf8Locale(w.Getenv)}
	if f, ok := out.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		p.colour = w.Getenv("NO_COLOR") == "" && w.Getenv("TERM") != "dumb"
		if columns, _, err := term.GetSize(int(f.Fd())); err == nil && columns > 0 {
			p.width = min(max(columns, leastWidth), pageWidth)
		}
	}
	return p
}

// utf8Locale tells whether the terminal is said to understand UTF-8. Windows has
// no such variables and its console does.
func utf8Locale(getenv func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := getenv(name); v != "" {
			v = strings.ToLower(strings.ReplaceAll(v, "-", ""))
			return strings.Contains(v, "utf8")
		}
	}
	return runtime.GOOS == "windows"
}

// onto returns a page that looks the same and is written elsewhere.
func (p *page) onto(out io.Writer) *page {
	other := *p
	other.out = bufio.NewWriterSize(out, 64<<10)
	return &other
}

func (p *page) flush() error { return p.out.Flush() }

// gap leaves an empty line.
func (p *page) gap() { p.out.WriteByte('\n') }

// style is how a text is set; it repeats what the words say.
type style string

const (
	plain  style = ""
	strong style = "1"
	brick  style = "31" // failed, and only failed
	ochre  style = "33" // borderline
)

// span is a piece of text in one style.
type span struct {
	text  string
	style style
}

// line writes spans on one line, without wrapping.
func (p *page) line(spans ...span) {
	for _, s := range spans {
		text := p.clean(s.text)
		if p.colour && s.style != plain {
			text = "\x1b[" + string(s.style) + "m" + text + "\x1b[0m"
		}
		p.out.WriteString(text)
	}
	p.out.WriteByte('\n')
}

// para writes a text wrapped to the page, its first line after lead, the others
// indented to the same place.
func (p *page) para(lead string, text string, s style) {
	indent := cells(p.clean(lead))
	for i, l := range wrap(p.clean(text), p.width-indent) {
		if i > 0 {
			lead = strings.Repeat(" ", indent)
		}
		p.line(span{lead, plain}, span{l, s})
	}
}

var toASCII = strings.NewReplacer("·", "-", "°", "", "–", "-", "—", "-", "…", "...", "−", "-", "×", "x", "±", "+/-", "≤", "<=", "≥", ">=",
	"“", `"`, "”", `"`, "’", "'", "●", "(*)", "◐", "(/)", "○", "( )", "✕", "(x)", "√", "sqrt", "ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss")

// clean makes a text from an export safe and showable: control characters, which
// could move the cursor or hide a word, become U+FFFD.
func (p *page) clean(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029' {
			return utf8.RuneError
		}
		return r
	}, text)
	if !p.ascii {
		return text
	}
	return strings.Map(func(r rune) rune {
		if r > unicode.MaxASCII {
			return '?'
		}
		return r
	}, toASCII.Replace(text))
}

// cells returns the width of a text on a terminal.
func cells(text string) int {
	n := 0
	for _, r := range text {
		switch {
		case r < 0x300: // nothing there is wide or combines, and nearly all text is there
			n++
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		case width.LookupRune(r).Kind() == width.EastAsianWide, width.LookupRune(r).Kind() == width.EastAsianFullwidth:
			n += 2
		default:
			n++
		}
	}
	return n
}

// wrap breaks a text at spaces into lines of at most most cells; a longer word is
// cut, so that no line is ever longer. At least one line.
func wrap(text string, most int) []string {
	most = max(most, 10)
	var lines []string
	line := ""
	used := 0 // cells of line
	for _, word := range words(text) {
		n := cells(word)
		if line != "" && used+1+n > most {
			lines, line, used = append(lines, line), "", 0
		}
		if line != "" {
			line, used = line+" ", used+1
		}
		line, used = line+word, used+n
		for used > most {
			head, tail := cut(line, most)
			lines, line, used = append(lines, head), tail, cells(tail)
		}
	}
	return append(lines, line)
}

// words splits a text at its spaces, but leaves a unit with its number.
func words(text string) []string {
	var out []string
	for _, word := range strings.Fields(text) {
		bare := strings.TrimRight(word, ".,;:)")
		if n := len(out); n > 0 && slices.Contains(units, bare) && endsInDigit(out[n-1]) {
			out[n-1] += " " + word
			continue
		}
		out = append(out, word)
	}
	return out
}

// units are what stands behind a number on a page.
var units = []string{"s", "min", "h", "K", "°C", "kPa", "kPa/min", "m", "L"}

func endsInDigit(word string) bool {
	last := word[len(word)-1]
	return '0' <= last && last <= '9'
}

// cut splits a text after at most most cells.
func cut(text string, most int) (head, tail string) {
	n := 0
	for i, r := range text {
		if n += cells(string(r)); n > most {
			return text[:i], text[i:]
		}
	}
	return text, ""
}

// padded fills a text up to n cells; a longer one is cut and ends in "…".
func padded(text string, n int) string {
	if cells(text) > n {
		head, _ := cut(text, n-1)
		text = head + "…"
	}
	return text + strings.Repeat(" ", max(0, n-cells(text)))
}

// lines writes a text that has its own line breaks, and leaves them.
func (p *page) lines(text string) {
	for l := range strings.SplitSeq(text, "\n") {
		p.line(span{l, plain})
	}
}
