package cms

import (
	"bytes"
	"crypto/x509"
	"encoding/asn1"
	"errors"
	"fmt"
	"math/big"
	"strings"
	"time"
)

// OIDs of RFC 3161 and its attributes.
var (
	oidTSTInfo       = oid(1, 2, 840, 113549, 1, 9, 16, 1, 4)
	oidSigningCertV1 = oid(1, 2, 840, 113549, 1, 9, 16, 2, 12)
)

// A Stamp is what a time-stamp authority states.
type Stamp struct {
	Time   time.Time // UTC, by the authority's clock
	Policy asn1.ObjectIdentifier
	Nonce  *big.Int // nil if the token has none
	// Chain holds the authority's certificate, then the others of the token, in its order.
	Chain []*x509.Certificate
}

// StampRequest returns the RFC 3161 request for a time stamp over digest, a SHA-256,
// with the authority's certificate included. policy may be nil; nonce is positive.
func StampRequest(digest [32]byte, nonce *big.Int, policy asn1.ObjectIdentifier) ([]byte, error) {
	parts := [][]byte{versionOne, tlv(tagSequence, algSHA256, tlv(tagOctetString, digest[:]))}
	if policy != nil {
		p, err := asn1.Marshal(policy)
		if err != nil {
			return nil, fmt.Errorf("the policy %v is no object identifier", policy)
		}
		parts = append(parts, p)
	}
	n, err := asn1.Marshal(nonce)
	if err != nil {
		return nil, err
	}
	return tlv(tagSequence, append(parts, n, []byte{1, 1, 0xff})...), nil
}

// StampReply takes the token out of a time-stamp server's reply.
//
// Error: the reply is malformed, or the server refused; then with the server's own words.
func StampReply(reply []byte) (token []byte, err error) {
	r := reader{reply}
	if r, err = r.only(tagSequence); err != nil {
		return nil, errors.New("the time-stamp server's reply is not RFC 3161")
	}
	status, err := r.into(tagSequence)
	if err != nil {
		return nil, errors.New("the time-stamp server's reply is not RFC 3161")
	}
	code, err := status.integer()
	if err != nil {
		return nil, errors.New("the time-stamp server's reply has no status")
	}
	if len(code) != 1 || code[0] > 1 { // granted, or granted with modifications
		return nil, fmt.Errorf("the time-stamp server refused: status %d%s", new(big.Int).SetBytes(code), statusText(status))
	}
	_, token, err = r.element(tagSequence)
	if err != nil || r.end() != nil {
		return nil, errors.New("the time-stamp server's reply holds no token")
	}
	return token, nil
}

// statusText returns the server's free text, printable letters only, at most 200 bytes.
func statusText(status reader) string {
	const tagUTF8 = 0x0c
	list, err := status.into(tagSequence)
	if err != nil {
		return ""
	}
	text, _, err := list.element(tagUTF8)
	if err != nil {
		return ""
	}
	clean := strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '\uFFFD' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(string(text[:min(len(text), 200)]), ""))
	return ", " + clean
}

// ParseStamp reads a token and checks that it is a sound time stamp over digest, a
// SHA-256: its signature holds, by the certificate it names, which is made for time
// stamps and nothing else. Whom to trust is decided by [Stamp.Trusted].
func ParseStamp(token []byte, digest [32]byte) (*Stamp, error) {
	if len(token) > maxSize {
		return nil, fmt.Errorf("the time stamp is larger than %d bytes", maxSize)
	}
	s, err := parseStamp(token, digest)
	if err == errForm {
		return nil, errors.New("the time stamp is not written as DER demands, or has parts these records do not use")
	}
	return s, err
}

func parseStamp(token []byte, digest [32]byte) (*Stamp, error) {
	signedData, err := open(token)
	if err != nil {
		return nil, err
	}
	if err := signedData.exactly([]byte{tagInteger, 1, 3}); err != nil {
		return nil, err
	}
	digests, err := signedData.into(tagSet)
	if err != nil {
		return nil, err
	}
	content, err := signedData.into(tagSequence)
	if err != nil {
		return nil, err
	}
	info, err := encapsulated(content)
	if err != nil {
		return nil, err
	}
	certificates, signer, err := oneSigner(signedData,
		errors.New("the time stamp does not hold its authority's certificate"), errors.New("the time stamp does not have exactly one signer"))
	if err != nil {
		return nil, err
	}
	s := &Stamp{}
	if err := s.readInfo(info, digest); err != nil {
		return nil, err
	}
	return s, s.verifySigner(signer, info, digests.rest, certificates)
}

