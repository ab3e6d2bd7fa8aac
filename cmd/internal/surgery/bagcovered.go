package surgery

import (
	"crypto/x509"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdproof/report/archive"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// coverage says how far the entries of a bag stand under a signature: of the bag itself
// all do, else those that the newest sound record in it was drawn from.
type coverage struct {
	upTo int64  // number of the last entry that is covered, 0: none
	by   string // such as "the record of 6 Nov 2026 (Lea Brook, Mara Quill)"
}

// cover notes that a record which holds covers the entries it was drawn from.
func (c *bagChecker) cover(f *signedFile, found Verified) {
	s := f.newest()
	if s.Covers <= c.covered.upTo {
		return
	}
	var names []string
	for _, sig := range found.Signatures {
		names = append(names, sig.Name)
	}
	c.covered = coverage{s.Covers, fmt.Sprintf("the record of %s (%s)", dayWords(s.Day), strings.Join(names, ", "))}
}

// notSigned says of a bag that nobody signed what stands under a signature all the same,
// and what under none. Whoever takes the signatures out of a signed bag leaves no trace
// in it, so no more can be said.
func (c *bagChecker) notSigned() {
	by := ""
	if c.covered.upTo > 0 {
		by = fmt.Sprintf(" %s covered by %s.", entriesWords(1, c.covered.upTo), c.covered.by)
	}
	rest := "Its pages and tables are covered by nobody"
	if c.covered.upTo < c.tip.Size {
		rest = entriesWords(c.covered.upTo+1, c.tip.Size) + " covered by nobody, nor are its pages and tables"
	}
	c.out.Remarks = append(c.out.Remarks, "Nobody signed this bag."+by+" "+rest+": whoever had it can have written these anew, or cut entries off at the end, and nothing in it would show it. Ask for a bag that a lead signed.")
}

// entriesWords names a stretch of entries, with its verb.
func entriesWords(from, to int64) string {
	if from == to {
		return fmt.Sprintf("Entry %d is", from)
	}
	return fmt.Sprintf("Entries %d to %d are", from, to)
}

// ends says what days of the period are after the last entry: a logbook that ends knows
// nothing of them, and a bag that was cut looks no different.
func (c *bagChecker) ends() {
	last, i := c.log.last.In(c.log.zone).Format(time.DateOnly), c.bag.Info
	switch next := back(last, -1); {
	case i.To <= last:
		return
	case next < i.From:
		c.out.Unknown = fmt.Sprintf("The logbook ends on %s, before this period begins: of it nothing is known but what was entered before", dayWords(last))
	case next == i.To:
		c.out.Unknown = fmt.Sprintf("The logbook ends on %s: of %s it knows only what was entered before", dayWords(last), dayWords(next))
	default:
		c.out.Unknown = fmt.Sprintf("The logbook ends on %s: of %s to %s it knows only what was entered before", dayWords(last), dayWords(next), dayWords(i.To))
	}
	c.out.Remarks = append(c.out.Remarks, c.out.Unknown+".")
}

// earlier compares with the checkpoints that were kept from an earlier visit.
func (c *bagChecker) earlier() {
	for _, kept := range c.since {
		entered := c.log.asked[kept.Size]
		switch err := c.tree.Since(kept); {
		case err != nil && kept.Size > c.tip.Size:
			c.problems.Add("earlier checkpoint", "The checkpoint of %s speaks of %d entries, this bag of %d: the bag is the older one, or entries were taken out.", kept.Time, kept.Size, c.tip.Size)
		case err != nil:
			c.problems.Add("earlier checkpoint", "The checkpoint of %s does not fit: one of its first %d entries is not what it was. The history was written anew.", kept.Time, kept.Size)
		case kept.Size > 0 && !entry.At(entered).Equal(kept.Time.Time):
			c.problems.Add("earlier checkpoint", "The checkpoint that was kept is dated %s, and entry %d of this bag, its last one, %s: the checkpoint is not as it was made.", kept.Time, kept.Size, entry.At(entered))
		default:
			c.out.Since = append(c.out.Since, fmt.Sprintf("It adds only to the checkpoint of %s, with %d entries", kept.Time.UTC().Format("2 Jan 2006 15:04 UTC"), kept.Size))
		}
	}
}

// authority tells whether the roots that were named are those of this bag: a signature
// is judged by them, and where there is none, this alone shows that others were named.
func (c *bagChecker) authority() {
	if c.trust.Roots == nil {
		return
	}
	any, named := false, false
	for sum, one := range c.log.ders {
		if c.log.certs[sum].person != "" {
			continue
		}
		any = true
		_, err := one.Verify(x509.VerifyOptions{Roots: c.trust.Roots, CurrentTime: c.tip.Time.Time, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageAny}})
		named = named || err == nil
	}
	switch {
	case any && !named:
		c.problems.Add("authority", "The authority of this bag is none that you named: %s.", c.out.Fingerprint)
	case !c.sealed && c.covered.upTo == 0:
		c.out.Remarks = append(c.out.Remarks, "Nothing here is signed under an authority you named.")
	}
	if c.own {
		c.out.Remarks = append(c.out.Remarks, "The authority you named came with the bag, so it vouches for nothing. Compare the fingerprint with what the surgery reads out to you.")
	}
}

// ownRoots tells whether roots are a file of the bag itself.
func ownRoots(bag, roots string) bool {
	a, err1 := os.Stat(filepath.Join(bag, filepath.FromSlash(archive.Keys), "ca.pem"))
	b, err2 := os.Stat(roots)
	return err1 == nil && err2 == nil && os.SameFile(a, b)
}

// maySign says why the person of a certificate may not sign a bag, "" if that person may:
// a lead by the ledger, whose role had not ended when the last entry was made. When the
// bag was signed after that, it does not say.
func (c *bagChecker) maySign(id string) string {
	day := c.log.last.In(c.log.zone).Format(time.DateOnly)
	for _, may := range c.log.people[id].May {
		if may.Until != "" && may.Until < day {
			continue
		}
		if slices.Contains(enough(ActBag), may.Act) {
			return ""
		}
	}
	return fmt.Sprintf("%s, who by the ledger is no lead on %s and so may not sign a bag", c.log.people[id].Name, dayWords(day))
}

// signer returns the certificate of a detached signature that holds, nil for none.
func (c *bagChecker) signer(what string, cms, content []byte) *x509.Certificate {
	chain, err := seal.VerifyDetached(cms, content, c.trust.Roots, c.tip.Time.Time)
	if err != nil {
		c.problems.Add("signatures", "The signature over %s does not hold: %v.", what, err)
		return nil
	}
	own := chain[0]
	log, known := c.log.certs[entry.Sum(own.Raw)]
	if !known || log.issued == 0 || log.ended != 0 || log.person == "" {
		c.problems.Add("signatures", "The signature over %s was made with a certificate that the ledger does not hold as issued to a person and not ended: %s.", what, seal.Fingerprint(own))
		return nil
	}
	if why := c.maySign(log.person); why != "" {
		c.problems.Add("signatures", "The signature over %s is of %s.", what, why)
		return nil
	}
	return own
}
