package seal

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	pkcs12 "software.sslmate.com/src/go-pkcs12"
)

const passphrase = "four plain little words"

func TestCertificateProfiles(t *testing.T) {
	h := newHouse(t)
	ca, own := h.authority.Certificate(), h.nurse.Certificate()
	if !ca.IsCA || !ca.MaxPathLenZero || ca.MaxPathLen != 0 || ca.KeyUsage&x509.KeyUsageCertSign == 0 {
		t.Error("the authority may do too much or too little")
	}
	if ca.NotAfter != ca.NotBefore.AddDate(30, 0, 0) || own.NotAfter != own.NotBefore.AddDate(5, 0, 0) {
		t.Error("authority 30 years, person 5")
	}
	if own.IsCA || own.KeyUsage != x509.KeyUsageDigitalSignature|x509.KeyUsageContentCommitment {
		t.Error("a person signs and does nothing else")
	}
	if own.Subject.CommonName != "Dana Reed" || own.Subject.Organization[0] != "Tern Quay Surgery" {
		t.Error(own.Subject)
	}
	if n := own.SerialNumber.BitLen(); n > 128 || n < 90 || h.lead.Certificate().SerialNumber.Cmp(own.SerialNumber) == 0 {
		t.Errorf("serial number of %d bit", n)
	}
	if h.authority.private.(*ecdsa.PrivateKey).Curve != elliptic.P256() {
		t.Error("another curve")
	}
	_, err := h.nurse.Issue("Milan Horvat", signingDay)
	refused(t, err, "only the site's authority")
	_, err = h.authority.Issue("Milan Horvat", signingDay.AddDate(40, 0, 0))
	refused(t, err, "the site's authority is valid from")
	last := must(h.authority.Issue("Milan Horvat", ca.NotAfter.AddDate(-1, 0, 0)))
	if !last.Certificate().NotAfter.Equal(ca.NotAfter) {
		t.Error("a person's certificate outlasts the authority")
	}
	for _, name := range []string{"", " Dana", "Dana\x00", "Dana\u202eReed", strings.Repeat("x", 65), "\xff"} {
		if _, err := h.authority.Issue(name, signingDay); err == nil {
			t.Errorf("issued for %q", name)
		}
	}
}

// openssl reads the same profile, and the key file with its passphrase.
func TestOpensslReadsCertificateAndKeyFile(t *testing.T) {
	outside(t, "openssl")
	h := newHouse(t)
	own := writeFile(t, "own.pem", pemOf(h.nurse.Certificate()))
	out := said(t, "openssl", "verify", "-x509_strict", "-purpose", "smimesign", "-attime", "1793642400", // 2026-11-02 18:00 UTC
		"-CAfile", writeFile(t, "ca.pem", pemOf(h.authority.Certificate())), own)
	if !strings.Contains(out, "OK") {
		t.Error(out)
	}
	out = said(t, "openssl", "x509", "-in", own, "-noout", "-fingerprint", "-sha256")
	plain := strings.ReplaceAll(out[strings.Index(out, "=")+1:], ":", "")
	if strings.ReplaceAll(Fingerprint(h.nurse.Certificate()), " ", "") != strings.TrimSpace(plain) {
		t.Errorf("fingerprint %s, openssl says %s", Fingerprint(h.nurse.Certificate()), plain)
	}
	p12 := must(h.nurse.Pack(passphrase)) // with all 600,000 rounds
	out = said(t, "openssl", "pkcs12", "-in", writeFile(t, "dana.p12", p12), "-passin", "pass:"+passphrase, "-info", "-noout")
	for _, want := range []string{"MAC: sha256, Iteration 600000", "PBES2, PBKDF2, AES-256-CBC, Iteration 600000, PRF hmacWithSHA256"} {
		if !strings.Contains(out, want) {
			t.Errorf("openssl does not say %q:\n%s", want, out)
		}
	}
}

func TestPackAndOpen(t *testing.T) {
	h := newHouse(t)
	for _, k := range []*Key{h.authority, h.nurse} {
		p12 := must(k.pack(passphrase, 10))
		back, err := Open(p12, passphrase)
		if err != nil {
			t.Fatal(err)
		}
		if len(back.chain) != len(k.chain) || !back.Certificate().Equal(k.Certificate()) || !back.Authority().Equal(h.authority.Certificate()) {
			t.Error("another chain came back")
		}
		for _, wrong := range []string{"", "four plain little word", passphrase + " ", "Four plain little words"} {
			_, err := Open(p12, wrong)
			if !errors.Is(err, ErrPassphrase) {
				t.Errorf("%q: %v", wrong, err)
			}
		}
	}
	for _, bad := range [][]byte{nil, []byte("-----BEGIN CERTIFICATE-----"), must(h.nurse.pack(passphrase, 10))[:300]} {
		_, err := Open(bad, passphrase)
		refused(t, err, "no PKCS#12 file")
	}
}