// encapsulated returns the TSTInfo of an EncapsulatedContentInfo.
func encapsulated(r reader) ([]byte, error) {
	if err := r.exactly(oidTSTInfo); err != nil {
		return nil, errors.New("the token is no time stamp")
	}
	content, err := r.only(context(0))
	if err != nil {
		return nil, err
	}
	octets, err := content.only(tagOctetString)
	return octets.rest, err
}

// readInfo reads TSTInfo (RFC 3161, 2.4.2).
func (s *Stamp) readInfo(info []byte, digest [32]byte) error {
	r := reader{info}
	r, err := r.only(tagSequence)
	if err != nil {
		return err
	}
	if err := r.exactly(versionOne); err != nil {
		return err
	}
	_, policy, err := r.element(tagOID)
	if err != nil {
		return err
	}
	if _, err := asn1.Unmarshal(policy, &s.Policy); err != nil {
		return errForm
	}
	imprint, err := r.into(tagSequence)
	if err != nil {
		return err
	}
	_, algorithm, err := imprint.element(tagSequence)
	if err != nil {
		return err
	}
	hashed, err := imprint.only(tagOctetString)
	if err != nil {
		return err
	}
	if hash, ok := digestOf(algorithm); !ok || hash != hashSHA256 || !bytes.Equal(hashed.rest, digest[:]) {
		return errors.New("the time stamp is for something else than this signature")
	}
	if _, err := r.integer(); err != nil { // serial number
		return err
	}
	clock, _, err := r.element(tagTime)
	if err != nil {
		return err
	}
	if s.Time, err = stampTime(string(clock)); err != nil {
		return err
	}
	return s.readRest(r)
}

// stampTime reads GeneralizedTime in DER: seconds, a fraction without closing zeros, Z.
func stampTime(text string) (time.Time, error) {
	whole, fraction, found := strings.Cut(strings.TrimSuffix(text, "Z"), ".")
	if !strings.HasSuffix(text, "Z") || len(whole) != 14 || found && (fraction == "" || strings.HasSuffix(fraction, "0")) {
		return time.Time{}, errForm
	}
	t, err := time.Parse("20060102150405", strings.TrimSuffix(text, "Z")) // takes the fraction as well
	if err != nil {
		return time.Time{}, errForm
	}
	return t, nil
}

// readRest reads the optional end of TSTInfo: accuracy, ordering, nonce, name, extensions.
func (s *Stamp) readRest(r reader) error {
	const tagBoolean = 0x01
	for _, tag := range []byte{tagSequence, tagBoolean, tagInteger, context(0), context(1)} {
		if !r.next(tag) {
			continue
		}
		if tag == tagInteger {
			c, err := r.integer()
			if err != nil || c[0] >= 0x80 {
				return errForm
			}
			s.Nonce = new(big.Int).SetBytes(c)
			continue
		}
		if _, _, err := r.element(tag); err != nil {
			return err
		}
	}
	return r.end()
}

// Trusted checks the authority's chain to roots, at the stamp's own time. Every
// certificate of the token must be part of that chain.
func (s *Stamp) Trusted(roots *x509.CertPool) error {
	pool := x509.NewCertPool()
	for _, c := range s.Chain[1:] {
		pool.AddCert(c)
	}
	chains, err := s.Chain[0].Verify(x509.VerifyOptions{
		Roots: roots, Intermediates: pool, CurrentTime: s.Time,
		KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping},
	})
	if err != nil {
		return fmt.Errorf("the time stamp's authority is not trusted: %w", err)
	}
	for _, chain := range chains {
		if within(s.Chain, chain) {
			return nil
		}
	}
	return errors.New("the time stamp holds certificates that are not its authority's")
}

func within(some, all []*x509.Certificate) bool {
next:
	for _, c := range some {
		for _, d := range all {
			if c.Equal(d) {
				continue next
			}
		}
		return false
	}
	return true
}
