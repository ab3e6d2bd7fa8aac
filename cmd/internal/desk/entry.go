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
	Form url.Values
	Said string
	refused
}

// Title names the entry.
func (e entryData) Title() string { return fmt.Sprintf("Entry %d", e.Entry) }

// Field is what stands in a field: what was written, else what the entry says.
func (e entryData) Field(name, was string) string {
	if e.Form.Has(name) {
		return e.Form.Get(name)
	}
	return was
}

// Figure is the figure of the note as a person types it.
func (e entryData) Figure() string {
	if e.Note.Value == nil {
		return ""
	}
	return trim(*e.Note.Value)
}

// Local is a time in the form of a field, "" for none.
func (entryData) Local(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02T15:04")
}

func (d *Desk) entryPage(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.showEntry(w, r, v, http.StatusOK, d.drafts.take(v.token, r.URL.Path), refused{})
}

func (d *Desk) showEntry(w http.ResponseWriter, r *http.Request, v visitor, code int, form url.Values, no refused) error {
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
	return d.show(w, r, v, "entry", code, entryData{e, form, d.sessions.PopString(r.Context(), "said"), no})
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
			return d.showEntry(w, r, v, http.StatusBadRequest, r.PostForm, refused{Why: sentence(err.Error())})
		}
	}
	done, err := d.records.Correct(r.Context(), c)
	var no *surgery.Refusal
	if errors.As(err, &no) {
		return d.showEntry(w, r, v, http.StatusConflict, r.PostForm, refused{sentence(no.Why), onPages(no.Instead)})
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

// noting reads the fields of a note from a form; what is not there stays empty.
func (d *Desk) noting(form url.Values) (surgery.Noting, error) {
	get := func(name string) string { return strings.TrimSpace(form.Get(name)) }
	n := surgery.Noting{Duty: get("duty"), Day: get("day"), Steriliser: get("machine"), Place: get("place"), Cycle: get("cycle"),
		Outcome: get("outcome"), Text: get("text"), Product: get("product"), Strength: get("strength")}
	if text := get("value"); text != "" {
		value, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
		if err != nil {
			return n, fmt.Errorf("%w: found %q, expected a number such as 42", errForm, text)
		}
		n.Value = &value
	}
	for name, to := range map[string]*time.Time{"from": &n.From, "to": &n.To} {
		text := strings.Replace(get(name), "T", " ", 1)
		var err error
		if *to, err = d.records.Moment(text, n.Day); err != nil {
			return n, fmt.Errorf("%w: %q is not a time, expected one such as 17:30", errForm, text)
		}
	}
	return n, nil
}
