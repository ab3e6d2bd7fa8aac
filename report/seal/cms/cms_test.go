package cms

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"encoding/hex"
	"errors"
	"math/big"
	"strings"
	"testing"
	"time"
)

var (
	from   = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	digest = sha256.Sum256([]byte("Tern Quay Surgery"))
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// chainOf issues certificates for the keys, each by the next; own first.
func chainOf(keys ...crypto.Signer) []*x509.Certificate {
	var chain []*x509.Certificate
	for i := len(keys) - 1; i >= 0; i-- {
		c := &x509.Certificate{
			SerialNumber: big.NewInt(int64(200 + i)), Subject: pkix.Name{CommonName: string(rune('A' + i))},
			NotBefore: from, NotAfter: from.AddDate(1, 0, 0), IsCA: i > 0, BasicConstraintsValid: true,
		}
		parent, signer := c, keys[i]
		if len(chain) > 0 {
			parent, signer = chain[0], keys[i+1]
		}
		der := must(x509.CreateCertificate(rand.Reader, c, parent, keys[i].Public(), signer))
		chain = append([]*x509.Certificate{must(x509.ParseCertificate(der))}, chain...)
	}
	return chain
}

func p256() crypto.Signer { return must(ecdsa.GenerateKey(elliptic.P256(), rand.Reader)) }

func TestSignParseVerify(t *testing.T) {
	for _, keys := range [][]crypto.Signer{
		{p256()},
		{p256(), p256()},
		{must(rsa.GenerateKey(rand.Reader, 2048)), p256(), p256()},
	} {
		chain := chainOf(keys...)
		der, err := Sign(digest, keys[0], chain, nil)
		if err != nil {
			t.Fatal(err)
		}
		if again := must(Sign(digest, keys[0], chain, nil)); !bytes.Equal(again, der) {
			t.Error("the same inputs gave other bytes")
		}
		s, err := Parse(der)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Verify(digest); err != nil {
			t.Error(err)
		}
		if len(s.Chain) != len(chain) || !s.Chain[0].Equal(chain[0]) || !s.Chain[len(chain)-1].Equal(chain[len(chain)-1]) {
			t.Error("the chain came back in another order")
		}
		if err := s.Verify([32]byte{}); err == nil {
			t.Error("other contents pass")
		}
	}
}

// Every bit of a signature matters, none is decoration.
func TestEveryBitOfTheCMS(t *testing.T) {
	key := p256()
	der := must(Sign(digest, key, chainOf(key, p256()), nil))
	for i := range 8 * len(der) {
		b := bytes.Clone(der)
		b[i/8] ^= 1 << (i % 8)
		s, err := Parse(b)
		if err == nil {
			err = s.Verify(digest)
		}
		if err == nil {
			t.Errorf("bit %d of byte %d changed and nobody noticed", i%8, i/8)
		}
	}
	for i := range der {
		if _, err := Parse(der[:i]); err == nil {
			t.Errorf("cut at %d and nobody noticed", i)
		}
	}
}

// Of the two values that verify for one ECDSA signature only one is accepted.
func TestOtherValueOfTheSameSignature(t *testing.T) {
	key := p256()
	s := must(Parse(must(Sign(digest, key, chainOf(key), nil))))
	var sig struct{ R, S *big.Int }
	must(asn1.Unmarshal(s.Value, &sig))
	sig.S.Sub(elliptic.P256().Params().N, sig.S)
	s.Value = must(asn1.Marshal(sig))
	hash := sha256.Sum256(s.attributes(tagSet))
	if !ecdsa.VerifyASN1(key.Public().(*ecdsa.PublicKey), hash[:], s.Value) {
		t.Fatal("the other value does not verify, so this test shows nothing")
	}
	if err := s.Verify(digest); err == nil {
		t.Error("the other value passes")
	}
}

// RFC 6979, A.2.5: P-256, SHA-256, message "sample" (from memory; s is the larger of its
// two values there, lowS takes n - s).
func TestDeterministicECDSA(t *testing.T) {
	raw := must(hex.DecodeString("C9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721"))
	key := must(ecdsa.ParseRawPrivateKey(elliptic.P256(), raw))
	hash := sha256.Sum256([]byte("sample"))
	var sig struct{ R, S *big.Int }
	value := must(key.Sign(nil, hash[:], crypto.SHA256))
	must(asn1.Unmarshal(must(lowS(key.Public(), value)), &sig))
	r, _ := new(big.Int).SetString("EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716", 16)
	s, _ := new(big.Int).SetString("F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8", 16)
	s.Sub(elliptic.P256().Params().N, s)
	if sig.R.Cmp(r) != 0 || sig.S.Cmp(s) != 0 {
		t.Errorf("r %X, s %X", sig.R, sig.S)
	}
}

func TestSignRefuses(t *testing.T) {
	key := p256()
	small := must(rsa.GenerateKey(rand.Reader, 1024))
	long := []crypto.Signer{}
	for range MaxChain + 1 {
		long = append(long, p256())
	}
	p384 := must(ecdsa.GenerateKey(elliptic.P384(), rand.Reader))
	failing := func([32]byte) ([]byte, error) { return nil, errors.New("no time stamp today") }
	for _, row := range []struct {
		want string
		key  crypto.Signer
		with []*x509.Certificate
		by   func([32]byte) ([]byte, error)
	}{
		{"0 certificates", key, nil, nil},
		{"7 certificates", long[0], chainOf(long...), nil},
		{"does not belong", key, chainOf(p256()), nil},
		{"neither ECDSA P-256 nor RSA of 2048", small, chainOf(small), nil},
		{"neither ECDSA P-256 nor RSA of 2048", p384, chainOf(p384), nil},
		{"no time stamp today", key, chainOf(key), failing},
	} {
		der, err := Sign(digest, row.key, row.with, row.by)
		if err == nil || !strings.Contains(err.Error(), row.want) || der != nil {
			t.Errorf("got %v, want an error about %q", err, row.want)
		}
	}
}

// ▶ is replaced by its like; each fault is named.
func TestParseRefuses(t *testing.T) {
	key := p256()
	good := must(Parse(must(Sign(digest, key, chainOf(key), nil))))
	der := must(good.build())
	for _, row := range []struct {
		why, want string
		der       []byte
	}{
		{"empty", "DER", nil},
		{"bytes behind it", "DER", append(bytes.Clone(der), 0)},
		{"indefinite length", "DER", append([]byte{0x30, 0x80}, der[4:]...)},
		{"a length of 2 GB", "DER", []byte{0x30, 0x84, 0x7f, 0xff, 0xff, 0xff}},
		{"a length with a leading zero", "DER", append([]byte{0x30, 0x83, 0, der[2], der[3]}, der[4:]...)},
		{"too large", "larger than 65536", make([]byte, maxSize+1)},
		{"not signed data", "no signature in CMS form", bytes.Replace(der, oidSignedData, oid(1, 2, 840, 113549, 1, 7, 3), 1)},
		{"SHA-1", "not SHA-256", bytes.Replace(der, algSHA256, tlv(tagSequence, oid(2, 16, 840, 1, 101, 3, 4, 2, 2)), 1)},
		{"another content type", "not detached from plain data", bytes.Replace(der, oidData, oid(1, 2, 840, 113549, 1, 7, 5), 1)},
		{"a signing time", "signed attribute these records do not use", bytes.Replace(der, oidContentType, oid(1, 2, 840, 113549, 1, 9, 5), 1)},
		{"another algorithm", "one form", bytes.Replace(der, good.Value, good.Value, 1)},
	} {
		if row.why == "another algorithm" {
			i := bytes.LastIndex(der, algECDSA)
			row.der = append(append(bytes.Clone(der[:i]), tlv(tagSequence, oid(1, 2, 840, 10045, 4, 3, 3))...), der[i+len(algECDSA):]...)
		}
		_, err := Parse(row.der)
		if err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: got %v, want an error about %q", row.why, err, row.want)
		}
	}
}

