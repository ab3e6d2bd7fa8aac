package surgery

import (
	"cmp"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// Person is somebody who acts, as the page of people shows it.
type Person struct {
	ID, Name string
	Roles    []Role
	Until    time.Time // end of the newest certificate that counts, zero if none does
}

// Role is what a person may do, from a local date on and until another, ends included.
type Role struct{ Name, Since, Until string }

// Now tells whether the role is held on a local date.
func (o Role) Now(day string) bool { return o.Since <= day && (o.Until == "" || day <= o.Until) }

// People returns everybody who is or was somebody, by id.
func (r *Records) People(ctx context.Context) ([]Person, error) {
	var out []Person
	err := r.book.Read(ctx, func(v *logbook.View) error {
		said, err := everybody(ctx, v)
		if err != nil {
			return err
		}
		keys, err := certificates(ctx, v)
		if err != nil {
			return err
		}
		for _, p := range said {
			one := Person{ID: p.Person, Name: p.Name}
			for _, m := range p.May {
				one.Roles = append(one.Roles, Role{m.Act, m.Since, m.Until})
			}
			for _, k := range keys {
				if k.Person == p.Person && k.Ended.IsZero() {
					one.Until = k.NotAfter
				}
			}
			out = append(out, one)
		}
		return nil
	})
	return out, err
}

// everybody returns what counts of each person, by id.
func everybody(ctx context.Context, v *logbook.View) ([]entry.Person, error) {
	rows, err := logbook.Find[entry.Person](ctx, v, logbook.Filter{Newest: true})
	if err != nil {
		return nil, err
	}
	var out []entry.Person
	for _, row := range rows {
		if !slices.ContainsFunc(out, func(p entry.Person) bool { return p.Person == row.Said.Person }) {
			out = append(out, row.Said)
		}
	}
	slices.SortFunc(out, func(a, b entry.Person) int { return cmp.Compare(a.Person, b.Person) })
	return out, nil
}

// goodID is what an id looks like: it names a file on every system, and is said aloud.
var goodID = regexp.MustCompile(`^[a-z][a-z0-9-]{0,31}$`)

// taken are ids that name something else, here or as a file under Windows.
var taken = []string{"ca", authorityID, "program", "aux", "con", "nul", "prn"}

func checkID(id string) error {
	if !goodID.MatchString(id) || slices.Contains(taken, id) {
		return &Refusal{Why: fmt.Sprintf("%q cannot be the id of a person", id),
			Instead: "Take a short one of small letters, digits and dashes, such as lea."}
	}
	return nil
}

// Joining is somebody who gets an id, roles and a key.
type Joining struct {
	ID, Name   string
	Roles      []string
	Since      string                 // local date, "" for today
	Passphrase func() (string, error) // of the new key, told twice where it is typed
	By         Proof                  // a lead
	Authority  func() (string, error) // the authority's passphrase
	Reason     string
}

// AddPerson makes a person: a key in keys/ID.p12, and entries of the certificate and
// of what the person may do.
func (r *Records) AddPerson(ctx context.Context, j Joining) error {
	if err := checkID(j.ID); err != nil {
		return err
	}
	grants, err := r.grants(j.Roles, j.Since)
	if err != nil {
		return err
	}
	if err := r.nobody(ctx, r.book.View, j.ID); err != nil {
		return err
	}
	lead, authority, err := r.byLead(ctx, j.By, j.Authority)
	if err != nil {
		return err
	}
	return r.issue(ctx, j.ID, j.Passphrase, func() (*seal.Key, error) { return authority.Issue(j.Name, r.Now()) },
		func(b *logbook.Batch, c entry.Certificate) error {
			if err := r.nobody(ctx, b.View, j.ID); err != nil {
				return err
			}
			return r.addAll(b, lead, j.Reason, c, entry.Person{Person: j.ID, Name: j.Name, May: grants})
		})
}

// nobody refuses an id that somebody has.
func (r *Records) nobody(ctx context.Context, v *logbook.View, id string) error {
	rows, err := logbook.Find[entry.Person](ctx, v, logbook.Filter{Subject: id, Limit: 1})
	if err == nil && len(rows) > 0 {
		err = &Refusal{Why: fmt.Sprintf("the id %s belongs to %s", id, rows[0].Said.Name),
			Instead: "Take another id. To change roles use holdproof people role, after a lost passphrase holdproof people certificate."}
	}
	return err
}

// grants are roles from a day on.
func (r *Records) grants(names []string, since string) ([]entry.May, error) {
	if since == "" {
		since = r.Today()
	}
	if err := checkDay(since); err != nil {
		return nil, err
	}
	if len(names) == 0 {
		return nil, &Refusal{Why: "no role is named", Instead: "Name what the person may do with --role: " + Alternatives(roles) + "."}
	}
	var out []entry.May
	for _, name := range names {
		if !slices.Contains(roles, name) {
			return nil, &Refusal{Why: fmt.Sprintf("%q is no role", name), Instead: "The roles are " + Alternatives(roles) + "."}
		}
		out = append(out, entry.May{Act: name, Since: since})
	}
	return out, nil
}

func checkDay(day string) error {
	if d, err := time.Parse(time.DateOnly, day); err != nil || d.Format(time.DateOnly) != day {
		return &Refusal{Why: fmt.Sprintf("%q is not a day", day), Instead: "Write a day as 2026-11-02.", Field: "date"}
	}
	return nil
}

// byLead proves a lead and opens the authority.
func (r *Records) byLead(ctx context.Context, by Proof, word func() (string, error)) (proven, *seal.Key, error) {
	lead, err := r.prove(ctx, by, ActPeople, r.Now())
	if err != nil {
		return lead, nil, err
	}
	authority, err := r.openKey(ctx, authorityID, word)
	return lead, authority, err
}

// issue makes a key, puts its file beside the place where it will be, has the entries
// written, and moves it there. Whatever interrupts it, a key that counts is in one of
// the two files, and an older key keeps a file of its own.
func (r *Records) issue(ctx context.Context, id string, word func() (string, error), create func() (*seal.Key, error),
	write func(*logbook.Batch, entry.Certificate) error) error {
	passphrase, err := word()
	if err != nil {
		return err
	}
	key, err := create()
	if err != nil {
		return err
	}
	p12, err := r.world.pack(key, passphrase)
	if err != nil {
		return &Refusal{Why: err.Error(), Instead: "Nothing was kept. Choose another passphrase."}
	}
	return r.place(ctx, id, p12, key.Certificate(), write)
}

func (r *Records) place(ctx context.Context, id string, p12 []byte, c *x509.Certificate, write func(*logbook.Batch, entry.Certificate) error) error {
	next, file := nextKeyFile(r.dir, id), keyFile(r.dir, id)
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return err
	}
	if err := os.Remove(next); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := seal.WriteNew(next, p12, 0o600); err != nil {
		return err
	}
	if err := r.write(ctx, func(b *logbook.Batch) error { return write(b, issued(id, c)) }); err != nil {
		return errors.Join(err, os.Remove(next))
	}
	if _, err := os.Stat(file); err == nil {
		old := filepath.Join(filepath.Dir(file), id+".until-"+r.Now().Format("20060102-150405")+".p12")
		if err := os.Rename(file, old); err != nil {
			return err
		}
	}
	return os.Rename(next, file)
}

