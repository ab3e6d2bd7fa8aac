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
	c := &cobra.Command{
		Use:   "verify FILE...",
		Short: "Check signed records, without a logbook",
		Long: "Checks signed records from their files alone: that nothing was changed, who signed, that\n" +
			"the certificates were valid then, and that the exports inside are those that were judged.\n" +
			"No logbook and no network is used, also if one is in --dir. Without --roots a record can be\n" +
			"sound, and it is left to you to compare the fingerprint. The exit code is 1 when something\n" +
			"does not hold.",
		Example: "holdproof verify records/2026-11-02.pdf --roots keys/ca.pem",
		Args:    needs(1, -1, "at least one record"),
	}
	c.Flags().StringVar(&t.Roots, "roots", "", "a PEM file with the authorities whose signers are believed")
	c.Flags().StringVar(&t.StampRoots, "stamp-roots", "", "a PEM file with the authorities whose time stamps are believed")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, args []string) error {
		found, failed := surgery.Verify(args, t)
		var err error
		if asJSON {
			err = verifyJSON(w, found, failed)
		} else {
			err = writeVerified(newPage(w, w.Stdout), found)
		}
		if err = errors.Join(err, failed); err != nil {
			return err
		}
		for _, v := range found {
			if !v.OK {
				return status(exitFound)
			}
		}
		return nil
	}
	return c
}

func writeVerified(p *page, found []surgery.Verified) error {
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

// verifyJSON prints what scripts rely on: ok, checked (files), trusted, problems.
func verifyJSON(w World, found []surgery.Verified, failed error) error {
	type signature struct {
		Meaning     string `json:"meaning"`
		Name        string `json:"name"`
		Role        string `json:"role"`
		At          string `json:"at"`
		JudgedFrom  string `json:"judged_from"`
		Fingerprint string `json:"fingerprint"`
		Authority   string `json:"authority"`
	}
	type record struct {
		File       string      `json:"file"`
		OK         bool        `json:"ok"`
		Trusted    bool        `json:"trusted"`
		ID         string      `json:"id"`
		Waiting    bool        `json:"waiting"`
		Signatures []signature `json:"signatures"`
	}
	out := struct {
		OK       bool     `json:"ok"`
		Checked  int      `json:"checked"`
		Trusted  bool     `json:"trusted"`
		Problems []string `json:"problems"`
		Records  []record `json:"records"`
	}{OK: failed == nil, Trusted: failed == nil, Checked: len(found), Problems: []string{}, Records: []record{}}
	if failed != nil {
		// No capital: the message begins with the file's name.
		out.Problems = append(out.Problems, failed.Error()+".")
	}
	for _, v := range found {
		out.OK, out.Trusted = out.OK && v.OK, out.Trusted && v.Trusted
		for _, s := range v.Problems {
			out.Problems = append(out.Problems, v.File+": "+s)
		}
		one := record{File: v.File, OK: v.OK, Trusted: v.Trusted, ID: v.Record.ID, Waiting: v.Waiting, Signatures: []signature{}}
		for _, s := range v.Signatures {
			one.Signatures = append(one.Signatures, signature{s.Meaning, s.Name, s.Role, s.Printed.Format("2006-01-02T15:04:05Z07:00"), s.JudgedFrom, s.Fingerprint, s.Authority})
		}
		out.Records = append(out.Records, one)
	}
	return writeJSON(w.Stdout, out)
}
