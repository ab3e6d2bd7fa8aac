// Package seal makes and checks the signatures under the house's records: the site's
// authority and personal keys, PAdES baseline signatures in PDFs (B-B, and B-T with an
// RFC 3161 time stamp), detached CMS signatures over other bytes.
//
// Bytes in, bytes out: no clock (every time is an argument), no settings, and no folder
// but the one that WriteNew is told. Certificates made here are self-made: a signature
// shows who signed and that nothing changed since; it is not a qualified one. A
// certificate from outside can be brought.
//
// No passphrase and no private key ever stands in an error.
package seal

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
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"holdproof/report/seal/cms"
)

// How long certificates last, in calendar years. The authority outlives the records'
// usual retention, a person's is renewed with their job. Ours.
const (
	authorityYears = 30
	personYears    = 5
)

// Purposes a signer's certificate may state (extended key usage); stating none is fine.
// emailProtection is what the common checkers ask for, documentSigning is RFC 9336, the
// other two are what bought certificates carry. From memory.
var (
	documentSigning = asn1.ObjectIdentifier{1, 3, 6, 1, 5, 5, 7, 3, 36}
	otherPurposes   = []asn1.ObjectIdentifier{documentSigning, {1, 2, 840, 113583, 1, 1, 5}, {1, 3, 6, 1, 4, 1, 311, 10, 3, 12}}
)

// A Key is a private key with its certificate and the certificates above it.
type Key struct {
	chain   []*x509.Certificate // own first
	private crypto.Signer
}

// NewAuthority makes the authority of a surgery: a self-signed P-256 certificate, good
// for 30 years from the given time, that may issue personal certificates and no further
// authorities.
//
// Error: the surgery's name is empty, longer than 64 letters, or not plain text.
func NewAuthority(surgery string, from time.Time) (*Key, error) {
	if err := checkName("the surgery's name", surgery); err != nil {
		return nil, err
	}
	template := &x509.Certificate{
		Subject:               pkix.Name{CommonName: surgery, Organization: []string{surgery}, OrganizationalUnit: []string{"record authority"}},
		NotBefore:             from.UTC().Truncate(time.Second),
		NotAfter:              from.UTC().Truncate(time.Second).AddDate(authorityYears, 0, 0),
		KeyUsage:              x509.KeyUsageCertSign | x509.KeyUsageCRLSign | x509.KeyUsageDigitalSignature,
		BasicConstraintsValid: true, IsCA: true, MaxPathLenZero: true,
	}
	return issueNew(template, nil)
}

// Issue makes a key for a person, good for 5 years from the given time but no longer
// than the authority. Issuing again for the same person makes another key; what the old
// one signed stays good.
//
// Error: k is no authority, is not valid at that time, or the name is empty, longer
// than 64 letters, or not plain text.
func (k *Key) Issue(person string, from time.Time) (*Key, error) {
	if err := checkName("the person's name", person); err != nil {
		return nil, err
	}
	ca := k.Certificate()
	if !ca.IsCA {
		return nil, errors.New("only the site's authority can issue certificates, this is a personal key")
	}
	from = from.UTC().Truncate(time.Second)
	if from.Before(ca.NotBefore) || from.After(ca.NotAfter) {
		return nil, fmt.Errorf("the site's authority is valid from %s to %s, not on %s",
			ca.NotBefore.Format(time.DateOnly), ca.NotAfter.Format(time.DateOnly), from.Format(time.DateOnly))
	}
	until := from.AddDate(personYears, 0, 0)
	if until.After(ca.NotAfter) {
		until = ca.NotAfter
	}
	template := &x509.Certificate{
		Subject:   pkix.Name{CommonName: person, Organization: ca.Subject.Organization},
		NotBefore: from, NotAfter: until,
		KeyUsage:              x509.KeyUsageDigitalSignature | x509.KeyUsageContentCommitment,
		ExtKeyUsage:           []x509.ExtKeyUsage{x509.ExtKeyUsageEmailProtection},
		UnknownExtKeyUsage:    []asn1.ObjectIdentifier{documentSigning},
		BasicConstraintsValid: true,
	}
	return issueNew(template, k)
}

// issueNew makes a P-256 key and a serial number of 128 bit and issues a certificate.
func issueNew(template *x509.Certificate, issuer *Key) (*Key, error) {
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial := make([]byte, 16)
	rand.Read(serial) // never fails: it ends the program instead
	template.SerialNumber = new(big.Int).SetBytes(serial)
	return issue(template, private, issuer)
}

