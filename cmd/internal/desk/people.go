package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// personData is the page of one person, on which a lead changes what they may do.
type personData struct {
	surgery.Person
	Keys  []surgery.Certified
	Roles []role
	Today string
	Own   bool // the lead's own page
	Form  url.Values
	Said  string
	refused
}

// role is a role as a form has it: what the person holds of it, if anything.
type role struct {
	Name, What string
	Held       bool // today or later
}

// roleWords say what a role is for.
var roleWords = [][2]string{{"operate", "runs machines, notes what was done"}, {"release", "lets conforming loads go"}, {"lead", "decides about the rest, reviews days, makes people"}}

// Title is the person's name.
func (p personData) Title() string {
	if p.ID == "" {
		return "Add a person"
	}
	return p.Name
}

// Field is what stands in a field.
func (p personData) Field(name string) string { return p.Form.Get(name) }

// Chosen tells whether one of several was chosen.
func (p personData) Chosen(name, value string) bool { return slices.Contains(p.Form[name], value) }

// Standing are the certificates that count.
func (p personData) Standing() int {
	n := 0
	for _, k := range p.Keys {
		if k.Ended.IsZero() {
			n++
		}
	}
	return n
}

func (d *Desk) personPage(w http.ResponseWriter, r *http.Request, v visitor) error {
	var form url.Values
	for _, act := range []string{"", "/roles", "/certificate", "/end"} {
		if draft := d.drafts.take(v.token, r.URL.Path+act); draft != nil {
			form = draft
		}
	}
	return d.showPerson(w, r, v, http.StatusOK, form, refused{})
}

// showPerson is the page of a person, or of somebody who is to be added.
func (d *Desk) showPerson(w http.ResponseWriter, r *http.Request, v visitor, code int, form url.Values, no refused) error {
	id := r.PathValue("id")
	data := personData{Today: d.records.Today(), Own: id == v.Person, Form: form, refused: no, Said: d.sessions.PopString(r.Context(), "said")}
	if id != "" {
		people, err := d.records.People(r.Context())
		if err != nil {
			return err
		}
		i := slices.IndexFunc(people, func(p surgery.Person) bool { return p.ID == id })
		if i < 0 {
			return errNotThere
		}
		data.Person = people[i]
		keys, err := d.records.Keys(r.Context())
		if err != nil {
			return err
		}
		data.Keys = slices.DeleteFunc(keys, func(k surgery.Certified) bool { return k.Person != id })
	}
	for _, w := range roleWords {
		held := slices.ContainsFunc(data.Person.Roles, func(o surgery.Role) bool {
			return o.Name == w[0] && (o.Until == "" || o.Until >= data.Today)
		})
		data.Roles = append(data.Roles, role{w[0], w[1], held})
	}
	return d.show(w, r, v, "person", code, data)
}

// addPerson, changeRoles, newCertificate and endCertificate are acts of a lead, who
// gives the passphrase again; making or ending a certificate asks for that of the
// site's authority too. None of them is kept.
func (d *Desk) addPerson(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.byLead(w, r, v, func(form url.Values, by surgery.Proof) (string, error) {
		id := strings.ToLower(strings.TrimSpace(form.Get("new-id")))
		j := surgery.Joining{ID: id, Name: strings.TrimSpace(form.Get("name")), Roles: form["role"], Since: form.Get("since"), By: by,
			Authority: wordIn(form, "authority-passphrase"), Passphrase: newWord(form), Reason: strings.TrimSpace(form.Get("reason"))}
		if j.Name == "" {
			return "", fmt.Errorf("%w: the name is missing", errForm)
		}
		return j.Name + " is added, and signs in as " + id + ".", d.records.AddPerson(r.Context(), j)
	})
}

