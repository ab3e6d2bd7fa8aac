package seal

import (
	"bytes"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"crypto/x509/pkix"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdproof/report/seal/pdffile"
)

// trustingStore makes an NSS store that trusts one authority.
func trustingStore(t *testing.T, authority *x509.Certificate) string {
	t.Helper()
	outside(t, "certutil")
	dir := t.TempDir()
	said(t, "certutil", "-N", "-d", "sql:"+dir, "--empty-password")
	said(t, "certutil", "-A", "-d", "sql:"+dir, "-n", "authority", "-t", "CT,C,C", "-i", writeFile(t, "ca.pem", pemOf(authority)))
	return dir
}

// pdfsig exits 0 whatever it finds: its words count.
func TestPdfsigFindsTwoTrustedSignatures(t *testing.T) {
	outside(t, "pdfsig")
	h := newHouse(t)
	store := trustingStore(t, h.authority.Certificate())
	out := said(t, "pdfsig", "-nssdir", store, writeFile(t, "day.pdf", h.twice(t)))
	for _, want := range []struct {
		text  string
		times int
	}{
		{"Signature Validation: Signature is Valid.", 2},
		{"Certificate Validation: Certificate is Trusted.", 2},
		{"Signature Type: ETSI.CAdES.detached", 2},
		{"Signer Certificate Common Name: Dana Reed", 1},
		{"Signer Certificate Common Name: Ines Okafor", 1},
		{"- Total document signed", 1}, // the second; the first covers what it found
	} {
		if got := strings.Count(out, want.text); got != want.times {
			t.Errorf("%q stands %d times in what pdfsig says, expected %d:\n%s", want.text, got, want.times, out)
		}
	}
	// That it would have noticed: one letter of the page changed.
	broken := bytes.Replace(h.twice(t), []byte("2 November 2026"), []byte("3 November 2026"), 1)
	if out := said(t, "pdfsig", "-nssdir", store, writeFile(t, "broken.pdf", broken)); strings.Contains(out, "Signature is Valid") {
		t.Errorf("pdfsig takes a changed page for valid:\n%s", out)
	}
}

func TestMutoolFindsTheDocumentUnchanged(t *testing.T) {
	outside(t, "mutool")
	h := newHouse(t)
	path := writeFile(t, "day.pdf", h.twice(t))
	out, _ := exec.Command("mutool", "sign", "-v", path).CombinedOutput() // it knows no authority of ours
	for _, want := range []string{
		"cn=Dana Reed, o=Tern Quay Surgery", "cn=Ines Okafor, o=Tern Quay Surgery",
		"The signature is valid but there have been edits since signing.", // the first: a second came
		"The document is unchanged since signing.",                        // the second
	} {
		if !bytes.Contains(out, []byte(want)) {
			t.Errorf("mutool does not say %q:\n%s", want, out)
		}
	}
	if out := said(t, "mutool", "info", path); strings.Contains(out, "warning") || strings.Contains(out, "error") {
		t.Errorf("mutool info: %s", out)
	}
}

func TestQpdfFindsNoFault(t *testing.T) {
	outside(t, "qpdf")
	h := newHouse(t)
	for _, pdf := range [][]byte{h.twice(t), must(Sign(smallPDF(), h.nurse, nurseSays(), places(), nil))} {
		out := said(t, "qpdf", "--check", writeFile(t, "day.pdf", pdf))
		if !strings.Contains(out, "No syntax or stream encoding errors found") || strings.Contains(out, "WARNING") {
			t.Error(out)
		}
	}
}

// split returns the CMS of a signature and the bytes it signs.
func split(t *testing.T, pdf []byte, revision int) (der, signed []byte) {
	t.Helper()
	f := must(pdffile.Read(pdf))
	for _, n := range f.Revisions[revision].Numbers {
		if e := f.Object(n).Dict().Entry("ByteRange"); e != nil {
			c := f.Object(n).Dict().Entry("Contents")
			der := must(canonicalHex(pdf[c.Start+1 : c.End-1]))
			return der, append(append([]byte{}, pdf[:c.Start]...), pdf[c.End:f.Revisions[revision].End]...)
		}
	}
	t.Fatal("no signature in this revision")
	return nil, nil
}

func opensslVerifies(t *testing.T, der, content, ca []byte, at time.Time) {
	t.Helper()
	outside(t, "openssl")
	out := said(t, "openssl", "cms", "-verify", "-cades", "-binary", "-inform", "DER", "-in", writeFile(t, "sig.p7s", der),
		"-content", writeFile(t, "content", content), "-CAfile", writeFile(t, "ca.pem", ca),
		"-attime", big.NewInt(at.Unix()).String(), "-out", os.DevNull)
	if !strings.Contains(out, "Verification successful") {
		t.Error(out)
	}
}

func TestOpensslVerifiesTheCAdESSignatures(t *testing.T) {
	h := newHouse(t)
	both := h.twice(t)
	for revision := 1; revision <= 2; revision++ {
		der, signed := split(t, both, revision)
		opensslVerifies(t, der, signed, pemOf(h.authority.Certificate()), signingDay)
		printed := said(t, "openssl", "cms", "-cmsout", "-print", "-inform", "DER", "-in", writeFile(t, "sig.p7s", der))
		if strings.Contains(printed, "signingTime") || !strings.Contains(printed, "signingCertificateV2") {
			t.Errorf("EN 319 142-1 forbids signing-time and wants signing-certificate-v2 (from memory):\n%s", printed)
		}
	}
}

