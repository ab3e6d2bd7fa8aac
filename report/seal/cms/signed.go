// Package cms builds and reads the one form of electronic signature the house makes:
// a detached CMS SignedData with the attributes of a CAdES baseline B-B signature,
// and on request a time stamp over it (B-T).
//
// A signature has one form: [Parse] takes apart, puts together again and compares, so
// that no bit of it can change unnoticed, not even one that no digest covers. All
// certificates of the chain are named in the signed attributes.
//
// Documents, all from memory, checked in tests against openssl: RFC 5652 (CMS),
// RFC 5035 (signing-certificate-v2), RFC 5754 (SHA-2 in CMS), RFC 3161 (time stamps),
// ETSI EN 319 122-1 (CAdES), EN 319 142-1 (PAdES, which forbids signing-time).
package cms

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/asn1"
	"errors"
	"fmt"
	"math/big"
)

// MaxChain is the largest number of certificates in a signature, the signer's included. Ours.
const MaxChain = 6

// RSA keys, bits. Shorter ones are too weak; longer ones only cost the checker's time. Ours.
const minRSA, maxRSA = 2048, 8192

// maxSize bounds what Parse looks at; a signature with a time stamp has some 10 kB. Ours.
const maxSize = 1 << 16

var (
	oidData        = oid(1, 2, 840, 113549, 1, 7, 1)
	oidSignedData  = oid(1, 2, 840, 113549, 1, 7, 2)
	oidContentType = oid(1, 2, 840, 113549, 1, 9, 3)
	oidDigest      = oid(1, 2, 840, 113549, 1, 9, 4)
	oidSigningCert = oid(1, 2, 840, 113549, 1, 9, 16, 2, 47)
	oidTimeStamp   = oid(1, 2, 840, 113549, 1, 9, 16, 2, 14)

	algSHA256  = tlv(tagSequence, oid(2, 16, 840, 1, 101, 3, 4, 2, 1)) // RFC 5754, 2: no parameters
	algECDSA   = tlv(tagSequence, oid(1, 2, 840, 10045, 4, 3, 2))      // ecdsa-with-SHA256, RFC 5754, 3.3
	algRSA     = tlv(tagSequence, oid(1, 2, 840, 113549, 1, 1, 11), null)
	null       = []byte{5, 0}
	versionOne = []byte{tagInteger, 1, 1}
)

// Signed is a signature taken apart.
type Signed struct {
	// Chain holds the signer's certificate, then its issuer's, and so on.
	Chain []*x509.Certificate
	// Digest is the SHA-256 of what was signed.
	Digest [32]byte
	// Value is the signature itself, as ECDSA or RSA made it. A time stamp covers it.
	Value []byte
	// Token is the time stamp, a CMS of its own; nil if there is none.
	Token []byte
}

// Sign signs digest, a SHA-256, with key and returns the CMS in DER.
//
// chain begins with the key's own certificate, each following one issued the one
// before; at most MaxChain. The key is ECDSA P-256 or RSA of 2048 to 8192 bit. stamp, if
// not nil, gets the SHA-256 of the signature value and returns a time-stamp token over it.
//
// ECDSA is deterministic (RFC 6979), so the same inputs give the same bytes.
func Sign(digest [32]byte, key crypto.Signer, chain []*x509.Certificate, stamp func(digest [32]byte) (token []byte, err error)) ([]byte, error) {
	if len(chain) == 0 || len(chain) > MaxChain {
		return nil, fmt.Errorf("the chain has %d certificates, expected 1 to %d", len(chain), MaxChain)
	}
	if public, ok := key.Public().(interface{ Equal(crypto.PublicKey) bool }); !ok || !public.Equal(chain[0].PublicKey) {
		return nil, errors.New("the key does not belong to the first certificate")
	}
	s := &Signed{Chain: chain, Digest: digest}
	if _, err := s.algorithm(); err != nil {
		return nil, err
	}
	hash := sha256.Sum256(s.attributes(tagSet))
	value, err := key.Sign(nil, hash[:], crypto.SHA256) // nil: deterministic
	if err != nil {
		return nil, fmt.Errorf("the key did not sign: %w", err)
	}
	if s.Value, err = lowS(key.Public(), value); err != nil {
		return nil, err
	}
	if stamp != nil {
		if s.Token, err = stamp(sha256.Sum256(s.Value)); err != nil {
			return nil, err
		}
	}
	return s.build()
}

