package pdffile

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
)

// A table is one cross-reference section with its trailer.
type table struct {
	start, end int // from "xref" to after the line end behind "%%EOF"
	entries    []entry
	trailer    *Dict
}

type entry struct{ number, offset int }

// readTables returns all tables, oldest first. It starts from the end of the file and
// goes only backwards, so a chain of tables cannot loop.
func readTables(data []byte) ([]table, error) {
	at, err := lastTable(data)
	if err != nil {
		return nil, err
	}
	var tables []table
	end := len(data)
	for {
		if len(tables) == maxRevisions {
			return nil, &Error{at, fmt.Sprintf("the file was extended more than %d times", maxRevisions)}
		}
		t, err := readTable(data, at, end)
		if err != nil {
			return nil, err
		}
		tables = append(tables, t)
		prev := t.trailer.Entry("Prev")
		if prev == nil {
			break
		}
		n, ok := prev.Value.(Integer)
		if !ok || n <= 0 || int64(n) >= int64(t.start) {
			return nil, &Error{prev.Start, "/Prev must be the place of an earlier table"}
		}
		at, end = int(n), t.start
	}
	if end := tables[0].end; end != len(data) {
		return nil, &Error{end, "bytes follow the end of the file"}
	}
	slices.Reverse(tables)
	return tables, checkSizes(tables)
}

// checkSizes demands that each trailer's /Size fits the numbers listed so far.
func checkSizes(tables []table) error {
	size := 0
	for _, t := range tables {
		for _, e := range t.entries {
			size = max(size, e.number+1)
		}
		if t.trailer.Get("Size") != Value(Integer(size)) {
			return &Error{t.start, fmt.Sprintf("the trailer's /Size is not %d", size)}
		}
	}
	return nil
}

// lastTable reads "startxref", a number and "%%EOF" at the very end.
func lastTable(data []byte) (int, error) {
	tail := max(0, len(data)-48)
	i := bytes.LastIndex(data[tail:], []byte("startxref"))
	if i < 0 {
		return 0, &Error{len(data), "the file does not end with startxref, a number and %%EOF"}
	}
	s := scanner{data: data, pos: tail + i + len("startxref"), end: len(data)}
	if !s.lineEnd() {
		return 0, s.errorf("expected a line end after startxref")
	}
	return s.digits()
}

func readTable(data []byte, at, end int) (table, error) {
	t := table{start: at}
	if at >= end {
		return t, &Error{end, fmt.Sprintf("startxref points to byte %d, outside the revision", at)}
	}
	s := scanner{data: data, pos: at, end: end}
	if !s.has("xref") || !s.lineEnd() {
		return t, s.errorf("no classical cross-reference table stands here; a cross-reference stream is not accepted")
	}
	if err := t.sections(&s); err != nil {
		return t, err
	}
	values := 1000
	s.values = &values
	s.space()
	v, err := s.value(maxDepth)
	if err != nil {
		return t, err
	}
	d, ok := v.(*Dict)
	if !ok {
		return t, s.errorf("expected the trailer's dictionary")
	}
	if d.Entry("Encrypt") != nil {
		return t, s.errorf("the file is encrypted")
	}
	if key, ok := d.Only("Size", "Root", "Info", "ID", "Prev"); !ok {
		return t, s.errorf("the trailer has the key %q, which these records do not use", clip(string(key)))
	}
	t.trailer = d
	return t, t.finish(&s)
}

// sections reads the table up to and with the word "trailer". An entry is 20 bytes.
func (t *table) sections(s *scanner) error {
	const size = 20
	for !s.keyword("trailer") {
		first, err := s.digits()
		if err != nil {
			return err
		}
		if !s.has(" ") {
			return s.errorf("expected a space between first number and count")
		}
		count, err := s.digits()
		if err != nil {
			return err
		}
		s.has(" ")
		if !s.lineEnd() {
			return s.errorf("expected a line end after the count")
		}
		if count == 0 || count > (s.end-s.pos)/size || first > maxSize {
			return s.errorf("the table announces %d entries and has room for %d", count, (s.end-s.pos)/size)
		}
		if n := len(t.entries); n > 0 && first <= t.entries[n-1].number {
			return s.errorf("the table is not in ascending order")
		}
		for n := first; n < first+count; n++ {
			if err := t.entry(s, n); err != nil {
				return err
			}
		}
	}
	return nil
}

