package seal

import (
	"bytes"
	"crypto"
	"crypto/x509"
	"errors"
	"fmt"
	"slices"
	"time"

	"holdproof/report/seal/cms"
	"holdproof/report/seal/pdffile"
)

// A Signature is one signature of a record as found and judged.
type Signature struct {
	Meaning       string    // Prepared or Reviewed
	Name          string    // from the certificate, and the same on the page
	Role, Surgery string    // as the signer stated
	Printed       time.Time // as the signer stated and as printed
	Judged        time.Time // when the certificate had to be valid
	JudgedFrom    string    // FromStamp, FromEntry or FromSigner: where Judged comes from
	Stamped       bool      // carries a time stamp
	Certificate   *x509.Certificate
	Fingerprint   string // of Certificate
	Authority     string // fingerprint of the highest certificate the signature brings
	Trusted       bool   // leads to one of the roots given
}

// A Report is what [Verify] found.
type Report struct {
	// OK: at least one signature, every one sound, every byte covered, nothing changed
	// but by filling the prepared field. With roots: and every signer trusted.
	OK bool
	// Trusted: OK, and roots were given.
	Trusted    bool
	Signatures []Signature // in the order of signing
	Waiting    bool        // the second field is there and empty
	Problems   []string    // sentences; empty if OK

	file    *pdffile.File
	waiting widget // the empty field, if Waiting
	field   int    // its object number
}

// Verify checks a signed record offline. It proves that the file is, byte for byte, what
// its signers signed, and says who they are; whether they were allowed to is a question
// for the logbook.
//
// A file cut back to its first signature is that first signature's record and passes
// with Waiting set. Verify never panics and takes memory in proportion to the file.
func Verify(pdf []byte, t Trust) *Report {
	r := &Report{}
	if err := r.verify(pdf, t); err != nil {
		r.Problems = append(r.Problems, capitalised(err))
	}
	r.OK = len(r.Problems) == 0
	r.Trusted = r.OK && t.Roots != nil
	if !r.OK {
		for i := range r.Signatures {
			r.Signatures[i].Trusted = false
		}
	}
	return r
}

// savedAgain is what most often is behind a file that is not as it was signed, and what
// to do about it.
const savedAgain = "another program may have saved it again, so look at the file as the surgery keeps it, in its folder records"

func capitalised(err error) string {
	s := err.Error()
	return capital(s) + "."
}

func (r *Report) verify(pdf []byte, t Trust) (err error) {
	if r.file, err = pdffile.Read(pdf); err != nil {
		return fmt.Errorf("this is not a record as it was written; %s: %w", savedAgain, err)
	}
	fields, err := r.fields()
	if err != nil {
		return err
	}
	for i, fd := range fields {
		if fd.signature == 0 {
			if i == 0 {
				return errors.New("the record is not signed")
			}
			r.Waiting, r.waiting, r.field = true, fd.widget, fd.number
			continue
		}
		if err := r.signature(fd, i+1, len(fields), t); err != nil {
			return fmt.Errorf("signature %q: %w", fd.meaning, err)
		}
	}
	if want := len(r.Signatures) + 1; len(r.file.Revisions) != want {
		signed := r.file.Revisions[min(want, len(r.file.Revisions))-1].End
		return fmt.Errorf("the file was extended after the last signature, from byte %d on; %s (%d revisions, expected %d)", signed, savedAgain, len(r.file.Revisions), want)
	}
	return r.acrossSignatures(fields)
}

// A field is a signature field as the newest revision has it.
type field struct {
	widget
	number int
}

// fields reads the form: "prepared", and "reviewed" if a second signature is planned.
func (r *Report) fields() ([]field, error) {
	_, root, err := r.file.Root()
	if err != nil {
		return nil, err
	}
	form := r.file.Dict(root.Get("AcroForm"))
	if form == nil {
		return nil, errors.New("the record is not signed")
	}
	if _, ok := form.Only("Fields", "SigFlags"); !ok || form.Get("SigFlags") != pdffile.Value(pdffile.Integer(3)) {
		return nil, errors.New("the form is not the one these records have")
	}
	refs, _ := form.Get("Fields").(pdffile.Array)
	if len(refs) < 1 || len(refs) > 2 {
		return nil, errors.New("the form does not have one or two signature fields")
	}
	var fields []field
	for i, meaning := range []string{Prepared, Reviewed}[:len(refs)] {
		ref, ok := refs[i].(pdffile.Ref)
		if !ok {
			return nil, errors.New("the form's fields are not where these records have them")
		}
		w, err := r.readWidget(r.file.Object(int(ref)), meaning)
		if err != nil {
			return nil, err
		}
		fields = append(fields, field{w, int(ref)})
	}
	return fields, nil
}

