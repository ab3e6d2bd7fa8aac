package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func verifyCommand(w World) *cobra.Command {
	var t surgery.Trusting
	var asJSON bool
	var since []string
	c := &cobra.Command{
		Use:   "verify FILE...",
		Short: "Check signed records and bags, without a logbook",
		Long: "Checks signed records from their files alone: that nothing was changed, who signed, that\n" +
			"the certificates were valid then, and that the exports inside are those that were judged.\n" +
			"A bag, as folder or ZIP, is checked in all its parts and never unpacked to the disk: files,\n" +
			"signatures, the proof of every entry, and that nothing is missing; with --since also that\n" +
			"it only adds to a checkpoint kept from an earlier visit. No logbook and no network is used,\n" +
			"also if one is in --dir. Without --roots a record can be sound, and it is left to you to\n" +
			"compare the fingerprint. The exit code is 1 when something does not hold.",
		Example: "holdproof verify records/2026-11-02.pdf --roots keys/ca.pem",
		Args:    needs(1, -1, "at least one record or bag"),
	}
	c.Flags().StringVar(&t.Roots, "roots", "", "a PEM file with the authorities whose signers are believed")
	c.Flags().StringVar(&t.StampRoots, "stamp-roots", "", "a PEM file with the authorities whose time stamps are believed")
	c.Flags().StringSliceVar(&since, "since", nil, "a file with checkpoints that was kept from an earlier visit, for bags")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, args []string) error {
		records, bags := sortOut(args)
		if len(since) > 0 && len(bags) == 0 {
			return errors.New("--since compares bags, and none is named; the checkpoints of a logbook are compared by holdproof audit --since")
		}
		found, failed := surgery.Verify(records, t)
		packed, err := verifyBags(w, bags, t, since)
		failed = errors.Join(failed, err)
		if asJSON {
			err = verifyJSON(w, found, packed, failed)
		} else {
			err = errors.Join(writeVerified(newPage(w, w.Stdout), found), writeVerifiedBags(newPage(w, w.Stdout), packed))
		}
		if err = errors.Join(err, failed); err != nil {
			return err
		}
		for _, v := range found {
			if !v.OK {
				return status(exitFound)
			}
		}
		for _, v := range packed {
			if !v.OK {
				return status(exitFound)
			}
		}
		return nil
	}
	return c
}

func writeVerified(p *page, found []surgery.Verified) error {
	if len(found) == 0 {
		return nil
	}
	for _, v := range found {
		p.gap()
		m, what := p.mark(surgery.Conforms), "sound, and signed under an authority you named."
		switch {
		case !v.OK:
			m, what = p.mark(surgery.Failed), "does not hold."
		case !v.Trusted:
			what = "sound. Whether its signers are who they say is for you to settle: compare the fingerprint below."
		}
		p.para("  "+m.text+"  ", v.File+": "+what, strong)
		for _, s := range v.Problems {
			p.para("     ", sentence(s), plain)
		}
		if v.OK {
			p.para("     ", fmt.Sprintf("Record %s of %s: %s, %d not conforming; %s inside, as they were judged.", v.Record.ID, v.Record.Surgery,
				countOf(v.Record.Cycles, "cycle"), v.Record.NotConforming, countOf(v.Attached, "file")), plain)
		}
		for _, s := range v.Signatures {
			p.para("     ", fmt.Sprintf("%s by %s (%s), %s. Certificate judged at %s, by the %s.", sentenceCase(s.Meaning), s.Name, s.Role,
				s.Printed.Format("2 Jan 2006 15:04:05 -07:00"), s.Judged.Format("2 Jan 2006 15:04:05 -07:00"), s.JudgedFrom), plain)
			if !s.Trusted {
				p.para("     ", "Its authority: "+s.Authority, plain)
			}
		}
		if v.OK && v.Waiting {
			p.para("     ", "Nobody reviewed it yet: the second signature is not there.", plain)
		}
	}
	p.gap()
	p.para("  ", "Checked from the files alone, without logbook and network. Who was allowed to sign, and whether a newer revision exists, only the logbook says: holdproof audit.", plain)
	return p.flush()
}

