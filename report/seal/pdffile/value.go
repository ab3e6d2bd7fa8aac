package pdffile

import "bytes"

// A Value is one PDF object as the file writes it: nil (null), bool, [Integer],
// [Real], [Name], [String], [Array], *[Dict] or [Ref].
type Value any

type (
	// Integer is a whole number without unit, at most 18 digits.
	Integer int64
	// Real is a number with a decimal point, kept as its text.
	Real string
	// Name is a name without its slash, #xx already resolved.
	Name string
	// String is a literal or hexadecimal string, its bytes.
	String []byte
	// Array is a list of values.
	Array []Value
	// Ref points to the indirect object with this number; the generation is always 0.
	Ref int
)

// A Dict is a dictionary: its entries in the order of the file, no key twice.
type Dict struct {
	Entries []Entry
	// Start and End enclose the text from "<<" to ">>" in the file.
	Start, End int
}

// An Entry is one key of a [Dict] with its value and the value's place in the file.
type Entry struct {
	Key        Name
	Value      Value
	Start, End int
}

// Entry returns the entry of key, nil if there is none. A nil Dict has none.
func (d *Dict) Entry(key Name) *Entry {
	if d == nil {
		return nil
	}
	for i := range d.Entries {
		if d.Entries[i].Key == key {
			return &d.Entries[i]
		}
	}
	return nil
}

// Get returns the value of key, nil if there is none.
func (d *Dict) Get(key Name) Value {
	if e := d.Entry(key); e != nil {
		return e.Value
	}
	return nil
}

// Only reports whether every key of d is among keys, and which one is not.
func (d *Dict) Only(keys ...Name) (stranger Name, ok bool) {
next:
	for _, e := range d.Entries {
		for _, k := range keys {
			if e.Key == k {
				continue next
			}
		}
		return e.Key, false
	}
	return "", true
}

// An Object is an indirect object.
type Object struct {
	Number     int
	Start, End int    // from its number to the end of "endobj"
	Value      Value  // for a stream, its dictionary
	Stream     []byte // as stored, still compressed; nil if this is no stream
}

// Dict returns the object's dictionary, nil if it is none or o is nil.
func (o *Object) Dict() *Dict {
	if o == nil {
		return nil
	}
	d, _ := o.Value.(*Dict)
	return d
}

func isSpace(c byte) bool {
	return c == ' ' || c == '\n' || c == '\r' || c == '\t' || c == '\f' || c == 0
}

func isDelimiter(c byte) bool { return bytes.IndexByte([]byte("()<>[]{}/%"), c) >= 0 }

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

func hexDigit(c byte) (byte, bool) {
	switch {
	case isDigit(c):
		return c - '0', true
	case 'a' <= c && c <= 'f':
		return c - 'a' + 10, true
	case 'A' <= c && c <= 'F':
		return c - 'A' + 10, true
	}
	return 0, false
}
