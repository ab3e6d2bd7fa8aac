package surgery

import (
	"bytes"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/pdf"
	"holdproof/report/seal"
)

// Signing says which day is signed, and by whom.
type Signing struct {
	Date   string
	By     Proof
	Reason string // why it is signed with something missing, or made anew; it is printed
}

// Signed is a record whose file and entry are on the disk.
type Signed struct {
	File     string // its path
	SHA256   string
	Revision int64
	Entry    int64
	Name     string // of the signer
	Meaning  string // prepared, reviewed
	Stamped  bool   // with the time of a time-stamp server
	Resumed  bool   // the file was there from an interrupted signing, and is entered now
	Second   bool   // a second signature is asked for
}

// Prepare draws the record of a day, signs it as prepared and keeps it: the file first,
// then its entry. What interrupts it between the two leaves a file that the next call
// enters, never an entry without a file.
//
// Errors: a [*Refusal], such as a day that is signed already, or one that lacks
// something and no reason is given; [seal.ErrPassphrase]; a folder or disk that takes
// no file. Then nothing is kept.
func (r *Records) Prepare(ctx context.Context, s Signing) (Signed, error) {
	if err := r.signable(); err != nil {
		return Signed{}, err
	}
	if _, err := r.entitled(ctx, r.book.View, s.By.Person, ActPrepare, r.Now()); err != nil {
		return Signed{}, err
	}
	if err := r.settle(ctx); err != nil {
		return Signed{}, err
	}
	rec, err := r.dayWith(ctx, s.Date, s.Reason)
	if err != nil {
		return Signed{}, err
	}
	if err := r.preparable(rec, s); err != nil {
		return Signed{}, err
	}
	by, err := r.proveToSign(ctx, s.By, ActPrepare)
	if err != nil {
		return Signed{}, err
	}
	plain, err := rec.PDF()
	if err != nil {
		return Signed{}, err
	}
	stamp, err := r.stamper(ctx)
	if err != nil {
		return Signed{}, err
	}
	places := seal.Places{}
	prepared, reviewed := pdf.Blocks()
	places.Prepared = seal.Place{Page: prepared.Page, X: prepared.X, Y: prepared.Y, Width: prepared.W, Height: prepared.H}
	if rec.Day.Signing.Second == "required" {
		places.Reviewed = &seal.Place{Page: reviewed.Page, X: reviewed.X, Y: reviewed.Y, Width: reviewed.W, Height: reviewed.H}
	}
	statement := r.statement(by)
	data, err := seal.Sign(plain, by.key, statement, places, stamp)
	if err != nil {
		return Signed{}, unsigned(err)
	}
	return r.enterPrepared(ctx, rec, by, statement, data)
}

// proveToSign opens the key of who signs: a session is not enough for that.
func (r *Records) proveToSign(ctx context.Context, who Proof, act Act) (proven, error) {
	by, err := r.prove(ctx, who, act, r.Now())
	if err == nil && by.key == nil {
		err = &Refusal{Why: "a signature needs the passphrase of " + who.Person, Instead: "Give the passphrase again."}
	}
	return by, err
}

// settle makes the configuration in force an entry, so that the record is drawn from a
// logbook that holds it.
func (r *Records) settle(ctx context.Context) error {
	return r.write(ctx, func(*logbook.Batch) error { return nil })
}

// signable refuses to sign for a surgery without a name.
func (r *Records) signable() error {
	if strings.TrimSpace(r.settings.Value.Site.Name) == "" {
		return &Refusal{Why: "the configuration does not name the surgery", Instead: "Write its name under site: name in holdproof.yaml."}
	}
	return nil
}

// preparable returns nil if the day may be signed as it is.
func (r *Records) preparable(rec *DayRecord, s Signing) error {
	made, err := time.Parse(time.RFC3339, rec.Day.Record.Made)
	if err != nil {
		return err
	}
	switch d := rec.Day; {
	case d.Date > r.Today():
		return &Refusal{Why: dayWords(d.Date) + " has not come yet", Instead: "Sign a day when it has ended."}
	case !rec.Due && rec.Waiting:
		return &Refusal{Why: fmt.Sprintf("%s is signed as prepared, and nothing changed since", dayWords(d.Date)), Instead: "It waits for the second signature: holdproof countersign " + d.Date + " --as PERSON."}
	case !rec.Due:
		return &Refusal{Why: fmt.Sprintf("%s is signed, and nothing changed since", dayWords(d.Date)), Instead: "Nothing more is needed."}
	case r.Now().Before(made.Truncate(time.Second)):
		return &Refusal{Why: fmt.Sprintf("this computer's clock says %s, and the last entry of the logbook is of %s", r.Now().Format("2 Jan 2006 15:04:05"), made.Format("2 Jan 2006 15:04:05")),
			Instead: "Set the clock of this computer and sign again."}
	case len(d.Missing) > 0 && strings.TrimSpace(s.Reason) == "":
		return &Refusal{Why: fmt.Sprintf("on %s something is missing: %s", dayWords(d.Date), missingWords(d.Missing)),
			Instead: "Bring what is missing, or sign without it and say why with --reason. The reason is printed on the record."}
	}
	return nil
}

// missingWords is what is missing, in one line.
func missingWords(missing []daily.Missing) string {
	var out []string
	for _, m := range missing {
		words := m.What
		if m.Machine != "" {
			words = m.Machine + ": " + words
		}
		out = append(out, words)
	}
	return strings.Join(out, "; ")
}

