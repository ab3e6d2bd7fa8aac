package surgery

import (
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"holdproof/report/archive"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// maxBaggedRecord bounds a record in a bag (ours), as it is read into memory.
const maxBaggedRecord = 256 << 20

// VerifiedBag is what was found of one bag, from itself alone.
type VerifiedBag struct {
	File        string
	OK          bool // nothing is wrong; with roots: and every signer is trusted
	Trusted     bool // OK, roots were given, and a person signed the whole bag
	Problems    []string
	Remarks     []string
	Surgery     string // as the bag says
	From, To    string
	Steriliser  string // "": all
	Files       int64
	Entries     int64
	Cycles      int
	Records     int
	Exports     int
	Signer      string // who signed the whole bag and its checkpoint, "" for nobody
	Fingerprint string // of the authority in the bag
	Checkpoint  string
	Covered     int64     // number of the last entry that stands under a signature
	CoveredBy   string    // whose, such as "the record of 6 Nov 2026 (Lea Brook)"
	Since       []string  // the earlier checkpoints that it only adds to, a sentence each without its full stop
	Unknown     string    // what days of the period are after the last entry, as Since; "": none
	AsOf        time.Time // of the last entry: how old the logbook in it is
}

// IsBag tells whether a path is a folder or begins as a ZIP does: then it is verified as
// a bag, else as a record.
func IsBag(path string) bool {
	info, err := os.Stat(path)
	if err != nil || info.IsDir() {
		return err == nil
	}
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	var head [2]byte
	_, err = io.ReadFull(f, head[:])
	return err == nil && string(head[:]) == "PK" || archive.IsZip(path)
}

// VerifyBag checks a bag offline, without any logbook, and unpacks nothing: files against
// manifests, every entry against the checkpoint, the checkpoint against earlier ones in
// the files of since, signatures against the log of certificates, and that nothing is
// missing from the period.
//
// Error: a file that cannot be read. What is wrong with a bag is no error but stands in
// its result.
func VerifyBag(path string, t Trusting, since []string) (VerifiedBag, error) {
	c := &bagChecker{out: VerifiedBag{File: path}}
	var err error
	if t.Roots != "" {
		if c.trust.Roots, err = readRoots(t.Roots); err != nil {
			return c.out, err
		}
	}
	if t.StampRoots != "" {
		if c.trust.StampRoots, err = readRoots(t.StampRoots); err != nil {
			return c.out, err
		}
	}
	for _, file := range since {
		kept, err := ReadCheckpoints(file)
		if err != nil {
			return c.out, fmt.Errorf("the checkpoint could not be read: %w", err)
		}
		c.since = append(c.since, kept...)
	}
	var no *archive.Refused
	c.bag, err = archive.Open(path)
	switch {
	case errors.As(err, &no):
		c.problems.Add("bag", "Nothing of it was read: %s.", no.Why)
		return c.result(), nil
	case err != nil:
		return c.out, fmt.Errorf("%s cannot be read: %w", path, plainPath(err))
	}
	defer c.bag.Close()
	c.own = t.Roots != "" && ownRoots(path, t.Roots)
	c.check()
	return c.result(), nil
}

// verifyZip checks a bag of which only the bytes are there.
func verifyZip(r io.ReaderAt, size int64) VerifiedBag {
	c := &bagChecker{}
	var err error
	if c.bag, err = archive.OpenZip(r, size); err != nil {
		c.problems.Add("bag", "Nothing of it was read: %v.", err)
		return c.result()
	}
	c.check()
	return c.result()
}

// bagChecker checks one bag.
type bagChecker struct {
	bag      *archive.Bag
	trust    seal.Trust
	since    []entry.Checkpoint
	problems archive.Problems
	out      VerifiedBag

	tip    entry.Checkpoint
	tree   *entry.Tree
	log    *bagLog
	sealed bool // every byte is under the signature of a person
	own    bool // the roots that were named are a file of this bag

	covered coverage
}

func (c *bagChecker) result() VerifiedBag {
	c.out.Problems = c.problems.List
	c.out.OK = len(c.out.Problems) == 0
	c.out.Trusted = c.out.OK && c.trust.Roots != nil && c.sealed && !c.own
	c.out.Covered, c.out.CoveredBy = c.covered.upTo, c.covered.by
	return c.out
}

func (c *bagChecker) check() {
	if err := c.bag.ReadInfo(); err != nil { // said again by Check
		c.out.Files = c.bag.Check(&c.problems, nil)
		return
	}
	i := c.bag.Info
	c.out.Surgery, c.out.From, c.out.To, c.out.Steriliser = i.Surgery, i.From, i.To, i.Steriliser
	c.log = newBagLog(i)
	for _, kept := range c.since {
		c.log.asked[kept.Size] = time.Time{}
	}
	whole := c.ledger()
	if !whole {
		c.out.Remarks = append(c.out.Remarks, "As checkpoint and ledger do not hold, signatures and completeness were not looked at.")
		c.out.Files = c.bag.Check(&c.problems, nil)
		return
	}
	c.earlier()
	c.out.Files = c.bag.Check(&c.problems, c.record)
	c.signatures()
	c.certificates()
	c.authority()
	c.knownMachine()
	c.contents()
	c.table()
	c.firstPage()
	c.out.Cycles = c.log.complete(&c.problems)
	c.ends()
	for _, m := range i.Missing {
		c.out.Remarks = append(c.out.Remarks, "When it was packed, this was missing: "+m+".")
	}
}

// ledger reads checkpoint and ledger, and tells whether both could be read to the end.
func (c *bagChecker) ledger() bool {
	text, err := c.bag.ReadFile(archive.Checkpoint, 1<<10)
	if err == nil {
		c.tip, err = entry.ParseCheckpoint(text)
	}
	if err != nil {
		c.problems.Add("checkpoint", "The file %s cannot be read: %v.", archive.Checkpoint, plainPath(err))
		return false
	}
	c.out.Checkpoint, c.out.Entries = string(text), c.tip.Size
	f, err := c.bag.OpenFile(archive.Ledger)
	if err != nil {
		c.problems.Add("ledger", "The file %s cannot be read: %v.", archive.Ledger, plainPath(err))
		return false
	}
	defer f.Close()
	c.tree, err = archive.ReadLedger(f, c.tip, &c.problems, c.log.take)
	if err != nil {
		c.problems.Add("ledger", "The ledger: %v.", err)
		return false
	}
	if c.tree == nil {
		return false
	}
	c.out.AsOf = c.log.last
	if c.tip.Size == 0 || !entry.At(c.log.last).Equal(c.tip.Time.Time) {
		c.problems.Add("checkpoint", "The checkpoint is dated %s, and its last entry %s.", c.tip.Time, entry.At(c.log.last))
	}
	return true
}

// record checks a signed record against its entries while it is read.
func (c *bagChecker) record(name string, r io.Reader) {
	base, is := strings.CutPrefix(name, archive.Records)
	f := c.log.files[base]
	if !is || f == nil { // what no entry names is found by contents
		return
	}
	data, err := io.ReadAll(io.LimitReader(r, maxBaggedRecord+1))
	if err != nil || len(data) > maxBaggedRecord {
		c.recordProblem(f, "it cannot be read, or has more than %d MiB.", maxBaggedRecord>>20)
		return
	}
	c.out.Records++
	if entry.Sum(data) != f.newest().SHA256 {
		c.recordProblem(f, "%s", otherRecord(data, f))
		return
	}
	trust := c.trust
	trust.Times = map[string]time.Time{}
	for _, row := range f.rows {
		trust.Times[row.Said.Meaning] = row.Entered
	}
	found := verifyRecord(data, trust)
	for _, p := range found.Problems {
		c.recordProblem(f, "%s", p)
	}
	if !found.OK {
		return
	}
	if len(found.Signatures) != len(f.rows) {
		c.recordProblem(f, "it has %d signatures, the ledger %d.", len(found.Signatures), len(f.rows))
		return
	}
	judge, odd := &recordsAudit{log: c.log.certs}, false
	for i, row := range f.rows {
		if why := judge.signature(row, found.Signatures[i]); why != "" {
			odd = true
			c.recordProblem(f, "%s", why)
		}
	}
	s := f.newest()
	root, err := rootOf(s.Root)
	if err != nil || found.Record.LogSize != s.Covers || found.Record.LogRoot != s.Root || c.tree.Since(entry.Checkpoint{Size: s.Covers, Root: root}) != nil {
		c.recordProblem(f, "the first %d entries are not those that it was drawn from.", s.Covers)
		odd = true
	}
	if !odd {
		c.cover(f, found)
	}
}

func (c *bagChecker) recordProblem(f *signedFile, format string, args ...any) {
	c.problems.Add("signed records", "The record %s (%s): "+format, append([]any{f.name, dayWords(f.newest().Day)}, args...)...)
}

// otherRecord explains a record that is not the one of its newest signature.
func otherRecord(data []byte, f *signedFile) string {
	if len(f.rows) > 1 && entry.Sum(data) == f.rows[0].Said.SHA256 {
		return "it holds the first signature only, and the ledger knows the second."
	}
	return "it is not the file that was signed under this name."
}

// signatures checks who signed the checkpoint and the whole bag, which is one person.
func (c *bagChecker) signatures() {
	sum, content, err := c.bag.Sealed()
	if err != nil {
		c.problems.Add("signatures", "The signature over the bag cannot be read: %v.", err)
		return
	}
	cms, err := c.bag.ReadFile(archive.Signature, 1<<20)
	if missing := !c.bag.Has(archive.Signature); missing && sum == nil {
		c.notSigned()
		return
	} else if missing || sum == nil {
		c.problems.Add("signatures", "Of the two signatures, over the checkpoint and over the whole bag, one was taken out.")
		return
	}
	if err != nil {
		c.problems.Add("signatures", "The file %s cannot be read: %v.", archive.Signature, err)
		return
	}
	text, err := c.bag.ReadFile(archive.Checkpoint, 1<<10)
	if err != nil {
		return
	}
	one := c.signer("the checkpoint", cms, text)
	two := c.signer("the whole bag", sum, content)
	switch {
	case one == nil || two == nil:
	case !one.Equal(two):
		c.problems.Add("signatures", "The checkpoint was signed by %s, the bag by %s.", one.Subject.CommonName, two.Subject.CommonName)
	default:
		c.out.Signer, c.sealed = one.Subject.CommonName, true
		c.covered = coverage{c.tip.Size, "the bag (" + c.out.Signer + ")"}
	}
}

// certificates compares the files of certificates with the log of them.
func (c *bagChecker) certificates() {
	in := func(name string) map[string]*x509.Certificate {
		text, err := c.bag.ReadFile(archive.Keys+name, 16<<20)
		out := map[string]*x509.Certificate{}
		for err == nil {
			var block *pem.Block
			if block, text = pem.Decode(text); block == nil {
				return out
			}
			var one *x509.Certificate
			if one, err = x509.ParseCertificate(block.Bytes); err == nil {
				out[entry.Sum(one.Raw)] = one
			}
		}
		c.problems.Add("certificates", "The file %s cannot be read: %v.", archive.Keys+name, plainPath(err))
		return nil
	}
	authorities, issued := in("ca.pem"), in("certificates.pem")
	for _, sum := range sortedKeys(c.log.ders) {
		one, log := c.log.ders[sum], c.log.certs[sum]
		if issued != nil && issued[sum] == nil {
			c.problems.Add("certificates", "The certificate of %s is in the ledger and not in %scertificates.pem.", one.Subject.CommonName, archive.Keys)
		}
		if log.person != "" {
			continue
		}
		c.out.Fingerprint = seal.Fingerprint(one)
		if authorities != nil && authorities[sum] == nil {
			c.problems.Add("certificates", "The authority %s is in the ledger and not in %sca.pem.", one.Subject.CommonName, archive.Keys)
		}
	}
	for _, list := range []map[string]*x509.Certificate{authorities, issued} {
		for _, sum := range sortedKeys(list) {
			if c.log.ders[sum] == nil {
				c.problems.Add("certificates", "The certificate of %s in %s is none that the ledger holds: %s.", list[sum].Subject.CommonName, archive.Keys, seal.Fingerprint(list[sum]))
			}
		}
	}
	for sum, one := range authorities {
		if c.log.certs[sum].person != "" && c.log.ders[sum] != nil {
			c.problems.Add("certificates", "The file %sca.pem holds the certificate of %s, which is no authority.", archive.Keys, one.Subject.CommonName)
		}
	}
}
