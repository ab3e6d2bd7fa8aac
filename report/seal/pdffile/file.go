// Package pdffile reads and extends the one kind of PDF the house writes: classical
// cross-reference tables, generation 0, nothing encrypted.
//
// It reads strictly and repairs nothing. Every byte of the file belongs to the header,
// to one listed object, to a table, or is white space between them; an object nobody
// lists, a table that points elsewhere, a length that does not fit: each is an [Error]
// with the byte where it was seen. So two readers of such a file cannot see two
// different documents, and a signature over its bytes is one over its contents.
//
// Terms: ISO 32000-1:2008, 7.3 (objects), 7.5 (file structure), from memory; checked
// in tests against qpdf and the poppler tools.
package pdffile

import (
	"bytes"
	"fmt"
	"slices"
)

// maxRevisions bounds how often a file may have been extended. A signed record has
// three: as drawn, prepared, reviewed. Ours.
const maxRevisions = 16

// A Revision is one save of the file: objects, a table, a trailer.
type Revision struct {
	Start, End int // bytes of the file; the first starts at 0, each at the end of the one before
	Table      int // where "xref" stands
	Trailer    *Dict
	Numbers    []int // of the objects it adds or replaces, ascending
}

// A File is a PDF that was read without a doubt.
type File struct {
	Data      []byte
	Revisions []Revision // oldest first, at least one
	objects   []map[int]*Object
}

// Read reads a whole PDF.
//
// Error: *Error for any file that is not exactly of the kind above. It allocates no more
// than a small multiple of len(data), whatever data says. The File keeps data.
func Read(data []byte) (*File, error) {
	if len(data) > maxSize {
		return nil, &Error{0, fmt.Sprintf("the file is larger than %d bytes", maxSize)}
	}
	body, err := header(data)
	if err != nil {
		return nil, err
	}
	tables, err := readTables(data)
	if err != nil {
		return nil, err
	}
	f := &File{Data: data}
	budget := maxValues
	for i, t := range tables {
		start := body
		if i > 0 {
			start = tables[i-1].end
		}
		objects, err := t.objects(data, start, &budget)
		if err != nil {
			return nil, err
		}
		r := Revision{Start: start, End: t.end, Table: t.start, Trailer: t.trailer}
		if i == 0 {
			r.Start = 0
		}
		for n := range objects {
			r.Numbers = append(r.Numbers, n)
		}
		slices.Sort(r.Numbers)
		f.Revisions = append(f.Revisions, r)
		f.objects = append(f.objects, objects)
	}
	return f, nil
}

// header returns where the first object may start: after "%PDF-1.n" and one comment line.
func header(data []byte) (int, error) {
	s := scanner{data: data, end: len(data)}
	if !s.has("%PDF-1.") || s.pos >= s.end || s.data[s.pos] < '3' || s.data[s.pos] > '7' {
		return 0, s.errorf("the file does not begin with %%PDF-1.3 to %%PDF-1.7")
	}
	s.pos++
	if !s.lineEnd() {
		return 0, s.errorf("the first line holds more than the version")
	}
	if s.has("%") {
		for s.pos < s.end && s.data[s.pos] != '\n' && s.data[s.pos] != '\r' {
			s.pos++
		}
	}
	return s.pos, nil
}

// Object returns the newest object with this number, nil if there is none.
func (f *File) Object(number int) *Object { return f.ObjectAt(len(f.Revisions)-1, number) }

// ObjectAt returns the object with this number as it was in the revision (from 0).
func (f *File) ObjectAt(revision, number int) *Object {
	for i := revision; i >= 0; i-- {
		if o := f.objects[i][number]; o != nil {
			return o
		}
	}
	return nil
}

// Resolve follows v if it is a reference, once.
func (f *File) Resolve(v Value) Value {
	if r, ok := v.(Ref); ok {
		if o := f.Object(int(r)); o != nil {
			return o.Value
		}
		return nil
	}
	return v
}

// Dict returns v, or the object it points to, as a dictionary; nil if it is none.
func (f *File) Dict(v Value) *Dict {
	d, _ := f.Resolve(v).(*Dict)
	return d
}

// Root returns the number of the catalog and the catalog.
//
// Error: the trailers name none, or not all the same one.
func (f *File) Root() (int, *Dict, error) {
	root, ok := f.Revisions[0].Trailer.Get("Root").(Ref)
	for _, r := range f.Revisions {
		if r.Trailer.Get("Root") != Value(root) || !ok {
			return 0, nil, &Error{r.Table, "the trailer does not name the catalog"}
		}
	}
	d := f.Object(int(root)).Dict()
	if d == nil || d.Get("Type") != Value(Name("Catalog")) {
		return 0, nil, &Error{f.Revisions[0].Table, "the trailer's root is no catalog"}
	}
	return int(root), d, nil
}

// Size returns the first object number that is free.
func (f *File) Size() int {
	n, _ := f.Revisions[len(f.Revisions)-1].Trailer.Get("Size").(Integer)
	return int(n)
}

// Text returns the bytes of d as the file has them.
func (f *File) Text(d *Dict) []byte { return bytes.Clone(f.Data[d.Start:d.End]) }
