package seal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"

	"holdproof/report/seal/cms"
	"holdproof/report/seal/pdffile"
)

// stampRoom is what a time stamp may take on top of a CMS, bytes.
const stampRoom = 10 << 10

// Places says where the blocks of a record stand.
type Places struct {
	Prepared Place
	// Reviewed is where the second person will sign; nil if nobody will. Without it the
	// first signature forbids every later change, with it all but that one signature.
	Reviewed *Place
}

// Sign puts the first signature, "prepared", under a finished PDF: certifying, with its
// visible block, and with the empty field of the second. It appends to the PDF and
// changes none of its bytes. With stamp, the signature carries a time stamp (B-T).
//
// The PDF must be of the kind pdffile reads, never extended before, without form and
// signature. Same inputs, same bytes (a stamp differs each time). The result was
// verified before it is returned.
//
// Error: a sentence without full stop; then there is no result at all.
func Sign(pdf []byte, k *Key, s Statement, places Places, stamp Stamper) ([]byte, error) {
	if err := s.check(k); err != nil {
		return nil, err
	}
	f, err := pdffile.Read(pdf)
	if err != nil {
		return nil, err
	}
	number, root, err := f.Root()
	if err != nil {
		return nil, err
	}
	if len(f.Revisions) > 1 || root.Entry("AcroForm") != nil || root.Entry("Perms") != nil {
		return nil, errors.New("the PDF has been extended, has a form, or is signed already")
	}
	u := f.Update()
	signature := u.Reserve()
	fields, err := putFields(u, f, root, places, signature, k, s)
	if err != nil {
		return nil, err
	}
	form := u.Reserve()
	u.Put(form, fmt.Appendf(nil, "<< /Fields [%s] /SigFlags 3 >>", fields))
	u.Put(number, splice(f, root, fmt.Sprintf(" /AcroForm %d 0 R /Perms << /DocMDP %d 0 R >>", form, signature)))
	permission := 2
	if places.Reviewed == nil {
		permission = 1
	}
	return finish(u, pdf, signature, k, s, Prepared, permission, stamp)
}

// Countersign puts the second signature, "reviewed", into the field that Sign prepared.
// It appends three objects and changes no byte.
//
// Error: a sentence without full stop if the record is not sound as it is, has no field
// waiting, was prepared by the same person (name or key), or is signed before it was
// prepared.
func Countersign(pdf []byte, k *Key, s Statement, stamp Stamper) ([]byte, error) {
	if err := s.check(k); err != nil {
		return nil, err
	}
	report := Verify(pdf, Trust{})
	if !report.OK {
		return nil, errors.New("the record cannot be countersigned: " + strings.TrimSuffix(report.Problems[0], "."))
	}
	if !report.Waiting {
		return nil, errors.New("the record has no second field waiting for a signature")
	}
	first := report.Signatures[0]
	if samePerson(first.Certificate, k.Certificate()) {
		return nil, fmt.Errorf("%s prepared this record and cannot review it", first.Name)
	}
	if s.Time.Before(first.Printed) {
		return nil, fmt.Errorf("the record was prepared at %s, it cannot be reviewed before that", first.Printed.Format(dayAndClock))
	}
	f, u := report.file, report.file.Update()
	signature, appearance := u.Reserve(), u.Reserve()
	w := report.waiting
	w.signature, w.appearance = signature, appearance
	w.contents = words(Reviewed, k.name(), s.Role, s.Time)
	width, height, err := size(f, report.waiting.appearance)
	if err != nil {
		return nil, err
	}
	if err := putAppearance(u, appearance, filledLines(capital(Reviewed), k.name(), s.Role, s.Time.Format(dayAndClock)), width, height); err != nil {
		return nil, err
	}
	u.Put(report.field, []byte(w.text()))
	return finish(u, pdf, signature, k, s, Reviewed, 0, stamp)
}

func (k *Key) name() string { return k.Certificate().Subject.CommonName }