// algorithm returns the signature algorithm that goes with the signer's key.
func (s *Signed) algorithm() ([]byte, error) {
	switch key := s.Chain[0].PublicKey.(type) {
	case *ecdsa.PublicKey:
		if key.Curve == elliptic.P256() {
			return algECDSA, nil
		}
	case *rsa.PublicKey:
		if n := key.N.BitLen(); minRSA <= n && n <= maxRSA {
			return algRSA, nil
		}
	}
	return nil, errors.New("the signer's key is neither ECDSA P-256 nor RSA of 2048 to 8192 bit")
}

// attributes returns the signed attributes under the given tag: as SET they are what
// is signed, as [0] they stand in the CMS (RFC 5652, 5.4).
func (s *Signed) attributes(tag byte) []byte {
	var hashes [][]byte
	for _, c := range s.Chain {
		h := sha256.Sum256(c.Raw)
		hashes = append(hashes, tlv(tagSequence, tlv(tagOctetString, h[:]))) // ESSCertIDv2, SHA-256 by default
	}
	attribute := func(id, value []byte) []byte { return tlv(tagSequence, id, tlv(tagSet, value)) }
	return setOf(tag,
		attribute(oidContentType, oidData),
		attribute(oidDigest, tlv(tagOctetString, s.Digest[:])),
		attribute(oidSigningCert, tlv(tagSequence, tlv(tagSequence, hashes...))))
}

// build writes the CMS.
func (s *Signed) build() ([]byte, error) {
	algorithm, err := s.algorithm()
	if err != nil {
		return nil, err
	}
	var certificates [][]byte
	for _, c := range s.Chain {
		certificates = append(certificates, c.Raw)
	}
	info := [][]byte{
		versionOne,
		tlv(tagSequence, s.Chain[0].RawIssuer, serialOf(s.Chain[0])),
		algSHA256,
		s.attributes(context(0)),
		algorithm,
		tlv(tagOctetString, s.Value),
	}
	if s.Token != nil {
		info = append(info, tlv(context(1), tlv(tagSequence, oidTimeStamp, tlv(tagSet, s.Token))))
	}
	return tlv(tagSequence, oidSignedData, tlv(context(0), tlv(tagSequence,
		versionOne,
		tlv(tagSet, algSHA256),
		tlv(tagSequence, oidData), // detached: no content
		setOf(context(0), certificates...),
		tlv(tagSet, tlv(tagSequence, info...))))), nil
}

// lowS makes an ECDSA signature unique: of s and n-s, which both verify, the smaller.
func lowS(public crypto.PublicKey, value []byte) ([]byte, error) {
	key, ok := public.(*ecdsa.PublicKey)
	if !ok {
		return value, nil
	}
	var sig struct{ R, S *big.Int }
	if rest, err := asn1.Unmarshal(value, &sig); err != nil || len(rest) > 0 {
		return nil, errForm
	}
	if n := key.Params().N; sig.S.Cmp(new(big.Int).Rsh(n, 1)) > 0 {
		sig.S.Sub(n, sig.S)
	}
	return asn1.Marshal(sig)
}

// Verify checks that the signer's key signed digest. Whether the chain is to be
// trusted is not its question.
func (s *Signed) Verify(digest [32]byte) error {
	if s.Digest != digest {
		return errors.New("the contents are not what was signed")
	}
	hash := sha256.Sum256(s.attributes(tagSet))
	good := false
	switch key := s.Chain[0].PublicKey.(type) {
	case *ecdsa.PublicKey:
		low, err := lowS(key, s.Value)
		good = err == nil && bytes.Equal(low, s.Value) && ecdsa.VerifyASN1(key, hash[:], s.Value)
	case *rsa.PublicKey:
		good = rsa.VerifyPKCS1v15(key, crypto.SHA256, hash[:], s.Value) == nil
	}
	if !good {
		return errors.New("the signature value does not belong to the certificate's key")
	}
	return nil
}
