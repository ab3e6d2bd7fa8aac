package desk

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"holdproof/cmd/internal/surgery"
)

// asking are the twelve questions of an inspector, answered for a period and a machine.
type asking struct {
	From, To, Machine string
	Machines          []surgery.Steriliser
	Replies           []surgery.Reply
}

// Query is the period and the machine, for links from one question to another.
func (a asking) Query() template.URL {
	return template.URL(url.Values{"from": {a.From}, "to": {a.To}, "machine": {a.Machine}}.Encode()) // escaped already
}

// shownBack is how many days are answered for when no period is chosen, and for how many
// the page that finds cycles answers all twelve questions at once (ours).
const shownBack = 30

// later stands for the answers on a period that takes longer to look through than a page
// may: each is given when its question is opened.
func later() []surgery.Reply {
	var out []surgery.Reply
	for i, q := range surgery.Questions() {
		out = append(out, surgery.Reply{Number: i + 1, Question: q, Short: "Open it: a period of more than a month takes a moment.", Outcome: surgery.NotAssessed})
	}
	return out
}

// asking answers for the period that is asked for: up to today where no end is given, and
// from thirty days before the end where no beginning is. Where all answers stand on one page
// a long period has none.
func (d *Desk) asking(ctx context.Context, q url.Values, all bool) (asking, error) {
	out := asking{From: day(q.Get("from")), To: day(q.Get("to")), Machines: d.records.Machines()}
	for _, m := range out.Machines {
		if m.ID == q.Get("machine") {
			out.Machine = m.ID
		}
	}
	if out.To == "" {
		out.To = d.records.Today()
	}
	if out.From == "" || out.From > out.To {
		end, err := time.Parse(time.DateOnly, out.To)
		if err != nil {
			return out, err
		}
		out.From = end.AddDate(0, 0, -shownBack).Format(time.DateOnly)
	}
	if first, err := time.Parse(time.DateOnly, out.From); all && err == nil && first.AddDate(0, 0, shownBack).Format(time.DateOnly) < out.To {
		out.Replies = later()
		return out, nil
	}
	size, err := d.records.LogSize(ctx)
	if err != nil {
		return out, err
	}
	out.Replies, err = d.answers.get(fmt.Sprint(size, " ", out.From, " ", out.To, " ", out.Machine), func() ([]surgery.Reply, error) {
		return d.records.Replies(ctx, out.From, out.To, out.Machine)
	})
	return out, err
}

// questionData is the page of one question.
type questionData struct {
	asking
	Reply        surgery.Reply
	Before, Next int // numbers of the questions beside it, 0 for none
}

// Title is the question.
func (q questionData) Title() string { return q.Reply.Question }

// mostRows is how many rows of an answer a page shows (ours); the table of cycles that a
// bag holds has them all.
const mostRows = 1000

// question answers one of the twelve.
func (d *Desk) question(w http.ResponseWriter, r *http.Request, v visitor) error {
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil || n < 1 || n > 12 {
		return errNotThere
	}
	data := questionData{Before: n - 1, Next: (n + 1) % 13}
	if data.asking, err = d.asking(r.Context(), r.URL.Query(), false); err != nil {
		return err
	}
	data.Reply = data.Replies[n-1]
	if left := len(data.Reply.Rows) - mostRows; left > 0 {
		data.Reply.Rows, data.Reply.Left = data.Reply.Rows[:mostRows], data.Reply.Left+left
	}
	return d.show(w, r, v, "question", http.StatusOK, data)
}

// address is where a reference leads on this desk, "" for nowhere.
func address(to surgery.CellTo) string {
	switch to.Kind {
	case surgery.ToCycle:
		return "/cycle/" + url.PathEscape(to.ID)
	case surgery.ToDay:
		return "/day/" + url.PathEscape(to.ID)
	case surgery.ToMonth:
		return "/days?month=" + url.QueryEscape(to.ID)
	case surgery.ToPerson:
		return "/people"
	case surgery.ToMachine:
		return "/find?machine=" + url.QueryEscape(to.ID)
	case surgery.ToEntry:
		return "/entry/" + url.PathEscape(to.ID)
	case surgery.ToRecord:
		return "/record/" + url.PathEscape(to.ID)
	}
	return ""
}

// recordNamed hands out the file of a signed record, an older revision too.
func (d *Desk) recordNamed(w http.ResponseWriter, r *http.Request, _ visitor) error {
	path, name, err := d.records.RecordNamed(r.Context(), r.PathValue("name"))
	if err != nil {
		return err
	}
	attach(w, name, "application/pdf")
	return handRecord(w, r, path)
}
