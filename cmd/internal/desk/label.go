package desk

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// label hands out the label of a load as a PDF.
func (d *Desk) label(w http.ResponseWriter, r *http.Request, _ visitor) error {
	key := r.PathValue("key")
	if _, err := d.records.ShownCycle(r.Context(), key); err != nil {
		return err
	}
	data, err := d.records.Labels(r.Context(), 1, key)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", `attachment; filename="`+url.PathEscape(key)+`-label.pdf"`)
	h.Set("Content-Length", strconv.Itoa(len(data)))
	_, _ = w.Write(data) // a reader that went away is no error of ours
	return nil
}

// trace leads from what is in a person's hand to its cycle.
func (d *Desk) trace(w http.ResponseWriter, r *http.Request, _ visitor) error {
	t, err := d.records.Trace(r.Context(), r.FormValue("id"))
	if err != nil {
		awaited, failed := d.records.Awaited(r.Context(), r.FormValue("id"))
		if failed == nil && awaited != nil { // no record yet: what was entered at the machine
			http.Redirect(w, r, "/entry/"+strconv.FormatInt(awaited.Entry, 10), http.StatusSeeOther)
			return nil
		}
		machine, number := machineAndNumber(r.FormValue("id"))
		known, failed := d.records.Unrecorded(r.Context(), machine, number)
		if failed == nil && len(known) > 0 { // a gap that was explained
			http.Redirect(w, r, "/find?"+url.Values{"machine": {machine}, "number": {number}}.Encode(), http.StatusSeeOther)
			return nil
		}
		return &surgery.Refusal{Why: err.Error(), Instead: "Look for it under Find, by its machine and day."}
	}
	http.Redirect(w, r, "/cycle/"+url.PathEscape(t.Key), http.StatusSeeOther)
	return nil
}

// machineAndNumber reads 1048, S1/1048, S1-1048 or S1 · 1048.
func machineAndNumber(text string) (machine, number string) {
	f := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune("/-· ", r) })
	switch len(f) {
	case 1:
		return "", f[0]
	case 2:
		return strings.ToUpper(f[0]), f[1]
	}
	return "", ""
}