func (d *Desk) changeRoles(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.byLead(w, r, v, func(form url.Values, by surgery.Proof) (string, error) {
		c := surgery.RoleChange{ID: r.PathValue("id"), Roles: form["role"], By: by, Reason: strings.TrimSpace(form.Get("reason"))}
		text := "begins as "
		if form.Get("do") == "end" {
			text = "ends as "
			if c.Until = form.Get("day"); c.Until == "" {
				return "", fmt.Errorf("%w: the last day is missing", errForm)
			}
		} else {
			c.Since = form.Get("day")
		}
		if len(c.Roles) == 0 {
			return "", fmt.Errorf("%w: choose a role", errForm)
		}
		return c.ID + " " + text + strings.Join(c.Roles, ", ") + ", " + dayWords(form.Get("day")) + ".", d.records.ChangeRoles(r.Context(), c)
	})
}

func (d *Desk) newCertificate(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.byLead(w, r, v, func(form url.Values, by surgery.Proof) (string, error) {
		n := surgery.Renewal{ID: r.PathValue("id"), By: by, Authority: wordIn(form, "authority-passphrase"), Passphrase: newWord(form), Reason: strings.TrimSpace(form.Get("reason"))}
		if n.Reason == "" {
			return "", fmt.Errorf("%w: the reason is missing", errForm)
		}
		return n.ID + " has a new certificate. What the old one signed stays good.", d.records.Renew(r.Context(), n)
	})
}

func (d *Desk) endCertificate(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.byLead(w, r, v, func(form url.Values, by surgery.Proof) (string, error) {
		e := surgery.Ending{ID: r.PathValue("id"), By: by, Authority: wordIn(form, "authority-passphrase"), Reason: strings.TrimSpace(form.Get("reason"))}
		return "The certificate of " + e.ID + " counts no more. What it signed stays good.", d.records.EndCertificates(r.Context(), e)
	})
}

// wordIn is the way to a passphrase of a form.
func wordIn(form url.Values, field string) func() (string, error) {
	return func() (string, error) { return form.Get(field), nil }
}

// newWord is a new passphrase, which was typed twice.
func newWord(form url.Values) func() (string, error) {
	return func() (string, error) {
		if form.Get("new-passphrase") != form.Get("new-passphrase-again") {
			return "", fmt.Errorf("%w: the new passphrase was typed in two ways", errForm)
		}
		return form.Get("new-passphrase"), surgery.CheckPassphrase(form.Get("new-passphrase"))
	}
}

// authorityID is under which guesses at the authority's passphrase are slowed: nobody
// can have it as an id.
const authorityID = "authority"

// byLead does an act of a lead: slowed after wrong passphrases, one key at a time, and
// back on the form with what was written, but no passphrase, if it was refused.
func (d *Desk) byLead(w http.ResponseWriter, r *http.Request, v visitor, do func(url.Values, surgery.Proof) (string, error)) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	form := url.Values{}
	for k, all := range r.PostForm {
		if !strings.Contains(k, "passphrase") {
			form[k] = all
		}
	}
	if wait := max(d.brake.wait(v.Person), d.brake.wait(authorityID)); wait > 0 {
		return d.showPerson(w, r, v, http.StatusTooManyRequests, form, refused{"A passphrase did not fit several times.", "Wait " + lasting(wait.Seconds()+1) + "."})
	}
	d.keys <- struct{}{}
	said, err := do(r.PostForm, surgery.Proof{Person: v.Person, Passphrase: wordIn(r.PostForm, "passphrase")})
	<-d.keys
	var no *surgery.Refusal
	switch {
	case err == nil:
	case wrongPassphrase(err):
		of, whose := v.Person, "Your passphrase"
		if strings.HasPrefix(err.Error(), "the authority") {
			of, whose = authorityID, "The passphrase of the site’s authority"
		}
		d.brake.failed(of)
		return d.showPerson(w, r, v, http.StatusForbidden, form, refused{whose + " does not fit.", "Type it again."})
	case errors.Is(err, errForm):
		return d.showPerson(w, r, v, http.StatusBadRequest, form, refused{Why: sentence(err.Error())})
	case errors.As(err, &no):
		return d.showPerson(w, r, v, http.StatusConflict, form, refused{sentence(no.Why), onPages(no.Instead)})
	default:
		return err
	}
	d.brake.fits(v.Person)
	d.brake.fits(authorityID)
	d.say(r, said)
	http.Redirect(w, r, "/people", http.StatusSeeOther)
	return nil
}