// statement is what the signature says beside the name.
func (r *Records) statement(by proven) seal.Statement {
	return seal.Statement{Role: roleOf(by.Person, r.Today()), Surgery: r.settings.Value.Site.Name, Time: r.Now().Truncate(time.Second)}
}

// unsigned makes a sentence of what the signature was refused for.
func unsigned(err error) error {
	return &Refusal{Why: "the record was not signed: " + err.Error(), Instead: "Nothing was kept."}
}

// enterPrepared writes the file, then its entry, while nobody else writes.
func (r *Records) enterPrepared(ctx context.Context, rec *DayRecord, by proven, s seal.Statement, data []byte) (Signed, error) {
	n := int64(rec.Day.Record.Revision)
	reason := "" // why it is signed though something is missing
	if len(rec.Day.Missing) > 0 {
		reason = strings.TrimSpace(rec.Day.Missing[0].Reason)
	}
	out := Signed{Revision: n, Name: by.Name, Meaning: seal.Prepared, Second: rec.Day.Signing.Second == "required"}
	name := recordName(rec.Day.Date, n)
	out.File = r.recordPath(name)
	found, err := os.ReadFile(out.File)
	switch {
	case err == nil:
		if s, err = r.resume(found, rec, by); err != nil {
			return Signed{}, err
		}
		data, out.Resumed = found, true
	case !errors.Is(err, fs.ErrNotExist):
		return Signed{}, fmt.Errorf("%s cannot be read: %w", out.File, plainPath(err))
	}
	body := entry.Signature{Day: rec.Day.Date, Revision: n, Meaning: seal.Prepared, Role: s.Role, File: name, SHA256: entry.Sum(data), Size: int64(len(data)),
		Certificate: entry.Sum(by.key.Certificate().Raw), TimeFrom: r.timeFrom(), Covers: rec.Day.Record.LogSize, Root: rec.Day.Record.LogRoot,
		Earlier: rec.Day.Record.Replaces.SHA256, PreviousDay: rec.Day.Record.Previous.SHA256}
	out.SHA256, out.Stamped = body.SHA256, r.settings.Value.Timestamp.URL != ""
	wrote := false
	err = r.write(ctx, func(b *logbook.Batch) error {
		if out.Entry, err = b.Add(entry.Draft{At: s.Time, By: by.Person.Person, Proved: by.how, Reason: reason, Body: body}); err != nil || out.Resumed {
			return err
		}
		if err := r.putRecord(name, data); err != nil {
			return err
		}
		if r.afterFile != nil {
			if err := r.afterFile(); err != nil {
				return err
			}
		}
		wrote = true
		return nil
	})
	if err != nil && wrote {
		err = errors.Join(err, os.Remove(out.File)) // nobody was told of it
	}
	return out, err
}

// resume takes up a record whose signing was interrupted after its file was written:
// it must be sound, signed by the same certificate, and of the logbook as it is now.
func (r *Records) resume(found []byte, rec *DayRecord, by proven) (seal.Statement, error) {
	refused := &Refusal{Why: r.recordPath(recordName(rec.Day.Date, int64(rec.Day.Record.Revision))) + " is there already, and the logbook does not know it",
		Instead: "A record is never overwritten. Look what the file is, move it elsewhere, and sign again."}
	report := seal.Verify(found, seal.Trust{})
	if !report.OK || len(report.Signatures) != 1 || !report.Signatures[0].Certificate.Equal(by.key.Certificate()) {
		return seal.Statement{}, refused
	}
	want, err := rec.Day.Marshal()
	if err != nil {
		return seal.Statement{}, err
	}
	inside, err := report.Attachments()
	if err != nil || !slices.ContainsFunc(inside, func(a seal.Attachment) bool { return a.Name == dayFile && bytes.Equal(a.Bytes, want) }) {
		return seal.Statement{}, refused
	}
	one := report.Signatures[0]
	return seal.Statement{Role: one.Role, Surgery: one.Surgery, Time: one.Printed}, nil
}

// dayFile is the name of the day's facts inside a record.
const dayFile = "day.json"

// stampWait is how long a time-stamp server may take (ours).
const stampWait = 20 * time.Second

// stamper asks the configured time-stamp server; nil if there is none.
func (r *Records) stamper(ctx context.Context) (seal.Stamper, error) {
	c := r.settings.Value.Timestamp
	if c.URL == "" {
		return nil, nil
	}
	roots, err := r.stampRoots()
	if err != nil {
		return nil, err
	}
	return seal.StampServer{URL: c.URL, Client: &http.Client{Timeout: stampWait}, Roots: roots}.Stamp(ctx), nil
}

// stampRoots are the authorities that a time stamp is believed by, nil if none is named.
func (r *Records) stampRoots() (*x509.CertPool, error) {
	file := r.settings.Value.Timestamp.Roots
	if file == "" {
		return nil, nil
	}
	if !filepath.IsAbs(file) {
		file = filepath.Join(r.dir, file)
	}
	return readRoots(file)
}

// readRoots reads certificates from a PEM file.
func readRoots(file string) (*x509.CertPool, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("the authorities cannot be read: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("%s holds no certificate in PEM form", file)
	}
	return pool, nil
}

// timeFrom says by which time the certificate of a signature is judged.
func (r *Records) timeFrom() string {
	if c := r.settings.Value.Timestamp; c.URL != "" && c.Roots != "" {
		return "time stamp"
	}
	return "entry"
}
