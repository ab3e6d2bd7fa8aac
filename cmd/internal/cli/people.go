package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

// byFlags are what every act of a person takes.
type byFlags struct {
	by, reason string
	words      passphrases
}

func (b *byFlags) add(c *cobra.Command, who string) {
	c.Flags().StringVar(&b.by, "by", "", "id of "+who)
	c.Flags().StringVar(&b.reason, "reason", "", "why")
	passphraseFlag(c, &b.words)
}

func (b *byFlags) proof() surgery.Proof {
	return surgery.Proof{Person: b.by, Passphrase: b.words.ask(b.by)}
}

func peopleCommand(w World, at *common) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "people",
		Short: "Who may do what, since when",
		Long: "Lists people with their roles. operate: runs machines, notes what was done. release:\n" +
			"lets conforming loads go. lead: decides about the rest, reviews days, makes people.",
		Example: "holdproof people",
		Args:    needs(0, 0, "no argument but add, role, certificate, end or outside"),
	}
	c.PersistentFlags().StringVar(&at.config, "config", "", "the configuration (default holdproof.yaml in --dir, if there is one)")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		people, err := r.People(c.Context())
		if err != nil {
			return err
		}
		if asJSON {
			return peopleJSON(w, people)
		}
		return writePeople(newPage(w, w.Stdout), people, r.Today())
	}
	c.AddCommand(peopleAdd(w, at), peopleRole(w, at), peopleCertificate(w, at), peopleEnd(w, at), peopleOutside(w, at))
	return c
}

// act opens the records for an act of a person.
func act(c *cobra.Command, w World, at *common, b *byFlags, do func(*surgery.Records) error) error {
	b.words.ctx, b.words.w = c.Context(), w
	defer b.words.done()
	r, done, err := openRecords(c.Context(), w, at)
	if err != nil {
		return err
	}
	defer done()
	return do(r)
}

// tell writes sentences, each a paragraph.
func tell(w World, lines ...string) error {
	p := newPage(w, w.Stdout)
	for _, l := range lines {
		if l != "" {
			p.para("  ", l, plain)
		}
	}
	return p.flush()
}

func peopleAdd(w World, at *common) *cobra.Command {
	var b byFlags
	j := surgery.Joining{}
	c := &cobra.Command{
		Use:   "add ID",
		Short: "Add a person, with a key of their own",
		Long: "Adds a person and makes keys/ID.p12. Three passphrases are asked for: the lead's, the\n" +
			"authority's, and the new person's, who types it.",
		Example: "holdproof people add lea --name \"Lea Brook\" --role operate,release --by mara",
		Args:    needs(1, 1, "the id of the person"),
	}
	b.add(c, "a lead")
	c.Flags().StringVar(&j.Name, "name", "", "the person's name, as it is printed")
	c.Flags().StringSliceVar(&j.Roles, "role", nil, "operate, release, lead; several with commas")
	c.Flags().StringVar(&j.Since, "since", "", "first day of the roles (default today)")
	c.RunE = func(c *cobra.Command, args []string) error {
		return act(c, w, at, &b, func(r *surgery.Records) error {
			if j.Name == "" {
				return errors.New("the person is not named; give --name, for example: " + c.Example)
			}
			j.ID, j.By, j.Reason = args[0], b.proof(), b.reason
			j.Authority, j.Passphrase = b.words.ask("the authority"), b.words.choose(args[0])
			if err := r.AddPerson(c.Context(), j); err != nil {
				return err
			}
			return tell(w, fmt.Sprintf("%s (%s) may %s. The key is %s.", j.Name, j.ID, strings.Join(j.Roles, ", "), r.KeyFile(j.ID)))
		})
	}
	return c
}

func peopleRole(w World, at *common) *cobra.Command {
	var b byFlags
	var ch surgery.RoleChange
	c := &cobra.Command{
		Use:   "role ID",
		Short: "Give a person roles, or end them",
		Long: "Gives roles from a day on, or with --until ends them after a day; with --until and no\n" +
			"--role all of them, as for somebody who leaves. The lead's passphrase is asked for.",
		Example: "holdproof people role lea --until 2026-12-31 --by mara",
		Args:    needs(1, 1, "the id of the person"),
	}
	b.add(c, "a lead")
	c.Flags().StringSliceVar(&ch.Roles, "role", nil, "operate, release, lead; several with commas")
	c.Flags().StringVar(&ch.Since, "since", "", "first day of the roles (default today)")
	c.Flags().StringVar(&ch.Until, "until", "", "last day of the roles")
	c.RunE = func(c *cobra.Command, args []string) error {
		return act(c, w, at, &b, func(r *surgery.Records) error {
			ch.ID, ch.By, ch.Reason = args[0], b.proof(), b.reason
			if err := r.ChangeRoles(c.Context(), ch); err != nil {
				return err
			}
			people, err := r.People(c.Context())
			if err != nil {
				return err
			}
			return writePeople(newPage(w, w.Stdout), people, r.Today())
		})
	}
	return c
}