// readWidget takes a widget apart and demands that it is written as widget.text does.
func (r *Report) readWidget(o *pdffile.Object, meaning string) (widget, error) {
	w := widget{meaning: meaning}
	d := o.Dict()
	rect, normal := d.Entry("Rect"), direct(d.Get("AP"))
	page, okPage := d.Get("P").(pdffile.Ref)
	appearance, okAppearance := normal.Get("N").(pdffile.Ref)
	contents, okContents := readText(d.Get("Contents"))
	if rect == nil || !okPage || !okAppearance || !okContents {
		return w, fmt.Errorf("the field %q is not as these records have it", meaning)
	}
	w.rect = string(r.file.Data[rect.Start:rect.End])
	w.page, w.appearance, w.contents = int(page), int(appearance), contents
	if v, ok := d.Get("V").(pdffile.Ref); ok {
		w.signature = int(v)
	}
	if w.text() != string(r.file.Text(d)) {
		return w, fmt.Errorf("the field %q is not as these records have it", meaning)
	}
	return w, nil
}

// direct returns v if it is a dictionary itself, not a reference to one.
func direct(v pdffile.Value) *pdffile.Dict {
	d, _ := v.(*pdffile.Dict)
	return d
}

// signature checks the signature in field fd, which must have made this revision, and
// appends what it found.
func (r *Report) signature(fd field, revision, planned int, t Trust) error {
	if revision >= len(r.file.Revisions) {
		return errors.New("it has no revision of its own")
	}
	d := r.file.Object(fd.signature).Dict()
	if d == nil {
		return errors.New("it has no dictionary")
	}
	permission := 0
	if revision == 1 {
		permission = planned // 1: nothing may follow; 2: one signature may
	}
	s, statement, err := r.signed(d, revision, permission)
	if err != nil {
		return err
	}
	own := s.Chain[0]
	sig := Signature{
		Meaning: fd.meaning, Name: own.Subject.CommonName, Role: statement.Role, Surgery: statement.Surgery,
		Printed: statement.Time, Stamped: s.Token != nil,
		Certificate: own, Fingerprint: Fingerprint(own), Authority: Fingerprint(s.Chain[len(s.Chain)-1]),
	}
	if own.IsCA {
		return errors.New("it was made with an authority's key, not with a personal one")
	}
	if fd.contents != words(fd.meaning, sig.Name, sig.Role, sig.Printed) {
		return errors.New("the words of its field are not those of the signature")
	}
	if sig.Judged, sig.JudgedFrom, err = judgedAt(s, fd.meaning, sig.Printed, t); err != nil {
		return err
	}
	if err := judgeChain(s.Chain, t.Roots, sig.Judged); err != nil {
		return err
	}
	sig.Trusted = t.Roots != nil
	r.Signatures = append(r.Signatures, sig)
	return nil
}

// signed reads the signature dictionary, demands its one form, and checks the CMS over
// all bytes of its revision and those before.
func (r *Report) signed(d *pdffile.Dict, revision, permission int) (*cms.Signed, Statement, error) {
	var s Statement
	name, ok1 := readText(d.Get("Name"))
	surgery, ok2 := readText(d.Get("Location"))
	role, ok3 := readText(d.Get("XXRole"))
	at, ok4 := readDate(d.Get("M"))
	contents := d.Entry("Contents")
	if !ok1 || !ok2 || !ok3 || !ok4 || contents == nil {
		return nil, s, errors.New("its dictionary lacks name, place, role, time or contents")
	}
	s = Statement{Role: role, Surgery: surgery, Time: at}
	meaning := []string{1: Prepared, 2: Reviewed}[revision]
	data, end := r.file.Data, r.file.Revisions[revision].End
	want := dictionary(name, s, meaning, permission) + "/ByteRange " + byteRange(contents.Start, contents.End, end) + " /Contents "
	if string(data[d.Start:contents.Start]) != want || string(data[contents.End:d.End]) != " >>" {
		return nil, s, errors.New("its dictionary is not as these records have it, or its byte range does not cover the file up to its end and leave out exactly the signature")
	}
	der, err := canonicalHex(data[contents.Start+1 : contents.End-1])
	if err != nil {
		return nil, s, err
	}
	sig, err := cms.Parse(der)
	if err != nil {
		return nil, s, err
	}
	if err := sig.Verify(digest(data[:end], contents.Start, contents.End)); err != nil {
		return nil, s, err
	}
	if name != sig.Chain[0].Subject.CommonName {
		return nil, s, fmt.Errorf("the name on the page, %q, is not that of the certificate, %q", name, sig.Chain[0].Subject.CommonName)
	}
	return sig, s, nil
}