func TestOpensslVerifiesDetached(t *testing.T) {
	h := newHouse(t)
	content := []byte("Tern Quay Surgery\n42\nabc\n")
	der := must(h.authority.SignDetached(content))
	opensslVerifies(t, der, content, pemOf(h.authority.Certificate()), signingDay)
	if again := must(h.authority.SignDetached(content)); !bytes.Equal(der, again) {
		t.Error("the same bytes gave another signature")
	}
	chain, err := VerifyDetached(der, content, h.roots(), signingDay)
	if err != nil || !chain[0].Equal(h.authority.Certificate()) {
		t.Error(err)
	}
	_, err = VerifyDetached(der, append(content, ' '), h.roots(), signingDay)
	refused(t, err, "not what was signed")
	_, err = VerifyDetached(der, content, newHouse(t).roots(), signingDay)
	refused(t, err, "does not lead to an authority you trust")
}

// A certificate bought elsewhere: RSA, an authority between, openssl's own PKCS#12.
func TestCertificateFromOutside(t *testing.T) {
	outside(t, "openssl")
	for _, bits := range []string{"2048", "3072"} {
		dir := t.TempDir()
		in := func(name string) string { return filepath.Join(dir, name) }
		ext := writeFile(t, "ext", []byte("[ca]\nbasicConstraints=critical,CA:TRUE\nkeyUsage=critical,keyCertSign\n[leaf]\nkeyUsage=critical,nonRepudiation\n"))
		said(t, "openssl", "req", "-x509", "-newkey", "rsa:"+bits, "-nodes", "-keyout", in("root.key"), "-out", in("root.pem"), "-subj", "/CN=Root of tests", "-days", "30")
		for _, c := range [][4]string{{"mid", "root", "ca", "/CN=Middle of tests"}, {"leaf", "mid", "leaf", "/CN=Milan Horvat"}} {
			said(t, "openssl", "req", "-newkey", "rsa:"+bits, "-nodes", "-keyout", in(c[0]+".key"), "-out", in(c[0]+".csr"), "-subj", c[3])
			said(t, "openssl", "x509", "-req", "-in", in(c[0]+".csr"), "-CA", in(c[1]+".pem"), "-CAkey", in(c[1]+".key"), "-CAcreateserial",
				"-days", "30", "-extfile", ext, "-extensions", c[2], "-out", in(c[0]+".pem"))
		}
		above := append(must(os.ReadFile(in("root.pem"))), must(os.ReadFile(in("mid.pem")))...) // not in order
		said(t, "openssl", "pkcs12", "-export", "-inkey", in("leaf.key"), "-in", in("leaf.pem"), "-certfile", writeFile(t, "above.pem", above),
			"-out", in("milan.p12"), "-passout", "pass:four plain little words")
		k, err := Open(must(os.ReadFile(in("milan.p12"))), "four plain little words")
		if err != nil {
			t.Fatal(err)
		}
		if len(k.chain) != 3 || k.Authority().Subject.CommonName != "Root of tests" {
			t.Fatalf("the chain has %d certificates and ends in %s", len(k.chain), k.Authority().Subject)
		}
		s := nurseSays()
		s.Time = k.Certificate().NotBefore
		pdf, err := Sign(smallPDF(), k, s, places(), nil)
		if err != nil {
			t.Fatal(err)
		}
		roots := x509.NewCertPool()
		roots.AddCert(k.Authority())
		if r := Verify(pdf, Trust{Roots: roots}); !r.Trusted || r.Signatures[0].Name != "Milan Horvat" {
			t.Errorf("%+v", r)
		}
		der, signed := split(t, pdf, 1)
		opensslVerifies(t, der, signed, pemOf(k.Authority()), s.Time)
	}
}

// A long chain of long RSA keys needs more room than usual; it gets it.
func TestLongChainHasRoom(t *testing.T) {
	key := must(rsa.GenerateKey(rand.Reader, 4096))
	var chain []*x509.Certificate
	parent := (*x509.Certificate)(nil)
	for i := range 5 {
		c := &x509.Certificate{
			SerialNumber: big.NewInt(int64(i + 1)), Subject: pkix.Name{CommonName: strings.Repeat("long name ", 5) + string(rune('a'+i))},
			NotBefore: signingDay.AddDate(0, -1, 0), NotAfter: signingDay.AddDate(1, 0, 0),
			IsCA: i < 4, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		}
		if parent == nil {
			parent = c
		}
		made := must(x509.ParseCertificate(must(x509.CreateCertificate(rand.Reader, c, parent, key.Public(), key))))
		chain = append([]*x509.Certificate{made}, chain...)
		parent = made
	}
	k := &Key{order(chain[0], chain), key}
	pdf, err := Sign(smallPDF(), k, nurseSays(), places(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if r := Verify(pdf, Trust{}); !r.OK {
		t.Error(r.Problems)
	}
}
