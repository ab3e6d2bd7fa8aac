package parse

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// mostLine is the longest line that is read, in bytes of UTF-8; a quoted cell
// with line breaks counts as one line.
const mostLine = 1 << 20

// source hands out the bytes of a file and hashes them on the way.
type source struct {
	src  io.Reader
	sum  hash.Hash // nil: somebody else does
	size int64
	last byte // the last byte handed out
}

func newSource(src io.Reader) *source { return &source{src: src, sum: sha256.New()} }

func (s *source) Read(p []byte) (int, error) {
	n, err := s.src.Read(p)
	if n > 0 {
		if s.sum != nil {
			s.sum.Write(p[:n])
		}
		s.size += int64(n)
		s.last = p[n-1]
	}
	return n, err
}

func (s *source) hex() string {
	if s.sum == nil {
		return ""
	}
	return hex.EncodeToString(s.sum.Sum(nil))
}

// charset is an encoding of text, as people name it.
type charset string

const (
	utf8Text    charset = "UTF-8"
	asciiText   charset = "plain ASCII"
	utf16LE     charset = "UTF-16 LE"
	utf16BE     charset = "UTF-16 BE"
	windows1252 charset = "Windows-1252"
)

func (c charset) decoder() *encoding.Decoder {
	switch c {
	case utf16LE:
		return unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewDecoder()
	case utf16BE:
		return unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewDecoder()
	case windows1252:
		return charmap.Windows1252.NewDecoder()
	}
	return nil
}

// text turns the bytes of a file into UTF-8 with LF at every line end. It refuses
// bytes that are no text, and lines beyond [mostLine].
type text struct {
	raw   io.Reader
	enc   charset // asciiText until a byte says otherwise
	fresh bool    // the byte order mark may still come
	buf   []byte
	ready []byte // decoded, not yet handed out
	kept  []byte // read, not yet decoded: half a rune or a CR
	err   error

	line   int // of the next byte, from 1
	since  int // bytes of the current line so far
	quotes quoteState
	prior  byte
	comma  byte
}

type quoteState int

const (
	outside quoteState = iota
	inside
	closing // a quote inside a quoted cell: its end, or the first of two
)

func newText(raw io.Reader, enc charset, comma byte) *text {
	t := &text{enc: enc, fresh: true, buf: make([]byte, 64<<10), line: 1, comma: comma, prior: '\n'}
	t.raw = raw
	if d := enc.decoder(); d != nil {
		t.raw = transform.NewReader(raw, d)
	}
	return t
}

func (t *text) Read(p []byte) (int, error) {
	for len(t.ready) == 0 {
		if t.err != nil {
			return 0, t.err
		}
		t.fill()
	}
	n := copy(p, t.ready)
	t.ready = t.ready[n:]
	return n, nil
}

// fill reads one block and makes as much of it ready as is whole.
func (t *text) fill() {
	n := copy(t.buf, t.kept)
	m, err := t.raw.Read(t.buf[n:])
	block := t.buf[:n+m]
	t.kept = t.kept[:0]
	if err != nil && err != io.EOF {
		t.err = &Error{Line: t.line, Found: "a file that cannot be read on: " + err.Error(), Want: "a file that can be read to its end",
			Remedy: "Copy the export to this computer again and try once more."}
		return
	}
	t.err = err
	if t.fresh && len(block) > 0 {
		if len(block) < 3 && err == nil {
			t.kept = append(t.kept, block...)
			return
		}
		t.fresh = false
		block = bytes.TrimPrefix(block, []byte("\uFEFF"))
	}
	if err == nil {
		block = t.hold(block)
	}
	if !t.decided(block) {
		return
	}
	if bad := t.check(block); bad != nil {
		t.err = bad
		return
	}
	lineEnds(block)
	if bad := t.measure(block); bad != nil {
		t.err = bad
	}
	t.ready = block
}

// hold keeps back a CR or half a rune at the end of a block for the next one.
func (t *text) hold(block []byte) []byte {
	cut := len(block)
	if cut > 0 && block[cut-1] == '\r' {
		cut--
	} else {
		for i := 1; i <= 3 && i <= len(block); i++ {
			if c := block[len(block)-i]; c >= 0xC0 {
				if !utf8.FullRune(block[len(block)-i:]) {
					cut = len(block) - i
				}
				break
			} else if c < 0x80 {
				break
			}
		}
	}
	t.kept = append(t.kept, block[cut:]...)
	return block[:cut]
}

