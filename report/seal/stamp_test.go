package seal

import (
	"context"
	"crypto/x509"
	"encoding/asn1"
	"encoding/pem"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdproof/report/seal/cms"
)

// stampAuthority is a time-stamp server on loopback: every answer comes from openssl.
type stampAuthority struct {
	url   string
	roots *x509.CertPool
	spoil func(reply []byte) []byte
}

const stampConfig = `
[tsa]
default_tsa = here
[here]
serial = DIR/serial
crypto_device = builtin
signer_cert = DIR/tsa.pem
certs = DIR/root.pem
signer_key = DIR/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
other_policies = 1.2.3.4.5
digests = sha256
accuracy = secs:1, millisecs:500
ordering = yes
tsa_name = yes
ess_cert_id_chain = no
ess_cert_id_alg = ESSALG
[tsaext]
extendedKeyUsage = critical,timeStamping
keyUsage = critical,digitalSignature
[wrongext]
extendedKeyUsage = critical,timeStamping,emailProtection
`

func newStampAuthority(t *testing.T, algorithm, essHash string) *stampAuthority {
	t.Helper()
	outside(t, "openssl")
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	config := strings.NewReplacer("DIR", dir, "ESSALG", essHash).Replace(stampConfig)
	if err := os.WriteFile(in("tsa.cnf"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	key := []string{"-newkey", "rsa:2048"}
	if algorithm == "P-256" {
		key = []string{"-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"}
	}
	said(t, "openssl", append([]string{"req", "-x509", "-nodes", "-keyout", in("root.key"), "-out", in("root.pem"), "-subj", "/CN=Clock root of tests", "-days", "3"}, key...)...)
	said(t, "openssl", append([]string{"req", "-nodes", "-keyout", in("tsa.key"), "-out", in("tsa.csr"), "-subj", "/CN=Clock of tests"}, key...)...)
	said(t, "openssl", "x509", "-req", "-in", in("tsa.csr"), "-CA", in("root.pem"), "-CAkey", in("root.key"), "-CAcreateserial", "-days", "2",
		"-extfile", in("tsa.cnf"), "-extensions", "tsaext", "-out", in("tsa.pem"))
	a := &stampAuthority{roots: x509.NewCertPool(), spoil: func(b []byte) []byte { return b }}
	a.roots.AppendCertsFromPEM(must(os.ReadFile(in("root.pem"))))
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Content-Type") != "application/timestamp-query" {
			t.Errorf("content type %q", r.Header.Get("Content-Type"))
		}
		query := must(io.ReadAll(r.Body))
		os.WriteFile(in("q.tsq"), query, 0o600)
		cmd := exec.Command("openssl", "ts", "-reply", "-config", in("tsa.cnf"), "-queryfile", in("q.tsq"), "-out", in("r.tsr"))
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Logf("openssl ts: %v %s", err, out)
		}
		w.Header().Set("Content-Type", "application/timestamp-reply")
		w.Write(a.spoil(must(os.ReadFile(in("r.tsr")))))
	}))
	t.Cleanup(server.Close)
	a.url = server.URL
	return a
}

func (a *stampAuthority) server() StampServer {
	return StampServer{URL: a.url, Client: &http.Client{Timeout: 10 * time.Second}, Roots: a.roots}
}

func TestSignWithTimeStamp(t *testing.T) {
	for _, kind := range [][2]string{{"rsa", "sha256"}, {"P-256", "sha1"}, {"rsa", "sha512"}} {
		a := newStampAuthority(t, kind[0], kind[1])
		// openssl stamps with today's date, so the house is of today as well.
		now := time.Now().Truncate(time.Second)
		authority := must(NewAuthority("Tern Quay Surgery", now.Add(-time.Hour)))
		nurse := must(authority.Issue("Dana Reed", now.Add(-time.Hour)))
		s := nurseSays()
		s.Time = now
		pdf, err := Sign(smallPDF(), nurse, s, places(), a.server().Stamp(context.Background()))
		if err != nil {
			t.Fatal(err)
		}
		roots := x509.NewCertPool()
		roots.AddCert(authority.Certificate())
		r := Verify(pdf, Trust{Roots: roots, StampRoots: a.roots, Times: map[string]time.Time{Prepared: now.AddDate(50, 0, 0)}})
		if !r.Trusted || !r.Signatures[0].Stamped || r.Signatures[0].JudgedFrom != FromStamp {
			t.Fatalf("%v: %+v", kind, r)
		}
		if d := r.Signatures[0].Judged.Sub(now); d < -time.Minute || d > time.Minute {
			t.Errorf("stamped at %v, now is %v", r.Signatures[0].Judged, now)
		}
		if r := Verify(pdf, Trust{Roots: roots}); !r.Trusted || r.Signatures[0].JudgedFrom != FromSigner {
			t.Errorf("without authorities for time stamps: %+v", r)
		}
		if r := Verify(pdf, Trust{Roots: roots, StampRoots: roots}); r.OK || !strings.Contains(r.Problems[0], "time stamp's authority is not trusted") {
			t.Errorf("with another's authorities for time stamps: %+v", r)
		}
		flipStamp(t, pdf, Trust{Roots: roots, StampRoots: a.roots})
	}
}

