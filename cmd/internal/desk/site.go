package desk

import (
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// peopleData is the page of people and machines.
type peopleData struct {
	People   []surgery.Person
	Keys     []surgery.Certified
	Machines []surgery.Steriliser
	Today    string
	Said     string
}

func (d *Desk) people(w http.ResponseWriter, r *http.Request, v visitor) error {
	people, err := d.records.People(r.Context())
	if err != nil {
		return err
	}
	keys, err := d.records.Keys(r.Context())
	if err != nil {
		return err
	}
	return d.show(w, r, v, "people", http.StatusOK, peopleData{people, keys, d.records.Machines(), d.records.Today(), d.sessions.PopString(r.Context(), "said")})
}

// judgingData is the page that explains how a cycle is judged.
type judgingData struct {
	Limits  string
	Rows    []surgery.LimitRow
	Example *surgery.Shown // a kept load, drawn; nil if there is none
	Figure  template.HTML
}

func (d *Desk) judging(w http.ResponseWriter, r *http.Request, v visitor) error {
	data := judgingData{Limits: d.records.Configuration().LimitsInForce(), Rows: d.records.LimitRows()}
	found, err := d.records.ShownCycles(r.Context(), surgery.ShownQuery{Kind: surgery.KindWords()[0], Outcome: surgery.Conforms.String(), Newest: true, Limit: 1})
	if err != nil {
		return err
	}
	if len(found) > 0 {
		data.Example = &found[0]
		if data.Figure, _, err = d.large(r, found[0]); err != nil {
			return err
		}
	}
	return d.show(w, r, v, "judging", http.StatusOK, data)
}

// noteData is the form for what is done beside the cycles.
type noteData struct {
	Duties   []string
	Machines []surgery.Steriliser
	Today    string
	Draft    url.Values
	Said     string
}

// Field is what stands in a field: of a draft, else of the link that led here.
func (n noteData) Field(name string) string { return n.Draft.Get(name) }

func (d *Desk) notePage(w http.ResponseWriter, r *http.Request, v visitor) error {
	data := noteData{Duties: surgery.DutyNames(), Machines: d.records.Machines(), Today: d.records.Today(), Draft: d.drafts.take(v.token, "/note"),
		Said: d.sessions.PopString(r.Context(), "said")}
	if data.Draft == nil {
		data.Draft = r.URL.Query()
	}
	return d.show(w, r, v, "note", http.StatusOK, data)
}

// note keeps what a person did or saw.
func (d *Desk) note(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	n, err := d.noting(r.PostForm)
	if err != nil {
		return err
	}
	n.By = surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn}
	done, err := d.records.Note(r.Context(), n)
	if err != nil {
		return err
	}
	text := "Noted: " + n.Duty
	if n.Outcome != "" {
		text += ", " + n.Outcome
	}
	for _, s := range done.Says {
		if s = onPages(s); s != "" {
			text += ". " + strings.TrimSuffix(s, ".")
		}
	}
	d.say(r, text+".")
	http.Redirect(w, r, inside(r.PostFormValue("back")), http.StatusSeeOther)
	return nil
}

// Results are what a duty may have come to.
func (noteData) Results() []string { return []string{"done", "not done", "passed", "failed"} }
