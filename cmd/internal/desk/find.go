package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"holdproof/cmd/internal/surgery"
)

// findData is the page that finds cycles and answers what an inspector asks.
type findData struct {
	Query    url.Values
	Asked    bool
	Found    []surgery.Shown
	More     bool // there are more than are shown
	Machines []surgery.Steriliser
	People   []surgery.Person
	Kinds    []string
	Outcomes []string
	Asking   asking
	Window   *window
	Unfound  []surgery.Unrecorded // what is known of a number without a record
	Remarks  []string             // on dates that cannot be meant
}

// mostFound is how many cycles a page shows (ours).
const mostFound = 50

// Field is what was asked for in a field.
func (f findData) Field(name string) string { return f.Query.Get(name) }

func (d *Desk) find(w http.ResponseWriter, r *http.Request, v visitor) error {
	q := r.URL.Query()
	data := findData{Query: q, Machines: d.records.Machines(), Kinds: surgery.KindWords(),
		Outcomes: []string{surgery.Failed.String(), surgery.NotProven.String(), surgery.Borderline.String(), surgery.Conforms.String()}}
	var err error
	if data.People, err = d.records.People(r.Context()); err != nil {
		return err
	}
	if data.Asking, err = d.asking(r.Context(), q, true); err != nil {
		return err
	}
	data.Remarks = oddDates(q)
	if machine := q.Get("window"); machine != "" {
		if data.Window, err = d.window(r, machine, q.Get("before")); err != nil {
			return err
		}
	} else if ask, asked := query(q); asked {
		data.Asked = true
		ask.Newest, ask.Limit = true, mostFound+1
		if data.Found, err = d.records.ShownCycles(r.Context(), ask); err != nil {
			return err
		}
		if data.More = len(data.Found) > mostFound; data.More {
			data.Found = data.Found[:mostFound]
		}
		if len(data.Found) == 0 {
			if data.Unfound, err = d.records.Unrecorded(r.Context(), ask.Steriliser, ask.Number); err != nil {
				return err
			}
		}
	}
	return d.show(w, r, v, "find", http.StatusOK, data)
}

// query reads what is asked for; false if nothing is.
func query(q url.Values) (surgery.ShownQuery, bool) {
	get := func(name string) string { return strings.TrimSpace(q.Get(name)) }
	out := surgery.ShownQuery{Steriliser: get("machine"), Number: get("number"), From: day(get("from")), To: day(get("to")),
		Outcome: get("outcome"), Kind: get("kind"), Person: get("person"), Waiting: get("waiting") != "", Recalled: get("recalled") != ""}
	return out, out != surgery.ShownQuery{} || get("all") != ""
}

// day is a date, or "" for what is none.
func day(text string) string {
	if _, err := time.Parse(time.DateOnly, text); err != nil {
		return ""
	}
	return text
}

// oddDates says what cannot be meant of the days that are asked for.
func oddDates(q url.Values) []string {
	var out []string
	for _, f := range [][2]string{{"from", "From"}, {"to", "To"}, {"before", "Up to the end of"}} {
		if text := strings.TrimSpace(q.Get(f[0])); text != "" && day(text) == "" {
			out = append(out, fmt.Sprintf("%s: %q is no date, so it narrows nothing. Choose a day of the calendar.", f[1], text))
		}
	}
	if from, to := day(q.Get("from")), day(q.Get("to")); from != "" && to != "" && from > to {
		out = append(out, fmt.Sprintf("%s is after %s, so no day lies between. Exchange From and To.", dayWords(from), dayWords(to)))
	}
	return out
}

// window is the loads since the last good tests of a machine, by kind of test.
type window struct {
	Machine string
	Before  time.Time
	Of      []surgery.Window
}

func (d *Desk) window(r *http.Request, machine, before string) (*window, error) {
	at, err := time.ParseInLocation(time.DateOnly, before, d.records.Zone())
	if err != nil {
		at = d.records.Now()
	} else {
		at = at.AddDate(0, 0, 1)
	}
	out := &window{Machine: machine, Before: at}
	out.Of, err = d.records.Windows(r.Context(), machine, at)
	return out, err
}
