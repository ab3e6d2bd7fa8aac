package surgery

import (
	"context"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// Beginning is what a new site starts from.
type Beginning struct {
	Dir        string
	Settings   Settings
	Write      bool // write Settings.Text to Settings.File: there was no configuration yet
	Lead, Name string
	Passphrase func() (string, error) // of the lead's key
	Authority  func() (string, error) // of the authority's key
}

// Begin makes a site: configuration, logbook, authority, and the first lead, who may
// do everything. A folder that has a logbook is refused; one in which an earlier
// Begin was interrupted is finished.
//
// Errors: those of [logbook.Create]; a [*Refusal].
func Begin(ctx context.Context, in Beginning, w World) error {
	if err := checkID(in.Lead); err != nil {
		return err
	}
	if err := checkFree(in.Dir); err != nil {
		return err
	}
	keys, err := newKeys(in, w)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(in.Dir, 0o777); err != nil {
		return err
	}
	book, err := createBook(ctx, in.Dir, w)
	if err != nil {
		return err
	}
	defer book.Close()
	if err := writeKeys(in, keys); err != nil {
		return err
	}
	if in.Write {
		if err := seal.WriteNew(in.Settings.File, in.Settings.Text, 0o644); err != nil {
			return fmt.Errorf("the configuration cannot be written: %w", err)
		}
	}
	return in.enter(ctx, book, keys, w)
}

// checkFree refuses keys without a logbook: they belong to one that is missing.
func checkFree(dir string) error {
	if _, err := os.Stat(filepath.Join(dir, logbook.FileName)); err == nil {
		return nil // that is for the logbook to say
	}
	if _, err := os.Stat(keyFile(dir, authorityID)); err == nil {
		return &Refusal{Why: "keys of another logbook are here, and that logbook is not: " + keyFile(dir, authorityID),
			Instead: "Bring it back with holdproof restore, or choose another folder."}
	}
	return nil
}

// createBook makes the logbook, or opens one that is empty because an earlier try was
// interrupted.
func createBook(ctx context.Context, dir string, w World) (*logbook.Book, error) {
	book, err := logbook.Create(ctx, dir, logbook.Options{Now: w.Now})
	if err == nil {
		return book, nil
	}
	old, failed := logbook.Open(ctx, dir, logbook.Options{Now: w.Now})
	if failed != nil {
		return nil, err
	}
	if tip, failed := old.Checkpoint(ctx); failed != nil || tip.Size > 0 {
		old.Close()
		return nil, err
	}
	return old, nil
}

// siteKeys are the keys of a new site.
type siteKeys struct {
	authority, lead       *seal.Key
	authorityP12, leadP12 []byte
}

func newKeys(in Beginning, w World) (siteKeys, error) {
	var k siteKeys
	name := in.Settings.Value.Site.Name
	if name == "" {
		return k, &Refusal{Why: "the configuration does not name the surgery", Instead: "Write its name under site: name, then do this again."}
	}
	locked := func(key *seal.Key, err error, word func() (string, error)) ([]byte, error) {
		if err != nil {
			return nil, &Refusal{Why: err.Error(), Instead: "Write another name."}
		}
		passphrase, err := word()
		if err != nil {
			return nil, err
		}
		p12, err := w.pack(key, passphrase)
		if err != nil {
			return nil, &Refusal{Why: err.Error(), Instead: "Nothing was made. Choose another passphrase."}
		}
		return p12, nil
	}
	var err error
	now := w.Now()
	if k.authority, err = seal.NewAuthority(name, now); err != nil {
		return k, &Refusal{Why: err.Error(), Instead: "Write another name under site: name."}
	}
	k.lead, err = k.authority.Issue(in.Name, now)
	if k.leadP12, err = locked(k.lead, err, in.Passphrase); err != nil {
		return k, err
	}
	k.authorityP12, err = locked(k.authority, nil, in.Authority)
	return k, err
}

// writeKeys writes the key files. The logbook is empty: a file of that name is from a
// try that was interrupted, and nothing was signed with it.
func writeKeys(in Beginning, k siteKeys) error {
	dir := filepath.Join(in.Dir, "keys")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	ca := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: k.authority.Certificate().Raw})
	for _, f := range []struct {
		name string
		data []byte
		mode fs.FileMode
	}{
		{filepath.Join(dir, "ca.pem"), ca, 0o644},
		{keyFile(in.Dir, authorityID), k.authorityP12, 0o600},
		{keyFile(in.Dir, in.Lead), k.leadP12, 0o600},
	} {
		if err := os.Remove(f.name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if err := seal.WriteNew(f.name, f.data, f.mode); err != nil {
			return err
		}
	}
	return nil
}

// enter writes the first entries, all or none.
func (in Beginning) enter(ctx context.Context, book *logbook.Book, k siteKeys, w World) error {
	zone, err := in.Settings.Value.Site.zone()
	if err != nil {
		return err
	}
	now := w.Now()
	today := now.In(zone).Format("2006-01-02")
	lead := entry.Person{Person: in.Lead, Name: in.Name}
	for _, role := range roles {
		lead.May = append(lead.May, entry.May{Act: role, Since: today})
	}
	_, err = book.Write(ctx, func(b *logbook.Batch) error {
		for _, body := range []entry.Body{
			entry.Configuration{SHA256: entry.Sum(in.Settings.Text), File: filepath.Base(in.Settings.File), Text: string(in.Settings.Text)},
			issued(authorityID, k.authority.Certificate()),
			issued(in.Lead, k.lead.Certificate()),
			lead,
		} {
			if _, err := b.Add(entry.Draft{At: now, Body: body}); err != nil {
				return err
			}
		}
		return nil
	})
	return err
}
