package cms

import (
	"bytes"
	"crypto"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"math/big"
	"strings"
	"testing"
	"time"
)

// forger builds time stamps that may have one fault each. What openssl issues is tested
// where the server is; it issues no faulty ones.
type forger struct {
	key             crypto.Signer
	own             *x509.Certificate
	usage           []x509.ExtKeyUsage
	version         byte
	eContentType    []byte
	digest          [32]byte
	declared        []byte
	certificates    [][]byte
	sid, algorithm  []byte
	typed, digested []byte
	unsigned        []byte
	change          func(*forger)
}

func (f *forger) token() []byte {
	f.key, f.version, f.eContentType, f.digest, f.declared = p256(), 3, oidTSTInfo, digest, algSHA256
	if f.usage == nil {
		f.usage = []x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping}
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(128), Subject: pkix.Name{CommonName: "Clock of tests"},
		NotBefore: from, NotAfter: from.AddDate(1, 0, 0), ExtKeyUsage: f.usage}
	f.own = must(x509.ParseCertificate(must(x509.CreateCertificate(rand.Reader, c, c, f.key.Public(), f.key))))
	f.certificates = [][]byte{f.own.Raw}
	f.sid, f.algorithm = tlv(tagSequence, f.own.RawIssuer, serialOf(f.own)), algECDSA
	f.typed = oidTSTInfo
	if f.change != nil {
		f.change(f)
	}
	info := tlv(tagSequence, versionOne, oid(1, 2, 3), tlv(tagSequence, algSHA256, tlv(tagOctetString, f.digest[:])),
		[]byte{2, 1, 9}, tlv(tagTime, []byte("20261102181500Z")), []byte{2, 1, 77})
	if f.digested == nil {
		h := sha256.Sum256(info)
		f.digested = tlv(tagOctetString, h[:])
	}
	h := sha256.Sum256(f.own.Raw)
	attribute := func(id, value []byte) []byte { return tlv(tagSequence, id, tlv(tagSet, value)) }
	attributes := []([]byte){
		attribute(oidContentType, f.typed), attribute(oidDigest, f.digested),
		attribute(oidSigningCert, tlv(tagSequence, tlv(tagSequence, tlv(tagSequence, tlv(tagOctetString, h[:]))))),
	}
	signed := sha256.Sum256(setOf(tagSet, attributes...))
	value := must(f.key.Sign(nil, signed[:], crypto.SHA256))
	return tlv(tagSequence, oidSignedData, tlv(context(0), tlv(tagSequence, []byte{2, 1, f.version}, tlv(tagSet, f.declared),
		tlv(tagSequence, f.eContentType, tlv(context(0), tlv(tagOctetString, info))), setOf(context(0), f.certificates...),
		tlv(tagSet, tlv(tagSequence, versionOne, f.sid, algSHA256, setOf(context(0), attributes...), f.algorithm,
			tlv(tagOctetString, value), f.unsigned)))))
}

func TestParseStamp(t *testing.T) {
	f := &forger{}
	s, err := ParseStamp(f.token(), digest)
	if err != nil {
		t.Fatal(err)
	}
	if !s.Time.Equal(time.Date(2026, 11, 2, 18, 15, 0, 0, time.UTC)) || s.Nonce.Int64() != 77 || !s.Policy.Equal(asn1.ObjectIdentifier{1, 2, 3}) {
		t.Errorf("%+v", s)
	}
	pool := x509.NewCertPool()
	pool.AddCert(f.own)
	if err := s.Trusted(pool); err != nil {
		t.Error(err)
	}
	if err := s.Trusted(x509.NewCertPool()); err == nil {
		t.Error("trusted by nobody")
	}
	s.Time = from.AddDate(2, 0, 0)
	if err := s.Trusted(pool); err == nil {
		t.Error("stamped after the end of the certificate")
	}
}

// A token may hold no certificate that is not part of its chain.
func TestStampWithAStranger(t *testing.T) {
	key := p256()
	stranger := chainOf(key)[0]
	f := &forger{change: func(f *forger) { f.certificates = append(f.certificates, stranger.Raw) }}
	s, err := ParseStamp(f.token(), digest)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(f.own)
	if err := s.Trusted(pool); err == nil || !strings.Contains(err.Error(), "not its authority's") {
		t.Error(err)
	}
}

func TestParseStampRefuses(t *testing.T) {
	other := tlv(tagOctetString, make([]byte, 32))
	for _, row := range []struct {
		why, want string
		forger    forger
	}{
		{"made for e-mail as well", "made for time stamps alone", forger{usage: []x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping, x509.ExtKeyUsageEmailProtection}}},
		{"made for e-mail", "made for time stamps alone", forger{usage: []x509.ExtKeyUsage{x509.ExtKeyUsageEmailProtection}}},
		{"over something else", "something else than this signature", forger{change: func(f *forger) { f.digest[0]++ }}},
		{"contents changed", "not what its authority signed", forger{change: func(f *forger) { f.digested = other }}},
		{"another content type signed", "not what its authority signed", forger{change: func(f *forger) { f.typed = oidData }}},
		{"no time stamp at all", "the token is no time stamp", forger{change: func(f *forger) { f.eContentType = oidData }}},
		{"version 1", "DER", forger{change: func(f *forger) { f.version = 1 }}},
		{"two digests declared", "digest is not", forger{change: func(f *forger) { f.declared = append(bytes.Clone(algSHA256), algSHA256...) }}},
		{"another signer named", "two different signers", forger{change: func(f *forger) { f.sid = tlv(tagSequence, f.own.RawIssuer, []byte{2, 1, 5}) }}},
		{"another algorithm named", "signature does not hold", forger{change: func(f *forger) { f.algorithm = algRSA }}},
		{"another key", "signature does not hold", forger{change: func(f *forger) { f.key = p256() }}},
		{"unsigned attributes", "unsigned attributes", forger{change: func(f *forger) { f.unsigned = tlv(context(1)) }}},
		{"no certificate", "does not hold", forger{change: func(f *forger) { f.certificates = nil }}},
	} {
		_, err := ParseStamp(row.forger.token(), digest)
		if err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: got %v, want an error about %q", row.why, err, row.want)
		}
	}
	good := (&forger{}).token()
	for i := range good {
		if _, err := ParseStamp(good[:i], digest); err == nil {
			t.Errorf("cut at %d and nobody noticed", i)
		}
	}
}

func TestGiganticKeyIsNotTried(t *testing.T) {
	// A modulus of 16,384 bit in an otherwise fitting certificate, made by hand: only
	// its length matters, nobody could sign with it.
	key := p256()
	public := must(asn1.Marshal(struct {
		N *big.Int
		E int
	}{new(big.Int).SetBit(big.NewInt(1), 16383, 1), 65537}))
	c := chainOf(key)[0]
	spki := tlv(tagSequence, tlv(tagSequence, oidRSA, null), tlv(0x03, append([]byte{0}, public...)))
	r := reader{c.RawTBSCertificate}
	contents, _, err := r.element(tagSequence)
	if err != nil {
		t.Fatal(err)
	}
	body := bytes.Replace(contents, c.RawSubjectPublicKeyInfo, spki, 1)
	tail := c.Raw[len(c.Raw)-len(c.Signature)-30:] // algorithm and signature follow the body
	i := bytes.Index(tail, algECDSA)
	made := tlv(tagSequence, tlv(tagSequence, body), tail[i:])
	if _, err := readCertificates(reader{made}); err == nil || !strings.Contains(err.Error(), "more than 8192 bit") {
		t.Error(err)
	}
}
