package desk

import (
	"fmt"
	"mime"
	"net/http"
	"os"
	"time"

	"holdproof/cmd/internal/surgery"
)

// pdfPolicy is that of a record which the browser shows itself: its viewer may draw it,
// and nothing in it may ask for or run anything.
const pdfPolicy = "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// recordInline shows the newest signed record of a day in the browser instead of
// keeping it as a file.
func (d *Desk) recordInline(w http.ResponseWriter, r *http.Request, _ visitor) error {
	path, name, err := d.records.RecordOf(r.Context(), r.PathValue("day"))
	if err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("the record is not where it was put: %w", err)
	}
	defer f.Close()
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", mime.FormatMediaType("inline", map[string]string{"filename": name}))
	h.Set("Content-Security-Policy", pdfPolicy)
	http.ServeContent(w, r, "", time.Time{}, f)
	return nil
}

// readingData is a signed record to read as a page.
type readingData struct{ surgery.RecordRead }

// Title names the record.
func (r readingData) Title() string { return "The record of " + dayWords(r.Date) }

// Called is what people call a cycle of the record; one that is not in it keeps its id.
func (r readingData) Called(id string) string {
	for _, c := range r.Cycles {
		if c.ID == id {
			return c.Steriliser + " · " + c.Number
		}
	}
	return id
}

// reading shows what stands in the file of the newest signed record of a day: not what
// the logbook says by now.
func (d *Desk) reading(w http.ResponseWriter, r *http.Request, v visitor) error {
	rec, err := d.records.ReadRecord(r.Context(), r.PathValue("day"))
	if err != nil {
		return err
	}
	return d.show(w, r, v, "reading", http.StatusOK, readingData{rec})
}
