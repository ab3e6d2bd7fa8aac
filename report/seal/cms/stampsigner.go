package cms

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/rsa"
	"crypto/sha1"
	_ "crypto/sha512" // SHA-384 and SHA-512 for verifySigner
	"crypto/x509"
	"errors"
	"slices"
)

const hashSHA256 = crypto.SHA256

// digests a time-stamp authority may use, each with and without NULL parameters, and
// the signature algorithms that go with them.
var digests = []struct {
	hash       crypto.Hash
	id         []byte
	rsa, ecdsa []byte
}{
	{crypto.SHA256, oid(2, 16, 840, 1, 101, 3, 4, 2, 1), oid(1, 2, 840, 113549, 1, 1, 11), oid(1, 2, 840, 10045, 4, 3, 2)},
	{crypto.SHA384, oid(2, 16, 840, 1, 101, 3, 4, 2, 2), oid(1, 2, 840, 113549, 1, 1, 12), oid(1, 2, 840, 10045, 4, 3, 3)},
	{crypto.SHA512, oid(2, 16, 840, 1, 101, 3, 4, 2, 3), oid(1, 2, 840, 113549, 1, 1, 13), oid(1, 2, 840, 10045, 4, 3, 4)},
}

var oidRSA = oid(1, 2, 840, 113549, 1, 1, 1)

// identifies reports whether algorithm is id, with NULL parameters or none.
func identifies(algorithm, id []byte) bool {
	return bytes.Equal(algorithm, tlv(tagSequence, id)) || bytes.Equal(algorithm, tlv(tagSequence, id, null))
}

func digestOf(algorithm []byte) (crypto.Hash, bool) {
	for _, d := range digests {
		if identifies(algorithm, d.id) {
			return d.hash, true
		}
	}
	return 0, false
}

// verifySigner checks the one SignerInfo of a token over info.
func (s *Stamp) verifySigner(r reader, info, declared []byte, certificates []*x509.Certificate) error {
	if err := r.exactly(versionOne); err != nil {
		return err
	}
	_, sid, err := r.element(tagSequence)
	if err != nil {
		return err
	}
	_, digest, err := r.element(tagSequence)
	if err != nil {
		return err
	}
	hash, ok := digestOf(digest)
	if !ok || !bytes.Equal(declared, digest) {
		return errors.New("the time stamp's digest is not SHA-256, SHA-384 or SHA-512")
	}
	contents, _, err := r.element(context(0))
	if err != nil {
		return errors.New("the time stamp has no signed attributes")
	}
	_, algorithm, err := r.element(tagSequence)
	if err != nil {
		return err
	}
	value, _, err := r.element(tagOctetString)
	if err != nil {
		return err
	}
	if err := r.end(); err != nil {
		return errors.New("the time stamp has unsigned attributes")
	}
	h := hash.New()
	h.Write(info)
	if err := s.stampAttributes(reader{contents}, h.Sum(nil), certificates); err != nil {
		return err
	}
	return s.verifyValue(sid, algorithm, tlv(tagSet, contents), value, hash)
}

// stampAttributes finds the authority's certificate by the hash in the signed
// attributes; content type and digest must be there and right, others may be there.
func (s *Stamp) stampAttributes(r reader, digest []byte, certificates []*x509.Certificate) error {
	var typed, digested bool
	for len(r.rest) > 0 {
		id, value, err := r.attribute()
		if err != nil {
			return err
		}
		switch {
		case bytes.Equal(id, oidContentType):
			typed = bytes.Equal(value.rest, oidTSTInfo)
		case bytes.Equal(id, oidDigest):
			digested = bytes.Equal(value.rest, tlv(tagOctetString, digest))
		case bytes.Equal(id, oidSigningCert), bytes.Equal(id, oidSigningCertV1):
			at, err := named(value, certificates, bytes.Equal(id, oidSigningCertV1))
			if err != nil {
				return err
			}
			chain := append([]*x509.Certificate{certificates[at]}, slices.Delete(slices.Clone(certificates), at, at+1)...)
			if s.Chain != nil && !s.Chain[0].Equal(chain[0]) {
				return errors.New("the time stamp names two authorities")
			}
			s.Chain = chain
		}
	}
	if !typed || !digested {
		return errors.New("the time stamp's contents are not what its authority signed")
	}
	if s.Chain == nil {
		return errors.New("the time stamp does not name its authority's certificate")
	}
	return nil
}

// named returns which certificate the first ESSCertID (RFC 2634 with SHA-1, RFC 5035)
// names. The hash only picks among the certificates of the token; the signature decides.
func named(value reader, certificates []*x509.Certificate, old bool) (int, error) {
	value, err := value.only(tagSequence) // SigningCertificate
	if err != nil {
		return 0, err
	}
	ids, err := value.into(tagSequence) // certs; policies may follow
	if err != nil {
		return 0, err
	}
	id, err := ids.into(tagSequence)
	if err != nil {
		return 0, err
	}
	hash := hashSHA256
	if id.next(tagSequence) && !old {
		_, algorithm, err := id.element(tagSequence)
		if err != nil {
			return 0, err
		}
		known, ok := digestOf(algorithm)
		if !ok {
			return 0, errForm
		}
		hash = known
	}
	want, _, err := id.element(tagOctetString)
	if err != nil {
		return 0, err
	}
	for i, c := range certificates {
		if bytes.Equal(want, sum(c.Raw, hash, old)) {
			return i, nil
		}
	}
	return 0, errors.New("the time stamp names a certificate it does not hold")
}

func sum(b []byte, hash crypto.Hash, old bool) []byte {
	if old {
		s := sha1.Sum(b)
		return s[:]
	}
	h := hash.New()
	h.Write(b)
	return h.Sum(nil)
}

// verifyValue checks signer, algorithm, purpose and signature value.
func (s *Stamp) verifyValue(sid, algorithm, signed, value []byte, hash crypto.Hash) error {
	c := s.Chain[0]
	if !bytes.Equal(sid, tlv(tagSequence, c.RawIssuer, serialOf(c))) {
		return errors.New("the time stamp names two different signers")
	}
	if len(c.ExtKeyUsage) != 1 || c.ExtKeyUsage[0] != x509.ExtKeyUsageTimeStamping || len(c.UnknownExtKeyUsage) > 0 {
		return errors.New("the time stamp's certificate is not made for time stamps alone")
	}
	h := hash.New()
	h.Write(signed)
	good := false
	for _, d := range digests {
		if d.hash != hash {
			continue
		}
		switch key := c.PublicKey.(type) {
		case *rsa.PublicKey:
			good = (identifies(algorithm, d.rsa) || identifies(algorithm, oidRSA)) &&
				key.N.BitLen() >= minRSA && rsa.VerifyPKCS1v15(key, hash, h.Sum(nil), value) == nil
		case *ecdsa.PublicKey:
			good = identifies(algorithm, d.ecdsa) && ecdsa.VerifyASN1(key, h.Sum(nil), value)
		}
	}
	if !good {
		return errors.New("the time stamp's signature does not hold")
	}
	return nil
}

// serialOf returns the certificate's serial number in DER.
func serialOf(c *x509.Certificate) []byte {
	b := c.SerialNumber.Bytes()
	if len(b) == 0 || b[0] >= 0x80 {
		b = append([]byte{0}, b...)
	}
	return tlv(tagInteger, b)
}
