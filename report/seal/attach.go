package seal

import (
	"bytes"
	"compress/zlib"
	"errors"
	"fmt"
	"io"

	"holdproof/report/seal/pdffile"
)

// maxAttached bounds what all attachments of a record may have, bytes unpacked. Ours; a
// day of 40 cycles has some 5 MB.
const maxAttached = 256 << 20

// An Attachment is a file inside a record.
type Attachment struct {
	Name         string
	Relationship string // "Source", "Data", ... (ISO 19005-3, AFRelationship)
	Bytes        []byte
}

// Attachments returns the files inside a verified record, in its order.
//
// Error: the record is not OK, or an attachment is not stored as these records do.
func (r *Report) Attachments() ([]Attachment, error) {
	if !r.OK {
		return nil, errors.New("the record is not sound, so nothing is taken out of it")
	}
	_, root, err := r.file.Root()
	if err != nil {
		return nil, err
	}
	refs, _ := r.file.Resolve(root.Get("AF")).(pdffile.Array)
	var list []Attachment
	left := maxAttached
	for _, ref := range refs {
		a, err := r.attachment(r.file.Dict(ref), left)
		if err != nil {
			return nil, err
		}
		left -= len(a.Bytes)
		list = append(list, a)
	}
	return list, nil
}

func (r *Report) attachment(spec *pdffile.Dict, left int) (a Attachment, err error) {
	var ok bool
	if a.Name, ok = readText(spec.Get("UF")); !ok {
		return a, errors.New("an attachment has no name")
	}
	relationship, _ := spec.Get("AFRelationship").(pdffile.Name)
	a.Relationship = string(relationship)
	ref, _ := direct(spec.Get("EF")).Get("F").(pdffile.Ref)
	o := r.file.Object(int(ref))
	if o == nil || o.Stream == nil {
		return a, fmt.Errorf("the attachment %q has no contents", a.Name)
	}
	if a.Bytes, err = unpack(o, left); err != nil {
		return a, fmt.Errorf("the attachment %q: %w", a.Name, err)
	}
	want := r.file.Dict(o.Dict().Get("Params")).Get("Size")
	if want != nil && want != pdffile.Value(pdffile.Integer(len(a.Bytes))) {
		return a, fmt.Errorf("the attachment %q has %d bytes, its entry says otherwise", a.Name, len(a.Bytes))
	}
	return a, nil
}

// unpack returns a stream's bytes, plain or deflated, at most limit.
func unpack(o *pdffile.Object, limit int) ([]byte, error) {
	var in io.Reader = bytes.NewReader(o.Stream)
	switch filter := o.Dict().Get("Filter"); filter {
	case nil:
	case pdffile.Name("FlateDecode"):
		z, err := zlib.NewReader(in)
		if err != nil {
			return nil, errors.New("the compressed bytes cannot be read")
		}
		in = z
	default:
		return nil, errors.New("stored in a way these records do not use")
	}
	b, err := io.ReadAll(io.LimitReader(in, int64(limit)+1))
	if err != nil {
		return nil, errors.New("the compressed bytes cannot be read")
	}
	if len(b) > limit {
		return nil, fmt.Errorf("all attachments together have more than %d bytes", maxAttached)
	}
	return b, nil
}
