package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"time"

	"holdproof/cmd/internal/surgery"
)

// daysData is the calendar of a month.
type daysData struct {
	Month         time.Time
	Weeks         [][]surgery.MonthDay // Monday first; a day outside the month has no date
	Before, After string
	Today         string
}

// Title names the month.
func (c daysData) Title() string { return "Days, " + c.Month.Format("January 2006") }

func (d *Desk) days(w http.ResponseWriter, r *http.Request, v visitor) error {
	month, err := time.Parse("2006-01", r.FormValue("month"))
	if err != nil {
		month = d.records.Now()
	}
	list, err := d.records.Month(r.Context(), month)
	if err != nil {
		return err
	}
	data := daysData{Month: month, Before: month.AddDate(0, 0, -month.Day()).Format("2006-01"), Today: d.records.Today()}
	if next := time.Date(month.Year(), month.Month()+1, 1, 0, 0, 0, 0, time.UTC); next.Format(time.DateOnly) <= data.Today {
		data.After = next.Format("2006-01")
	}
	week := make([]surgery.MonthDay, 0, 7)
	for range (int(list[0].Date.Weekday()) + 6) % 7 {
		week = append(week, surgery.MonthDay{})
	}
	for _, day := range list {
		if week = append(week, day); len(week) == 7 {
			data.Weeks, week = append(data.Weeks, week), nil
		}
	}
	if len(week) > 0 {
		for len(week) < 7 {
			week = append(week, surgery.MonthDay{})
		}
		data.Weeks = append(data.Weeks, week)
	}
	return d.show(w, r, v, "days", http.StatusOK, data)
}

// neighbours are the day before and the one after, "" if that lies ahead.
func neighbours(date, today string) (before, after string) {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return "", ""
	}
	before = t.AddDate(0, 0, -1).Format(time.DateOnly)
	if after = t.AddDate(0, 0, 1).Format(time.DateOnly); after > today {
		after = ""
	}
	return before, after
}

// record hands out the newest signed record of a day.
func (d *Desk) record(w http.ResponseWriter, r *http.Request, _ visitor) error {
	path, name, err := d.records.RecordOf(r.Context(), r.PathValue("day"))
	if err != nil {
		return err
	}
	attach(w, name, "application/pdf")
	return handRecord(w, r, path)
}

// handRecord hands out the file of a signed record; its headings are set.
func handRecord(w http.ResponseWriter, r *http.Request, path string) error {
	f, err := os.Open(path)
	if err != nil {
		w.Header().Del("Content-Disposition")
		return fmt.Errorf("the record is not where it was put: %w", err)
	}
	defer f.Close()
	http.ServeContent(w, r, "", time.Time{}, f)
	return nil
}

// draft draws the record of a day as it is now, without a signature.
func (d *Desk) draft(w http.ResponseWriter, r *http.Request, _ visitor) error {
	rec, err := d.records.Day(r.Context(), r.PathValue("day"))
	if err != nil {
		return surgery.ErrNotKept
	}
	pdf, err := rec.Preview()
	if err != nil {
		return err
	}
	attach(w, r.PathValue("day")+" not signed.pdf", "application/pdf")
	_, _ = w.Write(pdf)
	return nil
}

// mayNotSign says why a form to sign the day is not offered to the visitor.
func (d *Desk) mayNotSign(r *http.Request, v visitor, day surgery.DayShown) (prepare, review string, err error) {
	if day.Date > d.records.Today() {
		prepare = "This day has not come yet. It is signed when it has ended."
	}
	if !v.Lead() || day.Stands.PreparedEntry == 0 || day.Stands.ReviewedEntry != 0 || day.Stands.Due() {
		return prepare, "", nil
	}
	if day.Stands.Revision > 0 && day.Signing.Second == "none" {
		return prepare, "", nil
	}
	review, err = d.records.MayReview(r.Context(), day.Date, v.Person)
	return prepare, sentence(review), err
}

// sign and countersign open the key of the visitor for this one request; the passphrase
// is not kept, and stands in no log.
func (d *Desk) sign(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.signing(w, r, v, func(by surgery.Proof) (surgery.Signed, error) {
		return d.records.Prepare(r.Context(), surgery.Signing{Date: r.PathValue("day"), By: by, Reason: reason(r.PostForm)})
	})
}

func (d *Desk) countersign(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.signing(w, r, v, func(by surgery.Proof) (surgery.Signed, error) {
		return d.records.Countersign(r.Context(), r.PathValue("day"), by)
	})
}

func (d *Desk) signing(w http.ResponseWriter, r *http.Request, v visitor, do func(surgery.Proof) (surgery.Signed, error)) error {
	if day(r.PathValue("day")) == "" {
		return errNotThere
	}
	if err := r.ParseForm(); err != nil {
		return err
	}
	if wait := d.brake.wait(v.Person); wait > 0 {
		return fmt.Errorf("%w: the passphrase did not fit several times; wait %s", errForm, lasting(wait.Seconds()+1))
	}
	d.keys <- struct{}{}
	done, err := do(surgery.Proof{Person: v.Person, Passphrase: func() (string, error) { return r.PostFormValue("passphrase"), nil }})
	<-d.keys
	if err != nil {
		if wrongPassphrase(err) {
			d.brake.failed(v.Person)
		}
		return err
	}
	d.brake.fits(v.Person)
	d.say(r, fmt.Sprintf("Signed by %s as %s. The record is revision %d of the day.", done.Name, done.Meaning, done.Revision))
	http.Redirect(w, r, "/day/"+url.PathEscape(r.PathValue("day")), http.StatusSeeOther)
	return nil
}