// acrossSignatures checks what no signature can say of itself.
func (r *Report) acrossSignatures(fields []field) error {
	_, root, err := r.file.Root()
	if err != nil {
		return err
	}
	if direct(root.Get("Perms")).Get("DocMDP") != pdffile.Value(pdffile.Ref(fields[0].signature)) {
		return errors.New("the catalog does not name the first signature as the certifying one")
	}
	if len(r.Signatures) < 2 {
		return nil
	}
	first, second := r.Signatures[0], r.Signatures[1]
	if samePerson(first.Certificate, second.Certificate) {
		return fmt.Errorf("%s prepared and reviewed the record; two persons are needed", first.Name)
	}
	if second.Printed.Before(first.Printed) || second.Judged.Before(first.Judged) && second.JudgedFrom == first.JudgedFrom {
		return errors.New("the record was reviewed before it was prepared")
	}
	return r.secondRevision(fields[1])
}

// samePerson compares names and keys: a person may have had several certificates.
func samePerson(a, b *x509.Certificate) bool {
	key, ok := a.PublicKey.(interface{ Equal(crypto.PublicKey) bool })
	return a.Subject.CommonName == b.Subject.CommonName || !ok || key.Equal(b.PublicKey)
}

// secondRevision demands that the second signature changed nothing but its own field:
// three objects, two of them new, the third the field as it was plus value and block.
func (r *Report) secondRevision(now field) error {
	rev := r.file.Revisions[2]
	wanted := []int{now.number, now.signature, now.appearance}
	slices.Sort(wanted)
	if !slices.Equal(rev.Numbers, wanted) {
		return fmt.Errorf("the second signature changed more than its own field: objects %v", rev.Numbers)
	}
	before := r.file.ObjectAt(1, now.number).Dict()
	if before == nil || r.file.ObjectAt(1, now.signature) != nil || r.file.ObjectAt(1, now.appearance) != nil {
		return errors.New("the second signature replaced objects of the record")
	}
	appearance, _ := direct(before.Get("AP")).Get("N").(pdffile.Ref)
	was := now.widget
	was.signature, was.appearance, was.contents = 0, int(appearance), emptyWords(Reviewed)
	if was.text() != string(r.file.Text(before)) {
		return errors.New("the second field is not the one the first signature prepared")
	}
	for _, key := range []pdffile.Name{"Root", "Info", "ID"} {
		if !r.sameTrailer(key) {
			return fmt.Errorf("the second signature changed the trailer's /%s", key)
		}
	}
	return r.harmless(int(appearance), now.appearance)
}

func (r *Report) sameTrailer(key pdffile.Name) bool {
	a, b := r.file.Revisions[1].Trailer.Get(key), r.file.Revisions[2].Trailer.Get(key)
	if key != "ID" {
		refA, okA := a.(pdffile.Ref)
		refB, okB := b.(pdffile.Ref)
		return refA == refB && okA == okB && (okA || a == nil && b == nil)
	}
	x, _ := a.(pdffile.Array)
	y, _ := b.(pdffile.Array)
	if len(x) != 2 || len(y) != 2 {
		return false
	}
	first, ok := x[0].(pdffile.String)
	again, okAgain := y[0].(pdffile.String)
	return ok && okAgain && bytes.Equal(first, again)
}

// harmless demands that the new block has the size of the old one and no resources, so
// it can draw lines within its own frame and nothing else.
func (r *Report) harmless(before, now int) error {
	d, old := r.file.Object(now).Dict(), r.file.Object(before).Dict()
	if d == nil || old == nil || r.file.Object(now).Stream == nil {
		return errors.New("the second signature's block is no drawing")
	}
	width, height, err := size(r.file, before)
	if err != nil {
		return err
	}
	text := string(r.file.Text(d))
	want := fmt.Sprintf("<< %s /Length %d >>", appearanceDict(width, height), len(r.file.Object(now).Stream))
	if text != want {
		return errors.New("the second signature's block is not as these records have it")
	}
	return nil
}
