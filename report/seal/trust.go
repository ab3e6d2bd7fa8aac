package seal

import (
	"crypto/sha256"
	"crypto/x509"
	"errors"
	"fmt"
	"time"

	"holdproof/report/seal/cms"
)

// Where the time comes from at which a certificate is judged.
const (
	FromStamp   = "time stamp"
	FromEntry   = "logbook entry"
	FromSigner  = "signer's clock"
	dayAndClock = "2006-01-02 15:04:05 -07:00"
)

// Trust says whom to believe.
type Trust struct {
	// Roots are the authorities accepted. nil: a signature can be sound, never trusted.
	Roots *x509.CertPool
	// StampRoots are the time-stamp authorities accepted. nil: time stamps are checked
	// for soundness, but certificates are not judged by their time.
	StampRoots *x509.CertPool
	// Times holds, by meaning ("prepared", "reviewed"), when the logbook recorded the
	// signature. It counts before the signer's own clock and after a trusted time stamp.
	Times map[string]time.Time
}

// judgeChain checks that a chain holds together, that its first certificate may sign and
// was valid at the time, and, if there are roots, that it ends in one of them.
func judgeChain(chain []*x509.Certificate, roots *x509.CertPool, at time.Time) error {
	own := chain[0]
	if err := checkSigner(own); err != nil {
		return err
	}
	for i, c := range chain[1:] {
		if err := chain[i].CheckSignatureFrom(c); err != nil {
			return fmt.Errorf("certificate %d of the chain was not issued by the next one", i+1)
		}
	}
	for _, c := range chain {
		if at.Before(c.NotBefore) || at.After(c.NotAfter) {
			return fmt.Errorf("the certificate of %s is valid from %s to %s, not at the time of signing, %s", c.Subject.CommonName,
				c.NotBefore.Format(dayAndClock), c.NotAfter.Format(dayAndClock), at.Format(dayAndClock))
		}
	}
	if roots == nil {
		return nil
	}
	pool := x509.NewCertPool()
	for _, c := range chain[1:] {
		pool.AddCert(c)
	}
	_, err := own.Verify(x509.VerifyOptions{
		Roots: roots, Intermediates: pool, CurrentTime: at, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageAny},
	})
	if err != nil {
		return fmt.Errorf("the certificate of %s does not lead to an authority you trust; fingerprint of its authority: %s",
			own.Subject.CommonName, Fingerprint(chain[len(chain)-1]))
	}
	return nil
}

// SignDetached signs any bytes and returns the CMS in DER. The same bytes and key give
// the same signature. `openssl cms -verify -binary -content FILE` checks it.
func (k *Key) SignDetached(content []byte) ([]byte, error) {
	return cms.Sign(sha256.Sum256(content), k.private, k.chain, nil)
}

// VerifyDetached checks a signature of SignDetached over content, at the given time, and
// returns the chain of the signer, own certificate first.
//
// With roots nil the signature can be sound, never trusted: compare the fingerprint.
// Error: a sentence without full stop that says what does not hold.
func VerifyDetached(der, content []byte, roots *x509.CertPool, at time.Time) ([]*x509.Certificate, error) {
	s, err := cms.Parse(der)
	if err != nil {
		return nil, err
	}
	if s.Token != nil {
		return nil, errors.New("a signature over a file carries no time stamp in these records")
	}
	if err := s.Verify(sha256.Sum256(content)); err != nil {
		return nil, err
	}
	return s.Chain, judgeChain(s.Chain, roots, at)
}
