package surgery

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// recordsAudit compares the files of records with what the logbook says of them.
type recordsAudit struct {
	r          *Records
	ctx        context.Context
	v          *logbook.View
	out        *Audited
	tip        entry.Checkpoint
	authority  *x509.CertPool
	stampRoots *x509.CertPool
	log        map[string]certificateLog // by SHA-256
}

// certificateLog is what the entries say of one certificate.
type certificateLog struct {
	person string
	issued int64 // entry
	ended  int64 // entry, 0 if it was not
}

// signedFile is the record of one revision: its signatures in the order of the log.
type signedFile struct {
	name string
	rows []logbook.Row[entry.Signature]
}

func (f signedFile) newest() entry.Signature { return f.rows[len(f.rows)-1].Said }

// auditDays checks every signed record: its bytes, its signatures at the times their
// entries were made, and their certificates against the log of certificates.
func (r *Records) auditDays(ctx context.Context, out *Audited) error {
	return r.book.Read(ctx, func(v *logbook.View) error {
		a := &recordsAudit{r: r, ctx: ctx, v: v, out: out, log: map[string]certificateLog{}}
		if err := a.prepare(); err != nil {
			return err
		}
		rows, err := logbook.Find[entry.Signature](ctx, v, logbook.Filter{})
		if err != nil {
			return err
		}
		var files []signedFile
		at := map[string]int{}
		for _, row := range rows {
			name := filepath.Base(row.Said.File)
			i, there := at[name]
			if !there {
				i = len(files)
				at[name] = i
				files = append(files, signedFile{name: name})
			}
			files[i].rows = append(files[i].rows, row)
		}
		for _, f := range files {
			out.Checked++
			if err := a.file(f); err != nil {
				return err
			}
		}
		return a.strangers(at)
	})
}

// prepare reads the certificates the logbook knows.
func (a *recordsAudit) prepare() error {
	var err error
	if a.tip, err = a.v.Checkpoint(a.ctx); err != nil {
		return err
	}
	if a.stampRoots, err = a.r.stampRoots(); err != nil {
		a.out.Remarks = append(a.out.Remarks, fmt.Sprintf("Time stamps were not judged: %v.", err))
	}
	rows, err := logbook.Find[entry.Certificate](a.ctx, a.v, logbook.Filter{})
	if err != nil {
		return err
	}
	a.authority = x509.NewCertPool()
	for _, row := range rows {
		c := a.log[row.Said.SHA256]
		c.person = row.Said.Person
		if row.Said.Act == "issued" {
			c.issued = row.Number
		} else {
			c.ended = row.Number
		}
		a.log[row.Said.SHA256] = c
		if row.Said.Use != "authority" {
			continue
		}
		if cert, err := x509.ParseCertificate(row.Said.DER); err == nil {
			a.authority.AddCert(cert)
		}
	}
	return nil
}

func (a *recordsAudit) problem(f signedFile, format string, args ...any) {
	s := f.newest()
	a.out.Problems = append(a.out.Problems, fmt.Sprintf("The record %s/%s (revision %d of %s, %s): ", recordsFolder, f.name, s.Revision, dayWords(s.Day), s.Meaning)+fmt.Sprintf(format, args...))
}

func (a *recordsAudit) file(f signedFile) error {
	data, err := os.ReadFile(a.r.recordPath(f.name))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		a.problem(f, "the file is not there. Copy it back from the place where records are kept; the entry in the logbook stays.")
		return nil
	case err != nil:
		a.problem(f, "the file cannot be read: %v.", plainPath(err))
		return nil
	}
	if entry.Sum(data) != f.newest().SHA256 {
		a.problem(f, "%s", otherBytes(data, f))
		return nil
	}
	trust := seal.Trust{Roots: a.rootsFor(f), StampRoots: a.stampRoots, Times: map[string]time.Time{}}
	for _, row := range f.rows {
		trust.Times[row.Said.Meaning] = row.Entered
	}
	found := verifyRecord(data, trust)
	for _, p := range found.Problems {
		a.problem(f, "%s", p)
	}
	if !found.OK {
		return nil
	}
	if len(found.Signatures) != len(f.rows) {
		a.problem(f, "the file has %d signatures, the logbook %d.", len(found.Signatures), len(f.rows))
		return nil
	}
	for i, row := range f.rows {
		if why := a.signature(row, found.Signatures[i]); why != "" {
			a.problem(f, "%s", why)
		}
	}
	return a.covered(f, found)
}

// otherBytes explains a file that is not the one of its newest signature.
func otherBytes(data []byte, f signedFile) string {
	first, last := f.rows[0].Said, f.newest()
	if len(f.rows) > 1 && entry.Sum(data) == first.SHA256 {
		return fmt.Sprintf("the file holds the first signature only, and the logbook knows the second, of %s. Copy the countersigned file back.", f.rows[len(f.rows)-1].By)
	}
	if last.Meaning == seal.Prepared && int64(len(data)) > last.Size && entry.Sum(data[:last.Size]) == last.SHA256 {
		if report := seal.Verify(data, seal.Trust{}); report.OK && len(report.Signatures) == 2 {
			return fmt.Sprintf("the file holds a second signature, of %s, that the logbook does not know: signing was interrupted. Countersign again, and it will be entered.", report.Signatures[1].Name)
		}
	}
	return "the file is not the one that was signed. Look for who replaced it, and copy the signed one back."
}