// flipStamp changes bits and hexadecimal digits of the signature with its stamp, in the
// long run every one: each is noticed. Whole digits keep the form of hexadecimal, so the
// structure within is tried as well.
func flipStamp(t *testing.T, pdf []byte, trust Trust) {
	t.Helper()
	der, signed := split(t, pdf, 1)
	open := 1
	for pdf[open] == signed[open] {
		open++
	}
	bitStep, digitStep := 331, 11
	if long() {
		bitStep, digitStep = 1, 1
	}
	b := append([]byte{}, pdf...)
	try := func(place int, c byte) {
		old := b[place]
		b[place] = c
		if r := Verify(b, trust); r.OK {
			t.Fatalf("byte %d changed from %q to %q and nobody noticed", place, old, c)
		}
		b[place] = old
	}
	for i := 0; i < 8*(2*len(der)+2); i += bitStep {
		try(open+i/8, b[open+i/8]^1<<(i%8))
	}
	const digits = "0123456789abcdef"
	for i := 1; i <= 2*len(der); i += digitStep {
		try(open+i, digits[(strings.IndexByte(digits, b[open+i])+1+i%15)%16])
	}
}

func TestTimeStampRefused(t *testing.T) {
	a := newStampAuthority(t, "P-256", "sha256")
	h := newHouse(t)
	sign := func(s StampServer) error {
		out, err := Sign(smallPDF(), h.nurse, nurseSays(), places(), s.Stamp(context.Background()))
		if out != nil {
			t.Error("a result without a time stamp")
		}
		return err
	}
	s := a.server()
	s.Roots = h.roots()
	refused(t, sign(s), "authority is not trusted")

	s = a.server()
	s.Policy = asn1.ObjectIdentifier{1, 2, 3, 4, 99}
	refused(t, sign(s), "the time-stamp server refused: status 2")

	var reply []byte
	a.spoil = func(b []byte) []byte { reply = b; return b }
	token := must(a.server().Stamp(context.Background())([32]byte{1}))
	s = a.server()
	s.Policy = asn1.ObjectIdentifier{1, 2, 3, 4, 5}
	_, err := s.accept(reply, [32]byte{1}, must(cms.ParseStamp(token, [32]byte{1})).Nonce)
	refused(t, err, "under policy 1.2.3.4.1, not 1.2.3.4.5")

	var first []byte
	a.spoil = func(b []byte) []byte {
		if first == nil {
			first = append([]byte{}, b...)
		}
		return first
	}
	if _, err := a.server().Stamp(context.Background())([32]byte{1}); err != nil {
		t.Fatal(err)
	}
	_, err = a.server().Stamp(context.Background())([32]byte{1})
	refused(t, err, "nonce differs")
	_, err = a.server().Stamp(context.Background())([32]byte{2})
	refused(t, err, "for something else")

	a.spoil = func(b []byte) []byte { return b[:len(b)-1] }
	refused(t, sign(a.server()), "not RFC 3161")
	a.spoil = func([]byte) []byte { return make([]byte, maxReply+1) }
	refused(t, sign(a.server()), "more than 65536 bytes")

	gone := a.server()
	gone.URL = strings.Replace(a.url, "http://", "http://user:sesame@", 1) + "/?token=sesame"
	a.spoil = func([]byte) []byte { panic(http.ErrAbortHandler) }
	if err := sign(gone); err == nil || strings.Contains(err.Error(), "sesame") {
		t.Errorf("a password in an error, or none: %v", err)
	}
	missing := httptest.NewServer(http.NotFoundHandler())
	defer missing.Close()
	s.URL = missing.URL
	refused(t, sign(s), "404")
}

// openssl checks what it stamped, from our file.
func TestOpensslVerifiesTheStampWeKeep(t *testing.T) {
	a := newStampAuthority(t, "rsa", "sha256")
	digest := [32]byte{1, 2, 3}
	token, err := a.server().Stamp(context.Background())(digest)
	if err != nil {
		t.Fatal(err)
	}
	var ca []byte
	for _, c := range must(cms.ParseStamp(token, digest)).Chain {
		ca = append(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: c.Raw})...)
	}
	out := said(t, "openssl", "ts", "-verify", "-token_in", "-in", writeFile(t, "token", token), "-digest",
		"0102030000000000000000000000000000000000000000000000000000000000", "-CAfile", writeFile(t, "ca.pem", ca))
	if !strings.Contains(out, "Verification: OK") {
		t.Error(out)
	}
}
