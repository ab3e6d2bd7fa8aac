package surgery

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// Proof is who acts, and the way to that person's passphrase. It is asked for only
// when nothing else stands in the way of the act.
type Proof struct {
	Person     string // id
	Passphrase func() (string, error)
	SignedIn   *SignedIn // instead of a passphrase, for acts that a session is enough for
}

// proven is a person who has shown to be that person.
type proven struct {
	entry.Person
	key *seal.Key
	how string // for the entry; never the passphrase
}

// lateness is how far ahead of this computer's clock an act may be dated (ours).
const lateness = time.Minute

// happened settles when an act was done: now, if nothing else is said.
//
// Error: a [*Refusal] if that lies ahead.
func (r *Records) happened(at time.Time) (time.Time, error) {
	now := r.Now()
	switch {
	case at.IsZero():
		return now, nil
	case at.After(now.Add(lateness)):
		return at, &Refusal{Why: fmt.Sprintf("%s lies ahead: it is %s", at.In(r.zone).Format("2 Jan 2006 15:04"), now.Format("2 Jan 2006 15:04")),
			Instead: "Enter it when it has been done. If the clock of this computer is wrong, set it first."}
	}
	return at.In(r.zone), nil
}

// person returns what counts of a person.
func person(ctx context.Context, v *logbook.View, id string) (entry.Person, error) {
	if id == "" {
		return entry.Person{}, &Refusal{Why: "nobody is named as the one who does this", Instead: "Name the person with --by."}
	}
	rows, err := logbook.Find[entry.Person](ctx, v, logbook.Filter{Subject: id, Newest: true, Limit: 1})
	if err != nil {
		return entry.Person{}, err
	}
	if len(rows) == 0 {
		return entry.Person{}, &Refusal{Why: fmt.Sprintf("nobody has the id %q", id), Instead: "holdproof people shows the ids; a lead adds people with holdproof people add."}
	}
	return rows[0].Said, nil
}

// entitled returns the person if the act is theirs to do, at its time and now.
func (r *Records) entitled(ctx context.Context, v *logbook.View, id string, act Act, at time.Time) (entry.Person, error) {
	p, err := person(ctx, v, id)
	if err != nil {
		return p, err
	}
	return p, may(p, act, r.localDay(at), r.Today())
}

// prove asks for the passphrase of a person who may do the act.
//
// Errors: a [*Refusal] if the person may not, or has no key that counts;
// [seal.ErrPassphrase].
func (r *Records) prove(ctx context.Context, who Proof, act Act, at time.Time) (proven, error) {
	if who.SignedIn != nil && who.SignedIn.Person == who.Person {
		return r.proveSignedIn(ctx, *who.SignedIn, act, at)
	}
	p, err := r.entitled(ctx, r.book.View, who.Person, act, at)
	if err != nil {
		return proven{}, err
	}
	key, err := r.openKey(ctx, who.Person, who.Passphrase)
	if err != nil {
		return proven{}, err
	}
	// An act of last week may be entered with a certificate of today.
	c := key.Certificate()
	if now := r.Now(); now.Before(c.NotBefore.Add(-lateness)) || now.After(c.NotAfter) {
		return proven{}, &Refusal{Why: fmt.Sprintf("the certificate of %s is valid from %s to %s", who.Person,
			c.NotBefore.In(r.zone).Format("2 Jan 2006"), c.NotAfter.In(r.zone).Format("2 Jan 2006")),
			Instead: "A lead makes a new one with holdproof people certificate " + who.Person + "."}
	}
	return proven{Person: p, key: key, how: "passphrase of certificate " + shortPrint(c)}, nil
}

// shortPrint is the beginning of a fingerprint, to find a certificate by.
func shortPrint(c *x509.Certificate) string {
	const groups = 4
	return strings.Join(strings.Fields(seal.Fingerprint(c))[:groups], " ")
}

// authorityID is the subject of the authority's certificates, and the name of its files.
const authorityID = "authority"

// keyFile is where the key of a person lies, or with [authorityID] the authority's.
func keyFile(dir, id string) string {
	if id == authorityID {
		id = "ca"
	}
	return filepath.Join(dir, "keys", id+".p12")
}

// nextKeyFile is where a new key lies until its certificate is an entry.
func nextKeyFile(dir, id string) string {
	return strings.TrimSuffix(keyFile(dir, id), ".p12") + ".new.p12"
}

// openKey opens the key file of a person or of the authority, whose certificate must
// be one that the logbook holds as issued and not ended.
func (r *Records) openKey(ctx context.Context, id string, passphrase func() (string, error)) (*seal.Key, error) {
	good, err := standing(ctx, r.book.View, id)
	if err != nil {
		return nil, err
	}
	whose := id
	if id == authorityID {
		whose = "the authority"
	}
	if len(good) == 0 {
		return nil, &Refusal{Why: "no certificate of " + whose + " counts", Instead: "A lead makes one with holdproof people certificate " + id + "."}
	}
	if _, err := os.Stat(keyFile(r.dir, id)); errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(nextKeyFile(r.dir, id)); err != nil {
			return nil, &Refusal{Why: "the key of " + whose + " is not in " + keyFile(r.dir, id),
				Instead: "Bring the file back from the backup of the folder keys, or make a new certificate."}
		}
	}
	word, err := passphrase()
	if err != nil {
		return nil, err
	}
	// The second is there only if making a new certificate was cut off at its last step.
	failed := error(&Refusal{Why: "the key in " + keyFile(r.dir, id) + " is not of a certificate that counts",
		Instead: "holdproof keys lists the certificates. Bring the newest key file back, or make a new certificate."})
	for _, name := range []string{keyFile(r.dir, id), nextKeyFile(r.dir, id)} {
		p12, err := os.ReadFile(name)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("the key of %s cannot be read: %w", whose, err)
		}
		k, err := seal.Open(p12, word)
		switch {
		case errors.Is(err, seal.ErrPassphrase):
			failed = fmt.Errorf("%s: %w", whose, err)
		case err != nil:
			return nil, fmt.Errorf("%s: %w", name, err)
		case slices.Contains(good, entry.Sum(k.Certificate().Raw)):
			return k, nil
		}
	}
	return nil, failed
}

// standing returns the hashes of the certificates of a person that were issued and
// not ended.
func standing(ctx context.Context, v *logbook.View, id string) ([]string, error) {
	rows, err := logbook.Find[entry.Certificate](ctx, v, logbook.Filter{Subject: id})
	if err != nil {
		return nil, err
	}
	var good []string
	for _, c := range rows {
		good = slices.DeleteFunc(good, func(sum string) bool { return sum == c.Said.SHA256 })
		if c.Said.Act == "issued" {
			good = append(good, c.Said.SHA256)
		}
	}
	return good, nil
}
