package pdffile

import (
	"bytes"
	"fmt"
	"strconv"
)

// Limits of the reader. The records of the house stay far below them; they are ours
// and keep a hostile file from costing more memory than a small multiple of its size.
const (
	maxDepth  = 32      // arrays and dictionaries within each other
	maxValues = 500_000 // values in one file
	maxKeys   = 1000    // keys in one dictionary
	maxSize   = 1 << 30 // bytes of one file
)

// An Error says at which byte of the file the reader stopped and why.
type Error struct {
	Offset int
	Reason string // without capital and full stop
}

func (e *Error) Error() string { return fmt.Sprintf("PDF, byte %d: %s", e.Offset, e.Reason) }

// scanner reads values from data[pos:end].
type scanner struct {
	data   []byte
	pos    int
	end    int
	values *int // how many values the file may still hold
}

func (s *scanner) errorf(format string, a ...any) error {
	return &Error{s.pos, fmt.Sprintf(format, a...)}
}

func (s *scanner) space() {
	for s.pos < s.end && isSpace(s.data[s.pos]) {
		s.pos++
	}
}

// has consumes word if it stands here.
func (s *scanner) has(word string) bool {
	if s.end-s.pos >= len(word) && string(s.data[s.pos:s.pos+len(word)]) == word {
		s.pos += len(word)
		return true
	}
	return false
}

// keyword consumes word if it stands here as a whole token.
func (s *scanner) keyword(word string) bool {
	start := s.pos
	if s.has(word) && (s.pos == s.end || isSpace(s.data[s.pos]) || isDelimiter(s.data[s.pos])) {
		return true
	}
	s.pos = start
	return false
}

// lineEnd consumes one LF, CR LF or CR.
func (s *scanner) lineEnd() bool { return s.has("\r\n") || s.has("\n") || s.has("\r") }

// digits reads 1 to 18 digits, no sign.
func (s *scanner) digits() (int, error) {
	start := s.pos
	for s.pos < s.end && isDigit(s.data[s.pos]) {
		s.pos++
	}
	text := s.data[start:s.pos]
	if len(text) == 0 || len(text) > 18 {
		s.pos = start
		return 0, s.errorf("expected a whole number of 1 to 18 digits")
	}
	n, err := strconv.Atoi(string(text))
	if err != nil {
		return 0, s.errorf("%q is no whole number", text)
	}
	return n, nil
}

// value reads one value; depth counts down.
func (s *scanner) value(depth int) (Value, error) {
	if depth == 0 {
		return nil, s.errorf("arrays and dictionaries stand more than %d deep within each other", maxDepth)
	}
	if *s.values--; *s.values < 0 {
		return nil, s.errorf("the file holds more than %d values", maxValues)
	}
	if s.pos >= s.end {
		return nil, s.errorf("the file ends inside an object")
	}
	switch c := s.data[s.pos]; {
	case c == '/':
		return s.name()
	case c == '(':
		return s.literal()
	case c == '[':
		return s.array(depth)
	case s.has("<<"):
		return s.dict(depth)
	case c == '<':
		return s.hex()
	case isDigit(c) || c == '-' || c == '+' || c == '.':
		return s.number()
	case s.keyword("true"):
		return true, nil
	case s.keyword("false"):
		return false, nil
	case s.keyword("null"):
		return nil, nil
	}
	return nil, s.errorf("expected a value, found %q", s.data[s.pos])
}

// number reads an integer, a real, or a reference "12 0 R".
func (s *scanner) number() (Value, error) {
	start := s.pos
	points, digits := 0, 0
	for s.pos < s.end && !isSpace(s.data[s.pos]) && !isDelimiter(s.data[s.pos]) {
		switch c := s.data[s.pos]; {
		case isDigit(c):
			digits++
		case c == '.':
			points++
		case (c == '-' || c == '+') && s.pos == start:
		default:
			return nil, s.errorf("%q does not belong in a number", c)
		}
		s.pos++
	}
	text := string(s.data[start:s.pos])
	if digits == 0 || digits > 18 || points > 1 {
		s.pos = start
		return nil, s.errorf("%q is no number", clip(text))
	}
	if points == 1 {
		return Real(text), nil
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		s.pos = start
		return nil, s.errorf("%q is no number", clip(text))
	}
	after := s.pos
	if isDigit(text[0]) && s.has(" 0 ") && s.keyword("R") {
		if n < 1 || n > maxSize {
			s.pos = start
			return nil, s.errorf("%d is no object number", n)
		}
		return Ref(n), nil
	}
	s.pos = after
	return Integer(n), nil
}

