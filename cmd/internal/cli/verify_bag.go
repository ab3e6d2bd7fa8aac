package cli

import (
	"errors"
	"fmt"
	"slices"

	"holdproof/cmd/internal/surgery"
)

// sortOut parts the bags from the signed records.
func sortOut(args []string) (records, bags []string) {
	for _, name := range args {
		if surgery.IsBag(name) {
			bags = append(bags, name)
		} else {
			records = append(records, name)
		}
	}
	return records, bags
}

func verifyBags(w World, bags []string, t surgery.Trusting, since []string) ([]surgery.VerifiedBag, error) {
	var out []surgery.VerifiedBag
	var failed error
	for _, name := range bags {
		v, err := surgery.VerifyBag(name, t, since)
		if err != nil {
			failed = errors.Join(failed, err)
			continue
		}
		out = append(out, v)
	}
	return out, failed
}

// bagHeadline says of a bag in one sentence what is proved, and gives it a full mark only
// if a person's signature covers all of it.
func bagHeadline(v surgery.VerifiedBag) (surgery.Outcome, string) {
	whole := "complete and unaltered"
	if v.Unknown != "" {
		whole = "complete up to its last entry, and unaltered"
	}
	switch {
	case !v.OK:
		return surgery.Failed, "does not hold."
	case v.Signer == "":
		return surgery.NotProven, "its parts fit together, and nobody signed the whole of it."
	case !v.Trusted:
		return surgery.Conforms, whole + " since it was signed. Whether its signer is who it says is for you to settle: compare the fingerprint below."
	}
	return surgery.Conforms, whole + ", and signed under an authority you named."
}

func writeVerifiedBags(p *page, found []surgery.VerifiedBag) error {
	if len(found) == 0 {
		return nil
	}
	for _, v := range found {
		p.gap()
		m, what := bagHeadline(v)
		p.para("  "+p.mark(m).text+"  ", v.File+": "+what, strong)
		for _, s := range v.Problems {
			p.para("     ", sentence(s), plain)
		}
		if v.From != "" {
			machine := "all machines"
			if v.Steriliser != "" {
				machine = "only " + v.Steriliser
			}
			p.para("     ", fmt.Sprintf("%s, %s to %s, %s: %s, %s, %s; %d files and %d entries checked.", v.Surgery, surgery.DayWords(v.From), surgery.DayWords(v.To),
				machine, countOf(v.Cycles, "cycle"), countOf(v.Records, "signed record"), countOf(v.Exports, "export"), v.Files, v.Entries), plain)
		}
		if !v.AsOf.IsZero() {
			p.para("     ", "It shows the logbook as it stood at its last entry, "+v.AsOf.UTC().Format("2 Jan 2006 15:04 UTC")+".", plain)
		}
		if v.Signer != "" {
			p.para("     ", "Signed by "+v.Signer+".", plain)
		}
		for _, s := range slices.Concat(v.Since, v.Remarks) {
			p.para("     ", sentence(s), plain)
		}
		if v.Fingerprint != "" {
			p.para("     ", "Its authority: "+v.Fingerprint, plain)
		}
	}
	p.gap()
	p.para("  ", "Checked from the bag alone, without logbook and network. Keep a copy of its checkpoint.txt: at the next visit --since shows whether anything of before was changed.", plain)
	return p.flush()
}