// FuzzParse: whatever the bytes, Parse does not panic, and what it accepts it writes
// again byte for byte.
func FuzzParse(f *testing.F) {
	key := p256()
	f.Add(must(Sign(digest, key, chainOf(key, p256()), nil)))
	f.Add(must(Sign(digest, key, chainOf(key), func([32]byte) ([]byte, error) { return tlv(tagSequence), nil })))
	f.Add([]byte{0x30, 0x80})
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := Parse(b)
		if err != nil {
			return
		}
		if again, err := s.build(); err != nil || !bytes.Equal(again, b) {
			t.Error("accepted in a form of its own")
		}
		s.Verify(digest)
	})
}

// FuzzStamp: whatever a server sends, reading it does not panic.
func FuzzStamp(f *testing.F) {
	f.Add([]byte{0x30, 0x05, 0x30, 0x03, 2, 1, 2}, []byte{})
	f.Add([]byte{0x30, 0x0f, 0x30, 0x0d, 2, 1, 2, 0x30, 0x08, 0x0c, 0x06, 's', 'o', 'r', 'r', 'y', '\n'}, []byte{0x30, 0})
	f.Add([]byte{0x30, 0x07, 0x30, 0x03, 2, 1, 0, 0x30, 0}, tlv(tagSequence, oidSignedData, tlv(context(0), tlv(tagSequence, []byte{2, 1, 3}, tlv(tagSet)))))
	f.Fuzz(func(t *testing.T, reply, token []byte) {
		if inner, err := StampReply(reply); err == nil {
			ParseStamp(inner, digest)
		} else if strings.ContainsAny(err.Error(), "\n\x1b") {
			t.Errorf("%q", err)
		}
		ParseStamp(token, digest)
	})
}

func TestStampReplySaysWhatTheServerSaid(t *testing.T) {
	_, err := StampReply(tlv(tagSequence, tlv(tagSequence, []byte{2, 1, 2}, tlv(tagSequence, tlv(0x0c, []byte("out of \x1b[31mink"))))))
	if err == nil || err.Error() != "the time-stamp server refused: status 2, out of [31mink" {
		t.Error(err)
	}
}

func TestStampTime(t *testing.T) {
	for _, good := range []string{"20261102181500Z", "20261102181500.25Z"} {
		if _, err := stampTime(good); err != nil {
			t.Error(good, err)
		}
	}
	for _, bad := range []string{"", "Z", "20261102181500", "20261102181500.0Z", "20261102181500.Z", "20261302181500Z", "20261102181500,5Z", "2026110218150Z", "20261102181500+0000"} {
		if _, err := stampTime(bad); err == nil {
			t.Errorf("%q passes", bad)
		}
	}
}