// What scripts rely on of a signature, a record and a bag.
type signatureJSON struct {
	Meaning     string `json:"meaning"`
	Name        string `json:"name"`
	Role        string `json:"role"`
	At          string `json:"at"`
	JudgedFrom  string `json:"judged_from"`
	Fingerprint string `json:"fingerprint"`
	Authority   string `json:"authority"`
}

type verifiedJSON struct {
	File       string          `json:"file"`
	OK         bool            `json:"ok"`
	Trusted    bool            `json:"trusted"`
	ID         string          `json:"id"`
	Waiting    bool            `json:"waiting"`
	Signatures []signatureJSON `json:"signatures"`
}

type verifiedBagJSON struct {
	File        string   `json:"file"`
	OK          bool     `json:"ok"`
	Trusted     bool     `json:"trusted"`
	From        string   `json:"from"`
	To          string   `json:"to"`
	Steriliser  string   `json:"steriliser"`
	Files       int64    `json:"files"`
	Entries     int64    `json:"entries"`
	Cycles      int      `json:"cycles"`
	Records     int      `json:"records"`
	Exports     int      `json:"exports"`
	Signer      string   `json:"signer"`
	Fingerprint string   `json:"fingerprint"`
	Remarks     []string `json:"remarks"`
	Covered     int64    `json:"covered"` // number of the last entry under a signature
	CoveredBy   string   `json:"covered_by"`
	Since       []string `json:"since"`
}

// verifyJSON prints what scripts rely on: ok, checked (records, and of
// bags the files and entries), trusted, problems.
func verifyJSON(w World, found []surgery.Verified, bags []surgery.VerifiedBag, failed error) error {
	out := struct {
		OK       bool              `json:"ok"`
		Checked  int               `json:"checked"`
		Trusted  bool              `json:"trusted"`
		Problems []string          `json:"problems"`
		Records  []verifiedJSON    `json:"records"`
		Bags     []verifiedBagJSON `json:"bags"`
	}{OK: failed == nil, Trusted: failed == nil, Checked: len(found), Problems: []string{}, Records: []verifiedJSON{}, Bags: []verifiedBagJSON{}}
	if failed != nil {
		// No capital: the message begins with the file's name.
		out.Problems = append(out.Problems, failed.Error()+".")
	}
	add := func(file string, ok, trusted bool, problems []string) {
		out.OK, out.Trusted = out.OK && ok, out.Trusted && trusted
		for _, s := range problems {
			out.Problems = append(out.Problems, file+": "+s)
		}
	}
	for _, v := range found {
		add(v.File, v.OK, v.Trusted, v.Problems)
		one := verifiedJSON{File: v.File, OK: v.OK, Trusted: v.Trusted, ID: v.Record.ID, Waiting: v.Waiting, Signatures: []signatureJSON{}}
		for _, s := range v.Signatures {
			one.Signatures = append(one.Signatures, signatureJSON{s.Meaning, s.Name, s.Role, s.Printed.Format("2006-01-02T15:04:05Z07:00"), s.JudgedFrom, s.Fingerprint, s.Authority})
		}
		out.Records = append(out.Records, one)
	}
	for _, v := range bags {
		add(v.File, v.OK, v.Trusted, v.Problems)
		out.Checked += int(v.Files + v.Entries)
		out.Bags = append(out.Bags, verifiedBagJSON{v.File, v.OK, v.Trusted, v.From, v.To, v.Steriliser, v.Files, v.Entries, v.Cycles, v.Records, v.Exports, v.Signer, v.Fingerprint, orEmpty(v.Remarks), v.Covered, v.CoveredBy, orEmpty(v.Since)})
	}
	return writeJSON(w.Stdout, out)
}
