package desk

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"holdproof/cmd/internal/surgery"
)

// entryData is the page of one entry: what it says, what became of it, and how it is
// put right by a new one.
type entryData struct {
	surgery.EntryShown
	Fields dutyFields // of a note
	When   string     // it was done, in the form of a field
	Form   url.Values
	Said   string
	refused
}

// Title names the entry.
func (e entryData) Title() string { return fmt.Sprintf("Entry %d", e.Entry) }

// Field is what was written in a field.
func (e entryData) Field(name string) string { return e.Form.Get(name) }

// valuesOf are the fields of a note as a form has them.
func valuesOf(n surgery.NoteShown) url.Values {
	s := n.Said
	out := url.Values{"machine": {s.Steriliser}, "place": {s.Place}, "cycle": {s.Cycle}, "text": {s.Text}, "product": {s.Product}, "strength": {s.Strength},
		"sampled": {s.Sampled}, "control": {s.Control}, "test": s.Tests, "outcome": {s.Outcome}, "from": {local(s.From)}, "to": {local(s.To)}}
	if s.Value != nil {
		out.Set("value", strconv.FormatFloat(*s.Value, 'f', -1, 64))
	}
	for name, n := range map[string]int64{"times": int64(s.Times), "of": s.Of, "file": s.File} {
		if n != 0 {
			out.Set(name, strconv.FormatInt(n, 10))
		}
	}
	return out
}

// local is a time in the form of a field, "" for none.
func local(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02T15:04")
}

func (d *Desk) entryPage(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.showEntry(w, r, v, http.StatusOK, d.drafts.take(v.token, r.URL.Path), refused{}, false)
}

func (d *Desk) showEntry(w http.ResponseWriter, r *http.Request, v visitor, code int, form url.Values, no refused, sure bool) error {
	n, err := strconv.ParseInt(r.PathValue("n"), 10, 64)
	if err != nil {
		return errNotThere
	}
	var by *surgery.SignedIn
	if v.Staff() {
		by = &v.SignedIn
	}
	e, err := d.records.EntryShown(r.Context(), n, by)
	if err != nil {
		return err
	}
	data := entryData{EntryShown: e, Form: form, Said: d.sessions.PopString(r.Context(), "said"), refused: no, When: local(e.At)}
	if e.Note != nil {
		values := form
		if values == nil || !values.Has("shown") {
			values = valuesOf(*e.Note)
		}
		data.Fields, _ = d.fieldsOf(e.Note.Form.Name, values)
	}
	data.Fields.Sure = sure
	return d.show(w, r, v, "entry", code, data)
}

// entriesData are the entries of a day.
type entriesData struct {
	Date    string
	Entries []surgery.DayEntry
}

// Title says of which day.
func (e entriesData) Title() string { return "Entries of " + dayWords(e.Date) }

func (d *Desk) entries(w http.ResponseWriter, r *http.Request, v visitor) error {
	date := r.PathValue("day")
	list, err := d.records.EntriesOf(r.Context(), date)
	if err != nil {
		return err
	}
	return d.show(w, r, v, "entries", http.StatusOK, entriesData{date, list})
}

// correct keeps a new entry that names the old one.
func (d *Desk) correct(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	n, err := strconv.ParseInt(r.PathValue("n"), 10, 64)
	if err != nil {
		return errNotThere
	}
	c := surgery.Correcting{Entry: n, Withdraw: r.PostFormValue("do") == "withdraw", By: surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn},
		Reason: strings.TrimSpace(r.PostFormValue("reason"))}
	if !c.Withdraw {
		if c.Note, err = d.noting(r.PostForm); err != nil {
			return d.showEntry(w, r, v, http.StatusBadRequest, r.PostForm, refused{Why: sentence(err.Error())}, false)
		}
	}
	c.Note.Sure = r.PostFormValue("sure") == "yes"
	done, err := d.records.Correct(r.Context(), c)
	var no *surgery.Refusal
	if errors.As(err, &no) {
		return d.showEntry(w, r, v, http.StatusConflict, r.PostForm, refused{sentence(no.Why), onPages(no.Instead)}, no.Confirm)
	}
	if err != nil {
		return err
	}
	text := fmt.Sprintf("Entry %d is corrected by entry %d.", n, done.Entry)
	if c.Withdraw {
		text = fmt.Sprintf("Entry %d is taken back by entry %d.", n, done.Entry)
	}
	for _, s := range done.Says {
		if s = onPages(s); s != "" {
			text += " " + s
		}
	}
	d.say(r, text)
	http.Redirect(w, r, fmt.Sprintf("/entry/%d", done.Entry), http.StatusSeeOther)
	return nil
}