// decided settles between UTF-8 and Windows-1252 at the first byte beyond ASCII.
// It returns false if the block is to be read again in the other encoding.
func (t *text) decided(block []byte) bool {
	if t.enc != asciiText || plainASCII(block) {
		return true
	}
	if utf8.Valid(block) {
		t.enc = utf8Text
		return true
	}
	t.enc = windows1252
	again := append(append([]byte{}, block...), t.kept...)
	t.kept = t.kept[:0]
	t.raw = transform.NewReader(io.MultiReader(bytes.NewReader(again), t.raw), t.enc.decoder())
	t.err = nil
	return false
}

func plainASCII(b []byte) bool {
	for _, c := range b {
		if c >= 0x80 {
			return false
		}
	}
	return true
}

// check refuses what is no text.
func (t *text) check(block []byte) *Error {
	if i := bytes.IndexByte(block, 0); i >= 0 {
		return t.notText(block, i, "a byte 0, which no text holds")
	}
	switch t.enc {
	case utf8Text:
		if !utf8.Valid(block) {
			i := 0
			for i < len(block) {
				r, size := utf8.DecodeRune(block[i:])
				if r == utf8.RuneError && size == 1 {
					break
				}
				i += size
			}
			return t.notText(block, i, "a byte that is not UTF-8 in a file that began as UTF-8")
		}
	case utf16LE, utf16BE, windows1252:
		if i := bytes.Index(block, []byte("\uFFFD")); i >= 0 {
			return t.notText(block, i, "bytes that are not "+string(t.enc))
		}
	}
	return nil
}

func (t *text) notText(block []byte, i int, found string) *Error {
	line := t.line + bytes.Count(block[:i], []byte("\n"))
	if !bytes.Contains(block, []byte("\n")) {
		line = t.line + bytes.Count(block[:i], []byte("\r"))
	}
	return &Error{Line: line, Found: found, Want: "a table as text, in " + string(t.name()),
		Remedy: "Export the cycle again as CSV; this file is damaged or is not a CSV export."}
}

func (t *text) name() charset {
	if t.enc == asciiText {
		return utf8Text
	}
	return t.enc
}

// lineEnds turns a CR that no LF follows into LF. The length stays.
func lineEnds(block []byte) {
	for i := 0; i < len(block); i++ {
		j := bytes.IndexByte(block[i:], '\r')
		if j < 0 {
			return
		}
		i += j
		if i+1 < len(block) && block[i+1] == '\n' {
			i++
			continue
		}
		block[i] = '\n'
	}
}

// measure counts lines and refuses one that is too long, quoted line breaks included.
func (t *text) measure(block []byte) *Error {
	if t.quotes == outside && bytes.IndexByte(block, '"') < 0 {
		t.count(block)
	} else {
		t.walk(block)
	}
	t.line += bytes.Count(block, []byte("\n"))
	if len(block) > 0 {
		t.prior = block[len(block)-1]
	}
	if t.since > mostLine {
		return &Error{Line: t.line, Found: "a line longer than 1 MiB", Want: "one line for each reading",
			Remedy: "Export the cycle again as CSV. If a quotation mark was left open in this file, this is where it shows."}
	}
	return nil
}

// count adds a block without quotes to the length of the current line.
func (t *text) count(block []byte) {
	if t.quotes != inside {
		if i := bytes.LastIndexByte(block, '\n'); i >= 0 {
			t.since = len(block) - i - 1
			return
		}
	}
	t.since += len(block)
}

// walk does the same where cells are quoted. A quote opens only at the start of a cell.
func (t *text) walk(block []byte) {
	prior := t.prior
	for _, c := range block {
		t.since++
		if t.quotes == closing {
			if c == '"' {
				t.quotes, prior = inside, c
				continue
			}
			t.quotes = outside
		}
		switch {
		case c == '"' && t.quotes == inside:
			t.quotes = closing
		case c == '"' && (prior == '\n' || prior == t.comma):
			t.quotes = inside
		case c == '\n' && t.quotes == outside:
			t.since = 0
		}
		prior = c
	}
}
