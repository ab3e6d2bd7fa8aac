package cli

import (
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func keysCommand(w World, at *common) *cobra.Command {
	var asJSON, asPEM bool
	c := &cobra.Command{
		Use:   "keys",
		Short: "The site's authority and all certificates",
		Long: "Lists every certificate that was issued or ended, and the fingerprint of the site's\n" +
			"authority, to be compared with the one an inspector holds. Whoever holds the authority's\n" +
			"key and passphrase can make people: this list shows each one that was made, and an\n" +
			"entry cannot be taken out of it unseen (holdproof audit).",
		Example: "holdproof keys --pem",
		Args:    needs(0, 0, "no argument"),
	}
	configFlag(c, at)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.Flags().BoolVar(&asPEM, "pem", false, "print the authority's certificate for other programs")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		if asPEM {
			text, err := r.AuthorityPEM(c.Context())
			if err != nil {
				return err
			}
			_, err = w.Stdout.Write(text)
			return err
		}
		all, err := r.Keys(c.Context())
		if err != nil {
			return err
		}
		if asJSON {
			return keysJSON(w, all, r.Now())
		}
		return writeKeys(newPage(w, w.Stdout), all, r.Now())
	}
	return c
}

func writeKeys(p *page, all []surgery.Certified, now time.Time) error {
	day := func(t time.Time) string { return t.In(now.Location()).Format("2 Jan 2006") }
	p.gap()
	p.line(span{"  The site's authority", strong})
	p.gap()
	for _, c := range all {
		if c.Person != "" {
			continue
		}
		groups := strings.Fields(c.Fingerprint)
		p.line(span{"  " + c.Name + ", until " + day(c.NotAfter), plain})
		p.line(span{"  " + strings.Join(groups[:8], " "), plain})
		p.line(span{"  " + strings.Join(groups[8:], " "), plain})
		if text := c.Warning(now); text != "" {
			p.para("  ", text, strong)
		}
	}
	p.gap()
	p.line(span{"  Certificates of people", strong})
	p.gap()
	for _, c := range all {
		if c.Person == "" {
			continue
		}
		p.line(span{"  " + padded(c.Short, 19) + "  " + c.Person + ", " + c.Name, plain})
		text := "issued " + day(c.Issued)
		if c.IssuedBy != "" {
			text += " by " + c.IssuedBy
		}
		if c.Outside {
			text += " (from outside: " + c.Issuer + ")"
		}
		if c.Ended.IsZero() {
			text += ", until " + day(c.NotAfter)
		} else {
			text += ", ended " + day(c.Ended) + " by " + c.EndedBy
			if c.Reason != "" {
				text += ": " + c.Reason
			}
		}
		p.para(strings.Repeat(" ", 23), text, plain)
		if text := c.Warning(now); text != "" {
			p.para(strings.Repeat(" ", 23), text, strong)
		}
	}
	p.gap()
	p.para("  ", "Whoever has the authority's key and passphrase can make people. A person nobody knows in this list is the sign of it.", plain)
	return p.flush()
}

func keysJSON(w World, all []surgery.Certified, now time.Time) error {
	type one struct {
		Person      *string `json:"person"` // null: the authority
		Name        string  `json:"name"`
		Issuer      string  `json:"issuer"`
		Fingerprint string  `json:"sha256"`
		Issued      string  `json:"issued"`
		IssuedBy    *string `json:"issued_by"`
		NotBefore   string  `json:"not_before"`
		NotAfter    string  `json:"not_after"`
		Ended       *string `json:"ended"`
		EndedBy     *string `json:"ended_by"`
		Outside     bool    `json:"outside"`
		Warning     *string `json:"warning"`
	}
	out := []one{}
	for _, c := range all {
		out = append(out, one{textOrNull(c.Person), c.Name, c.Issuer, strings.ToLower(strings.ReplaceAll(c.Fingerprint, " ", "")), c.Issued.UTC().Format(time.RFC3339), textOrNull(c.IssuedBy),
			c.NotBefore.UTC().Format(time.RFC3339), c.NotAfter.UTC().Format(time.RFC3339), timeOrNull(c.Ended), textOrNull(c.EndedBy), c.Outside, textOrNull(c.Warning(now))})
	}
	return writeJSON(w.Stdout, map[string]any{"certificates": out})
}

func timeOrNull(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := t.UTC().Format(time.RFC3339)
	return &s
}
