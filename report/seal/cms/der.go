package cms

import (
	"bytes"
	"encoding/asn1"
	"errors"
	"slices"
)

// Tags of X.690 that occur here.
const (
	tagInteger     = 0x02
	tagOctetString = 0x04
	tagOID         = 0x06
	tagTime        = 0x18
	tagSequence    = 0x30
	tagSet         = 0x31
)

func context(n byte) byte { return 0xa0 | n } // context-specific, constructed

// tlv writes one element in DER: tag, shortest length, contents.
func tlv(tag byte, contents ...[]byte) []byte {
	n := 0
	for _, c := range contents {
		n += len(c)
	}
	out := make([]byte, 0, n+6)
	out = append(out, tag)
	switch {
	case n < 0x80:
		out = append(out, byte(n))
	case n < 0x100:
		out = append(out, 0x81, byte(n))
	case n < 0x10000:
		out = append(out, 0x82, byte(n>>8), byte(n))
	default:
		out = append(out, 0x83, byte(n>>16), byte(n>>8), byte(n))
	}
	for _, c := range contents {
		out = append(out, c...)
	}
	return out
}

// setOf writes a SET OF, whose members DER puts in ascending order (X.690, 11.6).
func setOf(tag byte, members ...[]byte) []byte {
	members = slices.Clone(members)
	slices.SortFunc(members, bytes.Compare)
	return tlv(tag, members...)
}

func oid(numbers ...int) []byte {
	out, err := asn1.Marshal(asn1.ObjectIdentifier(numbers))
	if err != nil {
		panic(err) // only constants of this package come here
	}
	return out
}

var errForm = errors.New("the signature is not written as DER demands, or ends early")

// reader takes DER elements off the front of a slice. It never recurses and never
// allocates; nested elements are read by a new reader over the contents.
type reader struct{ rest []byte }

// element returns the next element if it has the tag: its contents, and itself whole.
func (r *reader) element(tag byte) (contents, whole []byte, err error) {
	b := r.rest
	if len(b) < 2 || b[0] != tag {
		return nil, nil, errForm
	}
	n, head := int(b[1]), 2
	if n >= 0x80 {
		size := n - 0x80
		if size < 1 || size > 3 || len(b) < 2+size {
			return nil, nil, errForm
		}
		n = 0
		for _, c := range b[2 : 2+size] {
			n = n<<8 | int(c)
		}
		head += size
		if n < 0x80 || size > 1 && n < 1<<(8*(size-1)) {
			return nil, nil, errForm // a shorter length would do
		}
	}
	if len(b)-head < n {
		return nil, nil, errForm
	}
	r.rest = b[head+n:]
	return b[head : head+n : head+n], b[: head+n : head+n], nil
}

// into replaces r by a reader over the contents of its next element.
func (r *reader) into(tag byte) (reader, error) {
	contents, _, err := r.element(tag)
	return reader{contents}, err
}

// only is into for an element that must be the last one.
func (r *reader) only(tag byte) (reader, error) {
	inner, err := r.into(tag)
	if err == nil {
		err = r.end()
	}
	return inner, err
}

// exactly consumes the bytes of want.
func (r *reader) exactly(want []byte) error {
	if !bytes.HasPrefix(r.rest, want) {
		return errForm
	}
	r.rest = r.rest[len(want):]
	return nil
}

func (r *reader) next(tag byte) bool { return len(r.rest) > 0 && r.rest[0] == tag }

func (r *reader) end() error {
	if len(r.rest) != 0 {
		return errForm
	}
	return nil
}

// integer returns the contents of an INTEGER in its shortest form.
func (r *reader) integer() ([]byte, error) {
	c, _, err := r.element(tagInteger)
	if err != nil {
		return nil, err
	}
	if len(c) == 0 || len(c) > 1 && (c[0] == 0 && c[1] < 0x80 || c[0] == 0xff && c[1] >= 0x80) {
		return nil, errForm
	}
	return c, nil
}