func (t *table) entry(s *scanner, number int) error {
	line := s.data[s.pos : s.pos+20]
	ending := string(line[18:])
	if line[10] != ' ' || line[16] != ' ' || ending != " \n" && ending != " \r" && ending != "\r\n" {
		return s.errorf("an entry of the table is not written in 20 bytes")
	}
	e := scanner{data: line, end: 10}
	offset, err := e.digits()
	if err != nil || e.pos != 10 {
		return s.errorf("an entry's offset is no number of 10 digits")
	}
	switch kind := string(line[11:18]); {
	case number == 0 && offset == 0 && kind == "65535 f":
	case number > 0 && kind == "00000 n":
		t.entries = append(t.entries, entry{number, offset})
	default:
		return s.errorf("object %d: an entry that is neither in use with generation 0 nor the head of the free list", number)
	}
	s.pos += 20
	return nil
}

// finish reads "startxref", the table's own place and "%%EOF" with its line end.
func (t *table) finish(s *scanner) error {
	s.space()
	if !s.has("startxref") || !s.lineEnd() {
		return s.errorf("expected startxref after the trailer")
	}
	own, err := s.digits()
	if err != nil {
		return err
	}
	if own != t.start {
		return s.errorf("startxref says %d, the table stands at %d", own, t.start)
	}
	if !s.lineEnd() || !s.has("%%EOF") {
		return s.errorf("expected %%%%EOF after startxref")
	}
	s.lineEnd()
	t.end = s.pos
	return nil
}

// objects reads every object the table lists and demands that together they fill
// data[start:t.start] but for white space.
func (t *table) objects(data []byte, start int, budget *int) (map[int]*Object, error) {
	byPlace := slices.SortedFunc(slices.Values(t.entries), func(a, b entry) int { return cmp.Compare(a.offset, b.offset) })
	objects := make(map[int]*Object, len(byPlace))
	s := &scanner{data: data, pos: start, end: t.start, values: budget}
	for _, e := range byPlace {
		s.space()
		if s.pos != e.offset {
			return nil, s.errorf("the table has object %d at byte %d, but something else stands before it", e.number, e.offset)
		}
		o, err := s.object(e.number)
		if err != nil {
			return nil, err
		}
		objects[e.number] = o
	}
	if s.space(); s.pos != t.start {
		return nil, s.errorf("bytes that belong to no listed object")
	}
	return objects, nil
}

func (s *scanner) object(number int) (*Object, error) {
	o := &Object{Number: number, Start: s.pos}
	n, err := s.digits()
	if err != nil {
		return nil, err
	}
	if n != number || !s.has(" 0 obj") {
		return nil, s.errorf("expected the start of object %d", number)
	}
	s.space()
	if o.Value, err = s.value(maxDepth); err != nil {
		return nil, err
	}
	s.space()
	if d, ok := o.Value.(*Dict); ok && s.has("stream") {
		if o.Stream, err = s.stream(d); err != nil {
			return nil, err
		}
		s.space()
	}
	if !s.keyword("endobj") {
		return nil, s.errorf("object %d does not end here", number)
	}
	o.End = s.pos
	return o, nil
}

// stream reads the bytes of a stream; its length must stand in the dictionary itself.
func (s *scanner) stream(d *Dict) ([]byte, error) {
	if !s.has("\r\n") && !s.has("\n") {
		return nil, s.errorf("expected a line end after the word stream")
	}
	length, ok := d.Get("Length").(Integer)
	if !ok || length < 0 || int64(length) > int64(s.end-s.pos) {
		return nil, s.errorf("the stream's /Length is missing, no number, or reaches past the end")
	}
	body := s.data[s.pos : s.pos+int(length) : s.pos+int(length)]
	s.pos += int(length)
	s.lineEnd()
	if !s.keyword("endstream") {
		return nil, s.errorf("the stream does not end where its /Length says")
	}
	return body, nil
}
