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

// sheetData is the sheet of the day: what is open now, each with one tap to enter it.
type sheetData struct {
	Parts  []sheetPart
	Date   string
	Said   string
	Undo   string // number of the entry that was just made, "" for none
	Undoes string // what it says
	refused
}

// sheetPart is a part of the day as the page has it.
type sheetPart struct {
	surgery.SheetPart
	Unfold bool // it stands open
}

// Anchor names the part in an address.
func (p sheetPart) Anchor() string { return strings.ReplaceAll(p.When, " ", "-") }

// Open counts what is still to be done today.
func (s sheetData) Open() int {
	n := 0
	for _, p := range s.Parts {
		n += p.Open
	}
	return n
}

// eveningFrom is the hour from which the end of the day stands open on the sheet (ours).
const eveningFrom = 12

// undoWithin is how long one tap takes back what was entered last (ours). Later the
// entry itself is corrected.
const undoWithin = 5 * time.Minute

// unfolded says which parts stand open: those with something to do, the end of the day
// not in the morning, and what comes between patients always. Their order never changes,
// so that a button is where the hand expects it.
func (d *Desk) unfolded(parts []surgery.SheetPart) []sheetPart {
	var out []sheetPart
	for _, p := range parts {
		s := sheetPart{p, p.Open > 0}
		switch p.When {
		case "between patients":
			s.Unfold = true
		case "end of day":
			s.Unfold = s.Unfold && (d.records.Now().Hour() >= eveningFrom || begun(p))
		}
		out = append(out, s)
	}
	return out
}

// begun tells whether anything of a part was entered today.
func begun(p surgery.SheetPart) bool {
	for _, d := range p.Duties {
		for _, r := range d.Rows {
			if r.Count > 0 || r.Started {
				return true
			}
		}
	}
	return false
}

func (d *Desk) sheetPage(w http.ResponseWriter, r *http.Request, v visitor) error {
	var no refused
	if d.drafts.take(v.token, "/sheet") != nil {
		no = refused{"The desk was locked when you tapped, so nothing was entered.", "Tap again."}
	}
	return d.showSheet(w, r, v, http.StatusOK, no)
}

func (d *Desk) showSheet(w http.ResponseWriter, r *http.Request, v visitor, code int, no refused) error {
	parts, err := d.records.Sheet(r.Context())
	if err != nil {
		return err
	}
	data := sheetData{Parts: d.unfolded(parts), Date: d.records.Today(), refused: no, Said: d.sessions.PopString(r.Context(), "said")}
	if n, is := d.sessions.Get(r.Context(), "undo").(int64); is && d.o.Now().Sub(d.sessions.GetTime(r.Context(), "undo at")) < undoWithin {
		if data.Undoes, err = d.records.Told(r.Context(), n); err != nil {
			return err
		}
		data.Undo = strconv.FormatInt(n, 10)
	}
	return d.show(w, r, v, "sheet", code, data)
}

// sheet enters one tap: something done now, gone in now, come out now, or taken back.
func (d *Desk) sheet(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	by := surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn}
	done, text, undo, err := d.tapped(r, by)
	var no *surgery.Refusal
	switch {
	case errors.As(err, &no):
		return d.showSheet(w, r, v, http.StatusConflict, refused{sentence(no.Why), onPages(no.Instead)})
	case errors.Is(err, errForm):
		return d.showSheet(w, r, v, http.StatusBadRequest, refused{Why: sentence(err.Error())})
	case err != nil:
		return err
	}
	for _, s := range done.Says {
		if s = onPages(s); s != "" {
			text += " " + s
		}
	}
	d.say(r, text)
	d.sessions.Remove(r.Context(), "undo")
	if undo != 0 {
		d.sessions.Put(r.Context(), "undo", undo)
		d.sessions.Put(r.Context(), "undo at", d.o.Now())
	}
	http.Redirect(w, r, "/sheet#"+url.PathEscape(r.PostFormValue("part")), http.StatusSeeOther)
	return nil
}

// tapped does what one button of the sheet says, tells it in words, and names the entry
// that one tap more takes back, 0 for none.
func (d *Desk) tapped(r *http.Request, by surgery.Proof) (done surgery.Noted, text string, undo int64, err error) {
	switch {
	case r.PostFormValue("do") == "undo":
		done, text, err = d.tappedOn(r, r.PostFormValue("entry"), "Taken back", func(n int64) (surgery.Noted, error) {
			return d.records.Correct(r.Context(), surgery.Correcting{Entry: n, Withdraw: true, By: by, Reason: "Taken back on the sheet at once."})
		})
		return done, text, 0, err
	case r.PostFormValue("out") != "":
		done, text, err = d.tappedOn(r, r.PostFormValue("out"), "Out now", func(n int64) (surgery.Noted, error) { return d.records.TakeOut(r.Context(), n, by) })
		return done, text, 0, err
	}
	n, err := d.noting(r.PostForm)
	if err != nil {
		return done, "", 0, err
	}
	n.By, n.Day = by, ""
	if r.PostFormValue("do") == "in" {
		n.From = d.records.Now()
	}
	if done, err = d.records.Note(r.Context(), n); err != nil {
		return done, "", 0, err
	}
	what, err := d.records.Told(r.Context(), done.Entry)
	return done, "Entered: " + what + ".", done.Entry, err
}

// tappedOn does something with an entry that a button names.
func (d *Desk) tappedOn(r *http.Request, entry, word string, do func(int64) (surgery.Noted, error)) (surgery.Noted, string, error) {
	n, err := strconv.ParseInt(entry, 10, 64)
	if err != nil {
		return surgery.Noted{}, "", fmt.Errorf("%w: it names no entry", errForm)
	}
	what, err := d.records.Told(r.Context(), n)
	if err != nil {
		return surgery.Noted{}, "", err
	}
	done, err := do(n)
	return done, word + ": " + what + ".", err
}
