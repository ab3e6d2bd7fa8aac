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

// loadData is the page on which a load is released or rejected at the machine, maybe
// before its record has come.
type loadData struct {
	Machines []surgery.Steriliser
	People   []surgery.Person
	Last     []string // of each machine the highest number so far
	Unsuited []string // sentences on machines whose programmes do not suit every load
	Missing  []string // sentences on tests that must pass before a load
	Done     []surgery.LoadEntered
	Day, Now string
	Form     url.Values
	Said     string
	Sure     bool   // the person is asked to look at the words again
	UseBy    string // how long packs keep, by the settings
	refused
}

// refused is what stands above a form that was not taken: what was written stays in it.
type refused struct{ Why, Instead string }

// Field is what stands in a field.
func (l loadData) Field(name string) string { return l.Form.Get(name) }

// Is tells whether a choice is the one that was made.
func (l loadData) Is(name, value string) bool { return l.Form.Get(name) == value }

// loadChoices are the questions on the packs, in the order they are looked at.
var loadChoices = []struct {
	Name, Ask string
	Answers   [][2]string // value and word
}{
	{"indicator", "Indicator on the packs", [][2]string{{"passed", "changed"}, {"failed", "did not change"}, {"not used", "none used"}}},
	{"dry", "Packs dry", [][2]string{{"yes", "yes"}, {"no", "no"}}},
	{"sealed", "Packs sealed", [][2]string{{"yes", "yes"}, {"no", "no"}}},
	{"labelled", "Packs labelled", [][2]string{{"yes", "yes"}, {"no", "no"}}},
}

// Choices are the questions on the packs.
func (loadData) Choices() any { return loadChoices }

// Wrappings are what may be said of how the instruments lie in the load.
func (loadData) Wrappings() []string { return []string{"wrapped", "hollow", "both", "neither"} }

func (d *Desk) loadPage(w http.ResponseWriter, r *http.Request, v visitor) error {
	form := d.drafts.take(v.token, "/load")
	if form == nil {
		form = r.URL.Query()
	}
	return d.showLoad(w, r, v, http.StatusOK, form, refused{}, false)
}

func (d *Desk) showLoad(w http.ResponseWriter, r *http.Request, v visitor, code int, form url.Values, no refused, sure bool) error {
	now := d.records.Now()
	data := loadData{Machines: d.records.Machines(), Unsuited: d.records.Unsuited(), Day: d.records.Today(), Now: now.Format("15:04"), Form: form, refused: no, Sure: sure, UseBy: d.records.Configuration().UseBy,
		Said: d.sessions.PopString(r.Context(), "said")}
	if day(form.Get("day")) != "" {
		data.Day = form.Get("day")
	}
	if form.Get("at") != "" {
		data.Now = form.Get("at")
	}
	var err error
	if data.People, err = d.records.People(r.Context()); err != nil {
		return err
	}
	for _, m := range data.Machines {
		n, err := d.records.LastNumber(r.Context(), m.ID, data.Day)
		if err != nil {
			return err
		}
		if n != "" {
			data.Last = append(data.Last, m.ID+" "+n)
		}
		missing, err := d.records.TestsMissing(r.Context(), m.ID, data.Day)
		if err != nil {
			return err
		}
		if missing != "" {
			data.Missing = append(data.Missing, missing)
		}
	}
	if data.Done, err = d.records.LoadsEntered(r.Context(), data.Day); err != nil {
		return err
	}
	return d.show(w, r, v, "load", code, data)
}

// load enters what a person did at the machine.
func (d *Desk) load(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	m, err := atMachine(r.PostForm)
	if err != nil {
		return d.showLoad(w, r, v, http.StatusBadRequest, r.PostForm, refused{Why: sentence(err.Error())}, false)
	}
	at, err := d.momentOf(r.PostForm, m.Day)
	var done surgery.Decided
	if err == nil {
		done, err = d.records.ReleaseAtMachine(r.Context(), m, surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn}, surgery.Proof{}, strings.TrimSpace(r.PostFormValue("reason")), at)
	}
	var no *surgery.Refusal
	if errors.As(err, &no) {
		return d.showLoad(w, r, v, http.StatusConflict, r.PostForm, refused{sentence(no.Why), onPages(no.Instead)}, no.Confirm)
	}
	if err != nil {
		return err
	}
	text := done.Name + " released at the machine."
	if m.Rejected {
		text = done.Name + " rejected at the machine. Repack the load and run it again."
	}
	missing := ""
	if !m.Rejected {
		if missing, err = d.records.TestsMissing(r.Context(), m.Steriliser, m.Day); err != nil {
			return err
		}
	}
	for _, more := range []string{onPages(done.Waits), d.records.Remark(m), missing} {
		if more != "" {
			text += " " + more
		}
	}
	d.say(r, text)
	http.Redirect(w, r, "/load?machine="+url.QueryEscape(m.Steriliser), http.StatusSeeOther)
	return nil
}

// momentOf is the time a form names, zero where that is the minute in which it was
// made: what was done now is dated to the second.
func (d *Desk) momentOf(form url.Values, day string) (at time.Time, err error) {
	text := strings.TrimSpace(form.Get("at"))
	if text == form.Get("shown") {
		return at, nil
	}
	return d.records.Moment(text, day)
}

// atMachine reads the form of a load.
func atMachine(form url.Values) (surgery.AtMachine, error) {
	get := func(name string) string { return strings.TrimSpace(form.Get(name)) }
	m := surgery.AtMachine{Steriliser: get("machine"), Number: get("number"), Day: get("day"), Indicator: get("indicator"), Text: get("text"), Sure: get("sure") == "yes"}
	m.Load.Number, m.Load.Contents, m.Load.Wrapping, m.Load.Loaded, m.Load.Packed, m.Load.UseBy = get("load"), get("contents"), get("wrapping"), get("loaded"), get("packed"), get("use-by")
	switch get("do") {
	case "release":
	case "reject":
		m.Rejected = true
	default:
		return m, fmt.Errorf("%w: press Release or Reject", errForm)
	}
	if m.Load.UseBy != "" && day(m.Load.UseBy) == "" {
		return m, fmt.Errorf("%w: use by is no date, found %q", errForm, m.Load.UseBy)
	}
	if text := get("count"); text != "" {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil || n < 1 {
			return m, fmt.Errorf("%w: found %q packs, expected a number such as 6", errForm, text)
		}
		m.Load.Count = &n
	}
	for name, to := range map[string]**bool{"dry": &m.Dry, "sealed": &m.Sealed, "labelled": &m.Labelled} {
		if answer := get(name); answer != "" {
			is := answer == "yes"
			*to = &is
		}
	}
	return m, nil
}