// issue makes the certificate of a key; without an issuer it signs itself.
func issue(template *x509.Certificate, private *ecdsa.PrivateKey, issuer *Key) (*Key, error) {
	public, err := private.PublicKey.Bytes()
	if err != nil {
		return nil, err
	}
	id := sha256.Sum256(public)
	template.SubjectKeyId = id[:20]
	parent, signer := template, crypto.Signer(private)
	var above []*x509.Certificate
	if issuer != nil {
		parent, signer, above = issuer.chain[0], issuer.private, issuer.chain
	}
	der, err := x509.CreateCertificate(nil, template, parent, private.Public(), signer) // nil: deterministic
	if err != nil {
		return nil, fmt.Errorf("the certificate cannot be made: %w", err)
	}
	own, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	return &Key{append([]*x509.Certificate{own}, above...), private}, nil
}

// checkName accepts what a certificate and a printed line can show. 64 is the bound of
// X.520 on a common name.
func checkName(what, name string) error {
	switch {
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unprintable):
		return fmt.Errorf("%s holds something that cannot be printed", what)
	case strings.TrimSpace(name) != name || name == "":
		return fmt.Errorf("%s is empty or begins or ends with a space", what)
	case utf8.RuneCountInString(name) > 64:
		return fmt.Errorf("%s has more than 64 letters", what)
	}
	return nil
}

// unprintable names control characters and the invisible ones that reorder text.
func unprintable(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029'
}

// Certificate returns the key's own certificate.
func (k *Key) Certificate() *x509.Certificate { return k.chain[0] }

// Authority returns the highest certificate the key brings: for a personal key the
// site's authority, for the authority itself.
func (k *Key) Authority() *x509.Certificate { return k.chain[len(k.chain)-1] }

// Fingerprint returns the SHA-256 of a certificate as sixteen groups of four
// hexadecimal digits, to be read aloud and compared.
func Fingerprint(c *x509.Certificate) string {
	h := sha256.Sum256(c.Raw)
	groups := make([]string, 0, 16)
	for pair := range slices.Chunk(h[:], 2) {
		groups = append(groups, fmt.Sprintf("%X", pair))
	}
	return strings.Join(groups, " ")
}

// checkSigner says why a certificate cannot sign: its key or what it was made for.
func checkSigner(c *x509.Certificate) error {
	switch key := c.PublicKey.(type) {
	case *ecdsa.PublicKey:
		if key.Curve != elliptic.P256() {
			return fmt.Errorf("the key is on the curve %s; ECDSA P-256 and RSA from 2048 bit work", key.Params().Name)
		}
	case *rsa.PublicKey:
		if n := key.N.BitLen(); n < 2048 || n > 8192 {
			return fmt.Errorf("the RSA key has %d bit; 2048 to 8192 work", n)
		}
	default:
		return errors.New("the key is neither ECDSA P-256 nor RSA")
	}
	if c.KeyUsage&(x509.KeyUsageDigitalSignature|x509.KeyUsageContentCommitment) == 0 && c.KeyUsage != 0 {
		return errors.New("the certificate is not made for signatures (key usage)")
	}
	if len(c.ExtKeyUsage)+len(c.UnknownExtKeyUsage) == 0 {
		return nil
	}
	for _, use := range c.ExtKeyUsage {
		if use == x509.ExtKeyUsageAny || use == x509.ExtKeyUsageEmailProtection {
			return nil
		}
	}
	for _, use := range c.UnknownExtKeyUsage {
		if slices.ContainsFunc(otherPurposes, use.Equal) {
			return nil
		}
	}
	return errors.New("the certificate is not made for signing documents (extended key usage)")
}

// order puts the certificates above own in a row, each the issuer of the one before.
// Those that do not belong are left out; a loop ends the row.
func order(own *x509.Certificate, others []*x509.Certificate) []*x509.Certificate {
	chain := []*x509.Certificate{own}
	for last := own; len(chain) < cms.MaxChain && !bytes.Equal(last.RawIssuer, last.RawSubject); {
		i := slices.IndexFunc(others, func(c *x509.Certificate) bool {
			return !slices.ContainsFunc(chain, c.Equal) && last.CheckSignatureFrom(c) == nil
		})
		if i < 0 {
			break
		}
		last = others[i]
		chain = append(chain, last)
	}
	return chain
}