// pack locks a key.
func (w World) pack(k *seal.Key, passphrase string) ([]byte, error) {
	if w.Rounds > 0 {
		return k.PackRounds(passphrase, w.Rounds)
	}
	return k.Pack(passphrase)
}

// issued is the entry of a new certificate.
func issued(id string, c *x509.Certificate) entry.Certificate {
	e := entry.Certificate{Person: id, Act: "issued", Use: "person", SHA256: entry.Sum(c.Raw), Serial: fmt.Sprintf("%x", c.SerialNumber),
		Name: c.Subject.CommonName, Issuer: c.Issuer.CommonName, NotBefore: entry.At(c.NotBefore), NotAfter: entry.At(c.NotAfter), DER: c.Raw}
	if id == authorityID {
		e.Person, e.Use = "", "authority"
	}
	return e
}

// addAll adds entries of one act by one person, now.
func (r *Records) addAll(b *logbook.Batch, by proven, reason string, bodies ...entry.Body) error {
	for _, body := range bodies {
		if _, err := b.Add(entry.Draft{At: r.Now(), By: by.Person.Person, Proved: by.how, Reason: reason, Body: body}); err != nil {
			return err
		}
	}
	return nil
}

// Renewal is a new certificate for somebody, after a lost passphrase or before the old
// one ends.
type Renewal struct {
	ID         string
	Passphrase func() (string, error) // of the new key; of the key file, if there is one
	KeyFile    string                 // PKCS#12 from outside, "" to make one here
	By         Proof                  // a lead; a lead whose own passphrase is lost proves by the authority alone
	Authority  func() (string, error)
	Reason     string
}

// Renew ends the certificates of a person and issues a new one, or takes one from
// outside. What the old ones signed stays good.
func (r *Records) Renew(ctx context.Context, n Renewal) error {
	p, err := person(ctx, r.book.View, n.ID)
	if err != nil {
		return err
	}
	var lead proven
	var authority *seal.Key
	if n.ID == n.By.Person {
		if lead.Person, err = r.entitled(ctx, r.book.View, n.ID, ActPeople, r.Now()); err != nil {
			return err
		}
		if authority, err = r.openKey(ctx, authorityID, n.Authority); err != nil {
			return err
		}
		lead.how = "passphrase of the site's authority " + shortPrint(authority.Certificate())
	} else if lead, authority, err = r.byLead(ctx, n.By, n.Authority); err != nil {
		return err
	}
	write := func(b *logbook.Batch, c entry.Certificate) error {
		old, err := r.ended(ctx, b.View, n.ID)
		if err != nil {
			return err
		}
		return r.addAll(b, lead, n.Reason, append(old, c)...)
	}
	if n.KeyFile != "" {
		return r.takeKey(ctx, n, write)
	}
	return r.issue(ctx, n.ID, n.Passphrase, func() (*seal.Key, error) { return authority.Issue(p.Name, r.Now()) }, write)
}

// takeKey keeps a key from outside.
func (r *Records) takeKey(ctx context.Context, n Renewal, write func(*logbook.Batch, entry.Certificate) error) error {
	p12, err := os.ReadFile(n.KeyFile)
	if err != nil {
		return fmt.Errorf("the key file cannot be read: %w", err)
	}
	word, err := n.Passphrase()
	if err != nil {
		return err
	}
	k, err := seal.Open(p12, word)
	if err != nil {
		return fmt.Errorf("%s: %w", n.KeyFile, err)
	}
	c, now := k.Certificate(), r.Now()
	if now.Before(c.NotBefore) || now.After(c.NotAfter) {
		return &Refusal{Why: fmt.Sprintf("the certificate in %s is valid from %s to %s", n.KeyFile, c.NotBefore.Format("2 Jan 2006"), c.NotAfter.Format("2 Jan 2006")),
			Instead: "Bring one that is valid now."}
	}
	return r.place(ctx, n.ID, p12, c, write)
}