func TestKeysThatCannotSign(t *testing.T) {
	h := newHouse(t)
	pack := func(curve elliptic.Curve, change func(*x509.Certificate)) []byte {
		key := must(ecdsa.GenerateKey(curve, rand.Reader))
		c := &x509.Certificate{SerialNumber: h.nurse.Certificate().SerialNumber, NotBefore: signingDay, NotAfter: signingDay.AddDate(1, 0, 0)}
		change(c)
		der := must(x509.CreateCertificate(rand.Reader, c, h.authority.Certificate(), key.Public(), h.authority.private))
		return must(pkcs12.Modern2023.WithIterations(1).Encode(key, must(x509.ParseCertificate(der)), nil, passphrase))
	}
	_, err := Open(pack(elliptic.P384(), func(*x509.Certificate) {}), passphrase)
	refused(t, err, "curve P-384")
	_, err = Open(pack(elliptic.P256(), func(c *x509.Certificate) { c.KeyUsage = x509.KeyUsageKeyEncipherment }), passphrase)
	refused(t, err, "key usage")
	_, err = Open(pack(elliptic.P256(), func(c *x509.Certificate) { c.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth} }), passphrase)
	refused(t, err, "extended key usage")
	unfit := *h.nurse.Certificate()
	unfit.KeyUsage = x509.KeyUsageKeyAgreement
	_, err = Sign(smallPDF(), &Key{append([]*x509.Certificate{&unfit}, h.authority.chain...), h.nurse.private}, nurseSays(), places(), nil)
	refused(t, err, "key usage")
	_, err = Open(pack(elliptic.P256(), func(*x509.Certificate) {}), passphrase)
	if err != nil {
		t.Error(err)
	}
}

// Two authorities that issued each other: the chain ends, the key opens.
func TestChainThatLoops(t *testing.T) {
	h, g := newHouse(t), newHouse(t)
	cross := func(of, by *Key) *x509.Certificate {
		c := *of.Certificate()
		c.RawSubject = nil
		c.MaxPathLen, c.MaxPathLenZero = -1, false
		c.Subject.CommonName += Fingerprint(of.Certificate())[:4]
		parent := *by.Certificate()
		parent.RawSubject = nil
		parent.Subject.CommonName += Fingerprint(by.Certificate())[:4]
		return must(x509.ParseCertificate(must(x509.CreateCertificate(rand.Reader, &c, &parent, of.private.Public(), by.private))))
	}
	a, b := cross(h.authority, g.authority), cross(g.authority, h.authority)
	leaf := must((&Key{[]*x509.Certificate{a}, h.authority.private}).Issue("Dana Reed", signingDay.Add(-time.Hour)))
	if a.CheckSignatureFrom(b) != nil || b.CheckSignatureFrom(a) != nil || leaf.Certificate().CheckSignatureFrom(a) != nil {
		t.Fatal("the certificates do not form a loop")
	}
	chain := order(leaf.Certificate(), []*x509.Certificate{a, b, leaf.Certificate()})
	if len(chain) != 3 {
		t.Fatalf("%d certificates", len(chain))
	}
	k := &Key{chain, leaf.private}
	pdf, err := Sign(smallPDF(), k, nurseSays(), places(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if r := Verify(pdf, Trust{Roots: h.roots()}); r.OK || !strings.Contains(r.Problems[0], "does not lead to an authority you trust") {
		t.Errorf("%+v", r)
	}
}

func TestCheckPassphrase(t *testing.T) {
	for _, row := range []struct{ passphrase, want string }{
		{"brief", "shorter than 8"},
		{"aaaaaaaaaaaa", "fewer than 4 different"},
		{"24061987", "is a number"},
		{" four plain words", "begins or ends with a space"},
		{"four plain\nwords", "cannot carry"},
		{"four plain words \U0001F511", "cannot carry"},
	} {
		err := CheckPassphrase(row.passphrase)
		refused(t, err, row.want)
		if strings.Contains(err.Error(), row.passphrase) {
			t.Error("the passphrase stands in the error")
		}
		if _, err := newHouse(t).nurse.Pack(row.passphrase); err == nil {
			t.Errorf("packed with %q", row.passphrase)
		}
	}
	for _, good := range []string{passphrase, "žluťoučký kůň"} {
		if err := CheckPassphrase(good); err != nil || utf8.RuneCountInString(good) < minPassphrase {
			t.Error(good, err)
		}
	}
}

func TestFingerprintIsReadable(t *testing.T) {
	f := Fingerprint(newHouse(t).nurse.Certificate())
	if len(strings.Fields(f)) != 16 || len(f) != 79 || strings.ToUpper(f) != f {
		t.Error(f)
	}
}

func TestWriteNewNeverOverwrites(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "Dana Reed é.p12")
	if err := WriteNew(path, []byte("one"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := WriteNew(path, []byte("two"), 0o600)
	if !errors.Is(err, fs.ErrExist) {
		t.Errorf("wrote over a file: %v", err)
	}
	if got := must(os.ReadFile(path)); !bytes.Equal(got, []byte("one")) {
		t.Errorf("%q", got)
	}
	if mode := must(os.Stat(path)).Mode().Perm(); mode != 0o600 {
		t.Errorf("mode %v", mode)
	}
	if left := must(os.ReadDir(dir)); len(left) != 1 {
		t.Errorf("%d files are left, expected the one", len(left))
	}
	if err := WriteNew(filepath.Join(dir, "no folder", "x"), nil, 0o600); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
}

// Where there are no hard links, the way round does not overwrite either.
func TestHoldName(t *testing.T) {
	dir := t.TempDir()
	path, first, second := filepath.Join(dir, "a"), writeFile(t, "1", []byte("one")), writeFile(t, "2", []byte("two"))
	if err := holdName(first, path); err != nil {
		t.Fatal(err)
	}
	if err := holdName(second, path); !errors.Is(err, fs.ErrExist) {
		t.Error(err)
	}
	if got := must(os.ReadFile(path)); string(got) != "one" {
		t.Errorf("%q", got)
	}
	if err := holdName(filepath.Join(dir, "missing"), filepath.Join(dir, "b")); err == nil {
		t.Error("moved a file that is not there")
	}
	if left := must(os.ReadDir(dir)); len(left) != 1 {
		t.Errorf("%d files are left, expected the one", len(left))
	}
}