// check refuses what could not be printed or would not verify.
func (s *Statement) check(k *Key) error {
	if k.Certificate().IsCA {
		return errors.New("a record is signed with a personal key, not with the site's authority")
	}
	for _, n := range [][2]string{{"the role", s.Role}, {"the surgery's name", s.Surgery}, {"the name in the certificate", k.name()}} {
		if err := checkName(n[0], n[1]); err != nil {
			return err
		}
	}
	if _, offset := s.Time.Zone(); offset%60 != 0 || s.Time.Year() < 2000 || s.Time.Year() > 9999 {
		return errors.New("the time of signing is not between the years 2000 and 9999 with an offset of whole minutes")
	}
	return judgeChain(k.chain, nil, s.Time)
}

// putFields writes the fields with their blocks and hooks them into their pages. It
// returns the references for the form.
func putFields(u *pdffile.Update, f *pdffile.File, root *pdffile.Dict, places Places, signature int, k *Key, s Statement) (string, error) {
	list, err := pages(f, root)
	if err != nil {
		return "", err
	}
	var refs []string
	onPage := map[int][]string{} // annotations by page object
	put := func(meaning string, p Place, lines []line, contents string, signature int) error {
		pg, rect, err := p.on(list)
		if err != nil {
			return err
		}
		field, appearance := u.Reserve(), u.Reserve()
		if err := putAppearance(u, appearance, lines, p.Width, p.Height); err != nil {
			return err
		}
		u.Put(field, []byte(widget{meaning, rect, pg.number, appearance, signature, contents}.text()))
		refs = append(refs, fmt.Sprintf("%d 0 R", field))
		onPage[pg.number] = append(onPage[pg.number], refs[len(refs)-1])
		return nil
	}
	lines := filledLines(capital(Prepared), k.name(), s.Role, s.Time.Format(dayAndClock))
	if err := put(Prepared, places.Prepared, lines, words(Prepared, k.name(), s.Role, s.Time), signature); err != nil {
		return "", err
	}
	if places.Reviewed != nil {
		if err := put(Reviewed, *places.Reviewed, emptyLines(capital(Reviewed)), emptyWords(Reviewed), 0); err != nil {
			return "", err
		}
	}
	for _, pg := range list {
		if annotations := onPage[pg.number]; len(annotations) > 0 {
			text, err := withAnnotations(f, pg.dict, strings.Join(annotations, " "))
			if err != nil {
				return "", err
			}
			u.Put(pg.number, text)
		}
	}
	return strings.Join(refs, " "), nil
}

// withAnnotations returns the page's text with more annotations.
func withAnnotations(f *pdffile.File, d *pdffile.Dict, refs string) ([]byte, error) {
	e := d.Entry("Annots")
	if e == nil {
		return splice(f, d, " /Annots ["+refs+"]"), nil
	}
	if _, ok := e.Value.(pdffile.Array); !ok {
		return nil, errors.New("a page keeps its annotations in an object of their own, which is not supported")
	}
	at := e.End - 1 - d.Start // before the closing bracket
	return slices.Insert(f.Text(d), at, []byte(" "+refs)...), nil
}

// splice returns the dictionary's text with more entries at its end.
func splice(f *pdffile.File, d *pdffile.Dict, more string) []byte {
	t := f.Text(d)
	return append(append(t[:len(t)-2:len(t)-2], more...), " >>"...)
}

// size returns width and height of an appearance, points.
func size(f *pdffile.File, appearance int) (width, height float64, err error) {
	box, ok := rectangle(f.Object(appearance).Dict().Get("BBox"))
	if !ok || box[0] != 0 || box[1] != 0 {
		return 0, 0, errors.New("the second field's block has no size")
	}
	return box[2], box[3], nil
}