func clip(s string) string { return s[:min(len(s), 40)] }

func (s *scanner) name() (Value, error) {
	s.pos++
	start := s.pos
	var resolved []byte // only if the name holds #xx
	for s.pos < s.end && !isSpace(s.data[s.pos]) && !isDelimiter(s.data[s.pos]) {
		c := s.data[s.pos]
		if c != '#' {
			if resolved != nil {
				resolved = append(resolved, c)
			}
			s.pos++
			continue
		}
		if resolved == nil {
			resolved = append(make([]byte, 0, 32), s.data[start:s.pos]...)
		}
		if s.end-s.pos < 3 {
			return nil, s.errorf("# in a name needs two hexadecimal digits")
		}
		hi, ok1 := hexDigit(s.data[s.pos+1])
		lo, ok2 := hexDigit(s.data[s.pos+2])
		if !ok1 || !ok2 || hi == 0 && lo == 0 {
			return nil, s.errorf("# in a name needs two hexadecimal digits")
		}
		resolved = append(resolved, hi<<4|lo)
		s.pos += 3
	}
	if resolved != nil {
		return Name(resolved), nil
	}
	return Name(s.data[start:s.pos]), nil
}

func (s *scanner) array(depth int) (Value, error) {
	s.pos++
	list := Array{}
	for {
		s.space()
		if s.has("]") {
			return list, nil
		}
		v, err := s.value(depth - 1)
		if err != nil {
			return nil, err
		}
		list = append(list, v)
	}
}

// dict reads the rest of a dictionary; its "<<" is consumed already.
func (s *scanner) dict(depth int) (Value, error) {
	d := &Dict{Start: s.pos - 2}
	for {
		s.space()
		if s.has(">>") {
			d.End = s.pos
			return d, nil
		}
		if s.pos >= s.end || s.data[s.pos] != '/' {
			return nil, s.errorf("expected a name or >> in a dictionary")
		}
		key, err := s.name()
		if err != nil {
			return nil, err
		}
		e := Entry{Key: key.(Name)}
		if d.Entry(e.Key) != nil || len(d.Entries) == maxKeys {
			return nil, s.errorf("the dictionary has the key %q twice, or more than %d keys", clip(string(e.Key)), maxKeys)
		}
		s.space()
		e.Start = s.pos
		if e.Value, err = s.value(depth - 1); err != nil {
			return nil, err
		}
		e.End = s.pos
		d.Entries = append(d.Entries, e)
	}
}

func (s *scanner) hex() (Value, error) {
	start := s.pos + 1
	n := bytes.IndexByte(s.data[start:s.end], '>')
	if n < 0 {
		return nil, s.errorf("a hexadecimal string does not end")
	}
	if n%2 != 0 {
		return nil, s.errorf("a hexadecimal string has an odd number of digits")
	}
	out := make(String, n/2)
	for i := range out {
		hi, ok1 := hexDigit(s.data[start+2*i])
		lo, ok2 := hexDigit(s.data[start+2*i+1])
		if !ok1 || !ok2 {
			s.pos = start + 2*i
			return nil, s.errorf("a hexadecimal string holds something else than digits")
		}
		out[i] = hi<<4 | lo
	}
	s.pos = start + n + 1
	return out, nil
}

func (s *scanner) literal() (Value, error) {
	open := s.pos
	s.pos++
	out := String{}
	for depth := 1; s.pos < s.end; {
		c := s.data[s.pos]
		s.pos++
		switch c {
		case '(':
			depth++
		case ')':
			if depth--; depth == 0 {
				return out, nil
			}
		case '\\':
			out = s.escape(out)
			continue
		case '\r': // a line end in a string counts as LF, however it is written
			s.has("\n")
			c = '\n'
		}
		out = append(out, c)
	}
	s.pos = open
	return nil, s.errorf("a string does not end")
}

// escape appends what the escape after a backslash stands for (ISO 32000-1, table 3).
func (s *scanner) escape(out String) String {
	if s.lineEnd() || s.pos >= s.end {
		return out
	}
	c := s.data[s.pos]
	s.pos++
	if i := bytes.IndexByte([]byte("nrtbf"), c); i >= 0 {
		return append(out, "\n\r\t\b\f"[i])
	}
	if c < '0' || c > '7' {
		return append(out, c)
	}
	n := c - '0'
	for i := 0; i < 2 && s.pos < s.end && '0' <= s.data[s.pos] && s.data[s.pos] <= '7'; i++ {
		n = n<<3 | (s.data[s.pos] - '0')
		s.pos++
	}
	return append(out, n)
}