func peopleCertificate(w World, at *common) *cobra.Command {
	var b byFlags
	c := &cobra.Command{
		Use:   "certificate ID",
		Short: "Make a new key after a lost passphrase",
		Long: "Ends a person's certificate and makes a new one, after a lost passphrase or before the\n" +
			"old one ends. What the old one signed stays good. Three passphrases are asked for: the\n" +
			"lead's, the authority's, and the person's new one. A lead who lost their own gives the\n" +
			"authority's and the new one.",
		Example: "holdproof people certificate lea --by mara --reason \"passphrase lost\"",
		Args:    needs(1, 1, "the id of the person"),
	}
	b.add(c, "a lead")
	c.RunE = func(c *cobra.Command, args []string) error {
		return act(c, w, at, &b, func(r *surgery.Records) error {
			err := r.Renew(c.Context(), surgery.Renewal{ID: args[0], By: b.proof(), Authority: b.words.ask("the authority"),
				Passphrase: b.words.choose(args[0]), Reason: b.reason})
			if err != nil {
				return err
			}
			return tell(w, args[0]+" has a new key: "+r.KeyFile(args[0])+". What the old one signed stays good.")
		})
	}
	return c
}

func peopleEnd(w World, at *common) *cobra.Command {
	var b byFlags
	c := &cobra.Command{
		Use:   "end ID",
		Short: "End a person's certificate without a new one",
		Long: "Ends a person's certificate, as of somebody who left or whose key file was copied. What\n" +
			"it signed stays good. Two passphrases are asked for: the lead's and the authority's.",
		Example: "holdproof people end lea --by mara --reason \"left the surgery\"",
		Args:    needs(1, 1, "the id of the person"),
	}
	b.add(c, "a lead")
	c.RunE = func(c *cobra.Command, args []string) error {
		return act(c, w, at, &b, func(r *surgery.Records) error {
			err := r.EndCertificates(c.Context(), surgery.Ending{ID: args[0], By: b.proof(), Authority: b.words.ask("the authority"), Reason: b.reason})
			if err != nil {
				return err
			}
			return tell(w, "The certificate of "+args[0]+" counts no more. What it signed stays good.")
		})
	}
	return c
}

func peopleOutside(w World, at *common) *cobra.Command {
	var b byFlags
	var file string
	c := &cobra.Command{
		Use:   "outside ID --p12 FILE",
		Short: "Take a person's certificate from outside",
		Long: "Takes a key and certificate that somebody else issued (PKCS#12, RSA from 2048 bit or\n" +
			"ECDSA P-256) in place of the person's own. Three passphrases are asked for: the lead's,\n" +
			"the authority's, and that of the file.",
		Example: "holdproof people outside lea --p12 lea-from-outside.p12 --by mara",
		Args:    needs(1, 1, "the id of the person"),
	}
	b.add(c, "a lead")
	c.Flags().StringVar(&file, "p12", "", "the PKCS#12 file")
	c.RunE = func(c *cobra.Command, args []string) error {
		return act(c, w, at, &b, func(r *surgery.Records) error {
			if file == "" {
				return errors.New("the key file is not named; give --p12, for example: " + c.Example)
			}
			err := r.Renew(c.Context(), surgery.Renewal{ID: args[0], By: b.proof(), Authority: b.words.ask("the authority"),
				KeyFile: file, Passphrase: b.words.ask(file), Reason: b.reason})
			if err != nil {
				return err
			}
			return tell(w, args[0]+" signs with the certificate from outside now. A copy of the file is "+r.KeyFile(args[0])+".")
		})
	}
	return c
}

func writePeople(p *page, people []surgery.Person, today string) error {
	p.gap()
	wide := 4
	for _, one := range people {
		wide = max(wide, cells(one.ID))
	}
	for i, one := range people {
		if i > 0 {
			p.gap()
		}
		p.line(span{"  " + padded(one.ID, wide) + "  ", plain}, span{one.Name, strong})
		for _, o := range one.Roles {
			text := padded(o.Name, 7) + "  since " + personsDay(o.Since)
			if o.Until != "" {
				text += " until " + personsDay(o.Until)
			}
			if !o.Now(today) {
				text += " (not today)"
			}
			p.line(span{strings.Repeat(" ", wide+4) + text, plain})
		}
		if one.Until.IsZero() {
			p.line(span{strings.Repeat(" ", wide+4) + "no certificate", plain})
		}
	}
	if len(people) == 0 {
		p.para("  ", "Nobody is entered yet. holdproof init makes the first lead.", plain)
	}
	return p.flush()
}

func peopleJSON(w World, people []surgery.Person) error {
	type role struct {
		Role  string  `json:"role"`
		Since string  `json:"since"`
		Until *string `json:"until"`
	}
	type one struct {
		ID          string  `json:"id"`
		Name        string  `json:"name"`
		Roles       []role  `json:"roles"`
		Certificate *string `json:"certificate_until"`
	}
	out := []one{}
	for _, x := range people {
		o := one{ID: x.ID, Name: x.Name, Roles: []role{}, Certificate: timeOrNull(x.Until)}
		for _, m := range x.Roles {
			o.Roles = append(o.Roles, role{m.Name, m.Since, textOrNull(m.Until)})
		}
		out = append(out, o)
	}
	return writeJSON(w.Stdout, map[string]any{"people": out})
}