// finish writes the signature dictionary, closes the revision and signs it.
func finish(u *pdffile.Update, pdf []byte, signature int, k *Key, s Statement, meaning string, permission int, stamp Stamper) ([]byte, error) {
	room, err := roomFor(k)
	if err != nil {
		return nil, err
	}
	if stamp != nil {
		room += stampRoom
	}
	dict := dictionary(k.name(), s, meaning, permission)
	at := u.Put(signature, []byte(dict+"/ByteRange "+strings.Repeat(" ", rangeRoom)+" /Contents <"+strings.Repeat("0", 2*room)+"> >>"))
	out, err := u.Finish(identifier(pdf, k, dict))
	if err != nil {
		return nil, err
	}
	rangeAt := at + len(dict) + len("/ByteRange ")
	open := rangeAt + rangeRoom + len(" /Contents ")
	after := open + 2*room + 2
	copy(out[rangeAt:], byteRange(open, after, len(out)))
	der, err := cms.Sign(digest(out, open, after), k.private, k.chain, stamp)
	if err != nil {
		return nil, err
	}
	if len(der) > room {
		return nil, fmt.Errorf("the signature with its certificates has %d bytes, %d were reserved", len(der), room)
	}
	hex.Encode(out[open+1:], der)
	if report := Verify(out, Trust{}); !report.OK {
		return nil, errors.New("the record was not signed: the result does not verify: " + strings.TrimSuffix(report.Problems[0], "."))
	}
	return out, nil
}

// roomFor is the room that a CMS of this key needs, bytes: it is made once over nothing. A
// signature by a P-256 key may be longer by a byte or two another time.
func roomFor(k *Key) (int, error) {
	der, err := cms.Sign([32]byte{}, k.private, k.chain, nil)
	return (len(der) + 16 + 63) &^ 63, err
}

// rangeRoom is the fixed width of /ByteRange: two brackets, four numbers of 10 digits.
const rangeRoom = 45

func byteRange(open, after, end int) string {
	s := fmt.Sprintf("[0 %d %d %d]", open, after, end-after)
	return s + strings.Repeat(" ", rangeRoom-len(s))
}

// dictionary writes the signature dictionary up to /ByteRange. permission is that of
// DocMDP: 1 nothing may change, 2 the prepared field may be signed; 0 for the second
// signature, which certifies nothing. /XXRole is a name of our own (ISO 32000-1, annex E).
func dictionary(name string, s Statement, meaning string, permission int) string {
	d := fmt.Sprintf("<< /Type /Sig /Filter /Adobe.PPKLite /SubFilter /ETSI.CAdES.detached /M %s /Name %s /Location %s /Reason (%s) /XXRole %s ",
		writeDate(s.Time), text(name), text(s.Surgery), meaning, text(s.Role))
	if permission != 0 {
		d += fmt.Sprintf("/Reference [<< /Type /SigRef /TransformMethod /DocMDP /TransformParams << /Type /TransformParams /P %d /V /1.2 >> >>] ", permission)
	}
	return d
}

// identifier makes the revision's half of /ID from what went into it.
func identifier(pdf []byte, k *Key, dict string) [16]byte {
	h := sha256.New()
	h.Write(pdf)
	h.Write(k.Certificate().Raw)
	h.Write([]byte(dict))
	return [16]byte(h.Sum(nil))
}

// digest is the SHA-256 of all bytes but those from open to after.
func digest(b []byte, open, after int) [32]byte {
	h := sha256.New()
	h.Write(b[:open])
	h.Write(b[after:])
	return [32]byte(h.Sum(nil))
}

// canonicalHex reads the hexadecimal digits of a signature: small letters, and only
// zeros behind the end of the CMS. It returns the CMS.
func canonicalHex(digits []byte) ([]byte, error) {
	if len(digits)%2 != 0 || len(bytes.Trim(digits, "0123456789abcdef")) > 0 {
		return nil, errors.New("the signature is not written in small hexadecimal digits")
	}
	raw := make([]byte, len(digits)/2)
	if _, err := hex.Decode(raw, digits); err != nil {
		return nil, err
	}
	// 30 82 LL LL: a SEQUENCE of 256 to 65535 bytes, which every signature is.
	if len(raw) < 4 || raw[0] != 0x30 || raw[1] != 0x82 {
		return nil, errors.New("the signature is no CMS")
	}
	n := 4 + int(raw[2])<<8 + int(raw[3])
	if n > len(raw) || len(bytes.Trim(raw[n:], "\x00")) > 0 {
		return nil, errors.New("the signature's CMS does not fill its place with zeros behind it")
	}
	return raw[:n], nil
}
