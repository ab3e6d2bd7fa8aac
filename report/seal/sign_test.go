package seal

import (
	"bytes"
	"compress/zlib"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"holdproof/report/seal/pdffile"
)

func TestSignThenCountersign(t *testing.T) {
	h := newHouse(t)
	base := smallPDF()
	once, err := Sign(base, h.nurse, nurseSays(), places(), nil)
	if err != nil {
		t.Fatal(err)
	}
	r := Verify(once, Trust{Roots: h.roots()})
	if !r.OK || !r.Trusted || !r.Waiting || len(r.Signatures) != 1 {
		t.Fatalf("after Sign: %+v", r)
	}
	both, err := Countersign(once, h.lead, leadSays(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(once, base) || !bytes.HasPrefix(both, once) {
		t.Error("a signature changed bytes that were there before")
	}
	r = Verify(both, Trust{Roots: h.roots()})
	if !r.OK || !r.Trusted || r.Waiting || len(r.Signatures) != 2 {
		t.Fatalf("after Countersign: %+v", r)
	}
	s := r.Signatures[1]
	if s.Meaning != Reviewed || s.Name != "Ines Okafor" || s.Role != "hygiene lead" || s.Surgery != "Tern Quay Surgery" ||
		!s.Printed.Equal(leadSays().Time) || !s.Judged.Equal(s.Printed) || s.JudgedFrom != FromSigner || !s.Trusted ||
		s.Fingerprint != Fingerprint(h.lead.Certificate()) || s.Authority != Fingerprint(h.authority.Certificate()) {
		t.Errorf("second signature: %+v", s)
	}
	if again := must(Sign(base, h.nurse, nurseSays(), places(), nil)); !bytes.Equal(again, once) {
		t.Error("the same inputs gave other bytes")
	}
}

func TestSameBytesEveryTime(t *testing.T) {
	a, b := fixedHouse().twice(t), fixedHouse().twice(t)
	if !bytes.Equal(a, b) {
		t.Error("the same inputs gave other bytes")
	}
}

func TestWithoutRootsSoundButNotTrusted(t *testing.T) {
	r := Verify(newHouse(t).twice(t), Trust{})
	if !r.OK || r.Trusted || r.Signatures[0].Trusted {
		t.Errorf("%+v", r)
	}
}

func TestNobodyReviews(t *testing.T) {
	h := newHouse(t)
	p := places()
	p.Reviewed = nil
	once, err := Sign(smallPDF(), h.nurse, nurseSays(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r := Verify(once, Trust{}); !r.OK || r.Waiting {
		t.Errorf("%+v", r)
	}
	if !bytes.Contains(once, []byte("/P 1 /V /1.2")) {
		t.Error("the first signature does not forbid every change")
	}
	_, err = Countersign(once, h.lead, leadSays(), nil)
	refused(t, err, "no second field waiting")
}

func TestAttachments(t *testing.T) {
	h := newHouse(t)
	list, err := Verify(h.twice(t), Trust{}).Attachments()
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 2 || list[0].Name != "day.json" || list[0].Relationship != "Data" || string(list[0].Bytes) != dayJSON || list[1].Name != "monday.csv" {
		t.Errorf("%+v", list)
	}
	_, err = Verify(smallPDF(), Trust{}).Attachments()
	refused(t, err, "not sound")
	for _, row := range [][3]string{
		{"/Size 32", "/Size 31", "its entry says otherwise"},
		{"/UF (day.json)", "/UX (day.json)", "has no name"},
		{"/F 7 0 R", "/G 7 0 R", "has no contents"},
		{"/Subtype /text#2Fcsv", "/Filter /LZWDecode  ", "do not use"},
		{"/Subtype /text#2Fcsv", "/Filter /FlateDecode", "cannot be read"},
	} {
		base := bytes.Replace(smallPDF(), []byte(row[0]), []byte(row[1]), 1)
		if bytes.Equal(base, smallPDF()) {
			t.Fatal("nothing changed: ", row)
		}
		_, err := Verify(must(Sign(base, h.nurse, nurseSays(), places(), nil)), Trust{}).Attachments()
		refused(t, err, row[2])
	}
}

// A few packed bytes may stand for very many: they are not unpacked beyond the limit.
func TestUnpackStops(t *testing.T) {
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	z.Write(make([]byte, 1<<20))
	z.Close()
	o := &pdffile.Object{Value: &pdffile.Dict{Entries: []pdffile.Entry{{Key: "Filter", Value: pdffile.Name("FlateDecode")}}}, Stream: packed.Bytes()}
	_, err := unpack(o, 1<<20-1)
	refused(t, err, "all attachments together")
	if b, err := unpack(o, 1<<20); err != nil || len(b) != 1<<20 {
		t.Error(len(b), err)
	}
}

func refused(t *testing.T, err error, want string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want an error about %q", err, want)
	}
}

func TestWhatCannotBeSigned(t *testing.T) {
	h := newHouse(t)
	once := must(Sign(smallPDF(), h.nurse, nurseSays(), places(), nil))
	sign := func(pdf []byte, k *Key, change func(*Statement, *Places)) error {
		s, p := nurseSays(), places()
		change(&s, &p)
		out, err := Sign(pdf, k, s, p, nil)
		if out != nil && err != nil {
			t.Error("a result beside an error")
		}
		return err
	}
	as := func(*Statement, *Places) {}
	for _, row := range []struct {
		want string
		err  error
	}{
		{"signed already", sign(once, h.nurse, as)},
		{"does not begin with", sign([]byte("hello"), h.nurse, as)},
		{"has a form", sign(pdfOf(" /AcroForm << >>", ""), h.nurse, as)},
		{"personal key", sign(smallPDF(), h.authority, as)},
		{"the role is empty", sign(smallPDF(), h.nurse, func(s *Statement, _ *Places) { s.Role = "" })},
		{"cannot be printed", sign(smallPDF(), h.nurse, func(s *Statement, _ *Places) { s.Role = "nurse\n" })},
		{"not at the time of signing", sign(smallPDF(), h.nurse, func(s *Statement, _ *Places) { s.Time = s.Time.AddDate(-1, 0, 0) })},
		{"not at the time of signing", sign(smallPDF(), h.nurse, func(s *Statement, _ *Places) { s.Time = s.Time.AddDate(6, 0, 0) })},
		{"between the years", sign(smallPDF(), h.nurse, func(s *Statement, _ *Places) { s.Time = time.Time{} })},
		{"no page 2", sign(smallPDF(), h.nurse, func(_ *Statement, p *Places) { p.Reviewed.Page = 2 })},
		{"does not fit", sign(smallPDF(), h.nurse, func(_ *Statement, p *Places) { p.Prepared.Y = 770 })},
		{"does not fit", sign(smallPDF(), h.nurse, func(_ *Statement, p *Places) { p.Prepared.Height = 20 })},
		{"does not fit", sign(smallPDF(), h.nurse, func(_ *Statement, p *Places) { p.Prepared.X = math.NaN() })},
		{"turned pages", sign(pdfOf("", " /Rotate 90"), h.nurse, as)},
		{"annotations in an object", sign(pdfOf("", " /Annots 4 0 R"), h.nurse, as)},
	} {
		refused(t, row.err, row.want)
	}
	second := func(k *Key, change func(*Statement)) error {
		s := leadSays()
		change(&s)
		_, err := Countersign(once, k, s, nil)
		return err
	}
	refused(t, second(h.nurse, func(*Statement) {}), "Dana Reed prepared this record")
	namesake := must(h.authority.Issue("Dana Reed", signingDay.AddDate(0, -1, 0)))
	refused(t, second(namesake, func(*Statement) {}), "Dana Reed prepared this record")
	refused(t, second(h.lead, func(s *Statement) { s.Time = signingDay.Add(-time.Second) }), "cannot be reviewed before")
}

func TestPageWithAnnotationsKeepsThem(t *testing.T) {
	h := newHouse(t)
	link := "<< /Type /Annot /Subtype /Link /Rect [0 0 10 10] /F 4 /Dest [3 0 R /Fit] >>"
	once, err := Sign(pdfOf("", " /Annots ["+link+"]"), h.nurse, nurseSays(), places(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(once, []byte("/Annots ["+link+" 12 0 R 14 0 R]")) {
		t.Error("the page's own annotation was lost")
	}
}

// The certificate has ended by the time somebody looks; what it signed in time is good.
func TestRecordOutlivesItsCertificate(t *testing.T) {
	h := newHouse(t)
	s := nurseSays()
	s.Time = h.nurse.Certificate().NotAfter.Add(-time.Hour)
	once, err := Sign(smallPDF(), h.nurse, s, places(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if r := Verify(once, Trust{Roots: h.roots()}); !r.Trusted {
		t.Error(r.Problems)
	}
	late := map[string]time.Time{Prepared: s.Time.Add(2 * time.Hour)}
	r := Verify(once, Trust{Roots: h.roots(), Times: late})
	if r.OK || !strings.Contains(r.Problems[0], "not at the time of signing") {
		t.Errorf("the logbook recorded it after the certificate's end: %+v", r)
	}
}

// Renewing a person's certificate leaves what the old one signed as it was.
func TestNewCertificateForTheSamePerson(t *testing.T) {
	h := newHouse(t)
	both := h.twice(t)
	renewed := must(h.authority.Issue("Dana Reed", signingDay.AddDate(0, 1, 0)))
	if Fingerprint(renewed.Certificate()) == Fingerprint(h.nurse.Certificate()) {
		t.Error("the new certificate is the old one")
	}
	if r := Verify(both, Trust{Roots: h.roots()}); !r.Trusted {
		t.Error(r.Problems)
	}
}

// A record signed by an earlier state of this code stays good: the form of a signed
// record may be added to, never replaced. HOLDPROOF_WRITE=1 writes the file if it is
// missing.
func TestStoredRecordStaysGood(t *testing.T) {
	const path = "testdata/record-1.pdf"
	if os.Getenv("HOLDPROOF_WRITE") != "" {
		if err := WriteNew(path, fixedHouse().twice(t), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	r := Verify(must(os.ReadFile(path)), Trust{Roots: fixedHouse().roots()})
	if !r.Trusted || len(r.Signatures) != 2 {
		t.Error(r.Problems)
	}
}
