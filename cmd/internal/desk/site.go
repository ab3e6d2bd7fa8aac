package desk

import (
	"errors"
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
	Sessions []surgery.LetInShown // for inspectors
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
	sessions, err := d.records.Sessions(r.Context())
	if err != nil {
		return err
	}
	return d.show(w, r, v, "people", http.StatusOK, peopleData{people, keys, d.records.Machines(), d.records.Today(), d.sessions.PopString(r.Context(), "said"), sessions})
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

// noteData is the form for what is done beside the cycles: first what, then its fields.
type noteData struct {
	Fields     dutyFields
	Lists      []dutyList
	Today, Now string
	Day, Back  string
	Said       string
	refused
}

// dutyList are the duties on one kind of thing.
type dutyList struct {
	On, Title string
	Duties    []surgery.DutyForm
}

// dutyLists are the duties by what they are done on.
func dutyLists() []dutyList {
	out := []dutyList{{On: "steriliser", Title: "About a machine"}, {On: "place", Title: "About a chair"}, {On: "site", Title: "About the surgery"}}
	for _, f := range surgery.Duties() {
		for i := range out {
			if out[i].On == f.On {
				out[i].Duties = append(out[i].Duties, f)
			}
		}
	}
	return out
}

func (d *Desk) notePage(w http.ResponseWriter, r *http.Request, v visitor) error {
	form := d.drafts.take(v.token, "/note")
	if form == nil {
		form = r.URL.Query()
	}
	return d.showNote(w, r, v, http.StatusOK, form, refused{}, false)
}

func (d *Desk) showNote(w http.ResponseWriter, r *http.Request, v visitor, code int, form url.Values, no refused, sure bool) error {
	data := noteData{Today: d.records.Today(), Now: d.records.Now().Format("15:04"), Day: day(form.Get("day")), Back: inside(form.Get("back")),
		Said: d.sessions.PopString(r.Context(), "said"), refused: no}
	if form.Get("back") == "" {
		data.Back = "/note"
	}
	var known bool
	if data.Fields, known = d.fieldsOf(form.Get("duty"), form); !known {
		data.Fields, data.Lists = dutyFields{}, dutyLists()
	}
	data.Fields.Sure = sure
	return d.show(w, r, v, "note", code, data)
}

// note keeps what a person did or saw.
func (d *Desk) note(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	n, err := d.noting(r.PostForm)
	if err != nil {
		return d.showNote(w, r, v, http.StatusBadRequest, r.PostForm, refused{Why: sentence(err.Error())}, false)
	}
	n.By = surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn}
	done, err := d.records.Note(r.Context(), n)
	var no *surgery.Refusal
	if errors.As(err, &no) {
		return d.showNote(w, r, v, http.StatusConflict, r.PostForm, refused{sentence(no.Why), onPages(no.Instead)}, no.Confirm)
	}
	if err != nil {
		return err
	}
	text := "Noted: " + n.Duty
	if done.Outcome != "" {
		text += ", " + done.Outcome
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
