package surgery

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// Certified is a certificate of the site, as its log tells it.
type Certified struct {
	Person      string // id, "" for the authority
	Name        string // in the certificate
	Issuer      string
	Fingerprint string // of all of it; [Certified.Short] is its beginning
	Short       string
	Issued      time.Time // of the entry
	IssuedBy    string    // id, "" for the program
	Ended       time.Time // zero: counts
	EndedBy     string
	Reason      string // of the ending
	NotBefore   time.Time
	NotAfter    time.Time
	Outside     bool // not issued by the site's authority

	der []byte
}

// soonEnds is how long before its end a certificate is warned of (ours).
const soonEnds = 60 * 24 * time.Hour

// Warning says what should be done about a certificate, "" for nothing.
func (c Certified) Warning(now time.Time) string {
	renew := "A lead makes a new one with holdproof people certificate " + c.Person + "."
	if c.Person == "" {
		renew = "Tell whoever looks after this program."
	}
	switch {
	case !c.Ended.IsZero():
		return ""
	case now.After(c.NotAfter):
		return "It has ended. " + renew
	case now.Add(soonEnds).After(c.NotAfter):
		return "It ends on " + c.NotAfter.In(now.Location()).Format("2 Jan 2006") + ". " + renew
	}
	return ""
}

// Keys returns all certificates in the order they were issued, the authority's first.
func (r *Records) Keys(ctx context.Context) ([]Certified, error) {
	return certificates(ctx, r.book.View)
}

func certificates(ctx context.Context, v *logbook.View) ([]Certified, error) {
	rows, err := logbook.Find[entry.Certificate](ctx, v, logbook.Filter{})
	if err != nil {
		return nil, err
	}
	var out []Certified
	var authorities []*x509.Certificate
	for _, row := range rows {
		if row.Said.Act == "ended" {
			for i := range out {
				if bytes.Equal(out[i].der, row.Said.DER) {
					out[i].Ended, out[i].EndedBy, out[i].Reason = row.Entered, row.By, row.Reason
				}
			}
			continue
		}
		c, err := x509.ParseCertificate(row.Said.DER)
		if err != nil {
			return nil, fmt.Errorf("the certificate of entry %d: %w", row.Number, err)
		}
		one := Certified{Person: row.Said.Person, Name: row.Said.Name, Issuer: row.Said.Issuer, Fingerprint: seal.Fingerprint(c), Short: shortPrint(c),
			Issued: row.Entered, IssuedBy: row.By, NotBefore: c.NotBefore, NotAfter: c.NotAfter, der: c.Raw, Outside: true}
		if row.Said.Use == "authority" {
			authorities = append(authorities, c)
		}
		for _, a := range authorities {
			if c.CheckSignatureFrom(a) == nil {
				one.Outside = false
			}
		}
		out = append(out, one)
	}
	return out, nil
}

// AuthorityPEM is the certificate of the site's authority, from the logbook and not
// from a file, in the form that other programs take.
func (r *Records) AuthorityPEM(ctx context.Context) ([]byte, error) {
	all, err := r.Keys(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range all {
		if c.Person == "" && c.Ended.IsZero() {
			return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: c.der}), nil
		}
	}
	return nil, errors.New("the logbook holds no authority; holdproof init makes one")
}

// CheckPassphrase says what a new passphrase lacks, nil if it will do.
func CheckPassphrase(word string) error {
	if err := seal.CheckPassphrase(word); err != nil {
		return &Refusal{Why: err.Error(), Instead: "Nothing was kept. Choose another passphrase."}
	}
	return nil
}