// rootsFor are the authorities that the signers of a file are believed by: the site's,
// and those above a certificate from outside, as the certificate log holds it.
func (a *recordsAudit) rootsFor(f signedFile) *x509.CertPool {
	pool := a.authority.Clone()
	for _, row := range f.rows {
		rows, err := logbook.Find[entry.Certificate](a.ctx, a.v, logbook.Filter{Topic: row.Said.Certificate, Limit: 1})
		if err != nil || len(rows) == 0 {
			continue
		}
		c, err := x509.ParseCertificate(rows[0].Said.DER)
		if err != nil {
			continue
		}
		if _, err := c.Verify(x509.VerifyOptions{Roots: a.authority, CurrentTime: row.Entered, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageAny}}); err != nil {
			pool.AddCert(c) // believed because the log names this very certificate
		}
	}
	return pool
}

// signature says what is wrong between a signature and its entry, "" for nothing.
func (a *recordsAudit) signature(row logbook.Row[entry.Signature], s seal.Signature) string {
	sum := entry.Sum(s.Certificate.Raw)
	c, known := a.log[sum]
	switch {
	case s.Meaning != row.Said.Meaning || s.Role != row.Said.Role:
		return fmt.Sprintf("the signature says %s, %s, and its entry %s, %s.", s.Meaning, s.Role, row.Said.Meaning, row.Said.Role)
	case sum != row.Said.Certificate:
		return fmt.Sprintf("the signature of %s was made with another certificate than its entry says.", s.Name)
	case !known || c.issued == 0 || c.issued > row.Number:
		return fmt.Sprintf("the certificate that %s signed with is not in the log of certificates: %s.", s.Name, s.Fingerprint)
	case c.person != row.By:
		return fmt.Sprintf("the certificate that %s signed with was issued to %q, and the entry is of %q.", s.Name, c.person, row.By)
	case c.ended != 0 && c.ended < row.Number:
		return fmt.Sprintf("the certificate that %s signed with had been ended by entry %d.", s.Name, c.ended)
	}
	return ""
}

// covered checks that the log the record was drawn from is a beginning of the log as
// it is now, by a proof of RFC 6962, 2.1.2.
func (a *recordsAudit) covered(f signedFile, v Verified) error {
	s := f.newest()
	if v.Record.LogSize != s.Covers || v.Record.LogRoot != s.Root {
		a.problem(f, "the record was drawn from %d entries with another root than its entry says.", v.Record.LogSize)
		return nil
	}
	root, err := rootOf(s.Root)
	if err != nil || s.Covers < 1 || s.Covers > a.tip.Size {
		a.problem(f, "its entry names %d entries and the root %q, which cannot be.", s.Covers, s.Root)
		return nil
	}
	proof, err := a.v.ProveGrowth(a.ctx, s.Covers, a.tip.Size)
	if err != nil {
		a.problem(f, "that its entries are in the logbook could not be proved: %v.", err)
		return nil
	}
	if err := tlog.CheckTree(proof, a.tip.Size, a.tip.Root, s.Covers, root); err != nil {
		a.problem(f, "the first %d entries are not those it was drawn from.", s.Covers)
	}
	return nil
}

// rootOf reads a root as entries write it.
func rootOf(text string) (tlog.Hash, error) {
	var h tlog.Hash
	raw, err := hex.DecodeString(text)
	if err == nil && copy(h[:], raw) != len(h) {
		err = errors.New("it has another length")
	}
	return h, err
}

// strangers are files in the folder of records that no entry names.
func (a *recordsAudit) strangers(known map[string]int) error {
	files, err := os.ReadDir(filepath.Join(a.r.dir, recordsFolder))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, f := range files {
		if _, is := known[f.Name()]; is || !strings.EqualFold(filepath.Ext(f.Name()), ".pdf") {
			continue
		}
		what := "It was put there by somebody else: move it elsewhere."
		if data, err := readRecord(filepath.Join(a.r.dir, recordsFolder, f.Name())); err == nil && bytes.HasPrefix(data, []byte("%PDF-")) {
			if v := verifyRecord(data, seal.Trust{}); v.OK {
				what = fmt.Sprintf("It is signed by %s: signing was interrupted. Sign the day again, and it will be entered if nothing changed since; else move it elsewhere.", v.Signatures[0].Name)
			}
		}
		a.out.Problems = append(a.out.Problems, fmt.Sprintf("The file %s/%s: no entry of the logbook names it. %s", recordsFolder, f.Name(), what))
	}
	return nil
}
