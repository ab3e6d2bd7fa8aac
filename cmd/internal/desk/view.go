package desk

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// frame is what every page is made of.
type frame struct {
	Who   visitor
	Path  string // of the page, for the way through the pages
	Title string
	Site  string // name of the surgery; "" for who is not signed in
	Page  any
	// Recalls are the loads being called back; they stand first on every page.
	Recalls []surgery.Shown
}

// MaxUpload is the most that an upload may hold, in bytes.
func (frame) MaxUpload() int { return maxUpload }

// titles of pages, by template.
var titles = map[string]string{
	"sign-in": "Sign in", "today": "Today", "cycle": "Cycle", "days": "Days", "find": "Find", "question": "What an inspector asks",
	"people": "People and machines", "person": "Person", "judging": "How it judges", "drift": "Drift", "inspector": "Session for an inspector",
	"note": "Note what was done", "sheet": "The day’s sheet", "load": "A load at the machine", "entry": "Entry", "entries": "Entries", "reading": "The record",
	"fail": "Not done", "came": "What came in", "draft": "Your draft",
}

func (d *Desk) readPages() (map[string]*template.Template, error) {
	names, err := fs.Glob(files, "page/*.html")
	if err != nil {
		return nil, err
	}
	base, err := template.New("base").Funcs(d.words()).ParseFS(files, "page/base.html", "page/parts.html", "page/fields.html")
	if err != nil {
		return nil, err
	}
	out := map[string]*template.Template{}
	for _, name := range names {
		short := strings.TrimSuffix(path.Base(name), ".html")
		if short == "base" || short == "parts" || short == "fields" {
			continue
		}
		t, err := base.Clone()
		if err == nil {
			t, err = t.ParseFS(files, name)
		}
		if err != nil {
			return nil, err
		}
		out[short] = t
	}
	return out, nil
}

// show writes a page. It is made whole before a byte is sent, so that half a page is
// never seen.
func (d *Desk) show(w http.ResponseWriter, r *http.Request, v visitor, page string, code int, data any) error {
	f := frame{Who: v, Path: r.URL.Path, Title: titles[page], Page: data}
	if v.In() && !v.Locked {
		f.Site = d.records.Configuration().Site.Name
		var err error
		if f.Recalls, err = d.records.ShownCycles(r.Context(), surgery.ShownQuery{Recalled: true}); err != nil {
			d.log(err) // the page that says so must not fail as well
		}
		// On the page of a load that is called back its headline says so.
		f.Recalls = slices.DeleteFunc(f.Recalls, func(s surgery.Shown) bool { return page == "cycle" && r.PathValue("key") == s.Key })
	}
	if t, ok := data.(interface{ Title() string }); ok {
		f.Title = t.Title()
	}
	var b bytes.Buffer
	if err := d.pages[page].ExecuteTemplate(&b, "base", f); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && b.Len() > 2<<10 {
		h.Set("Content-Encoding", "gzip")
		w.WriteHeader(code)
		z, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
		if err != nil {
			return err
		}
		_, _ = z.Write(b.Bytes()) // a reader that went away is no error of ours
		_ = z.Close()
		return nil
	}
	w.WriteHeader(code)
	_, _ = w.Write(b.Bytes())
	return nil
}

// failure is the page of something that was not done.
type failure struct{ Why, Instead, Back string }

// fail says why something was not done. What only a program can use goes to the log.
func (d *Desk) fail(w http.ResponseWriter, r *http.Request, v visitor, err error) {
	f, code := d.failure(err)
	if !v.Locked && !errors.Is(err, errForbidden) {
		d.keepForm(r, v)
	}
	if r.Method != http.MethodGet && v.In() {
		f.Back = inside(refererPath(r))
	}
	if v.Locked {
		v = visitor{}
	}
	if again := d.show(w, r, v, "fail", code, f); again != nil {
		d.log(again)
		http.Error(w, "The page could not be made.", http.StatusInternalServerError)
	}
}

func (d *Desk) failure(err error) (failure, int) {
	var no *surgery.Refusal
	var big *http.MaxBytesError
	switch {
	case errors.Is(err, errNotThere), errors.Is(err, surgery.ErrNotKept):
		return failure{Why: "There is no such page, or what it shows is not in the logbook.", Instead: "Look for it under Find."}, http.StatusNotFound
	case errors.Is(err, errForbidden):
		return failure{Why: "This is not yours to do.", Instead: "Ask somebody who has the role, or sign in as that person."}, http.StatusForbidden
	case errors.Is(err, errSlow):
		return failure{Why: "The file stopped coming, and nothing of it was kept.", Instead: "Try again. If it stops again, copy the file to this computer first."}, http.StatusRequestTimeout
	case errors.As(err, &big):
		return failure{Why: fmt.Sprintf("That is more than %d MB, and nothing of it was kept.", maxUpload>>20),
			Instead: "Export fewer cycles at a time, or import the file with holdproof import at this computer."}, http.StatusRequestEntityTooLarge
	case surgery.IsStale(err):
		return failure{Why: "Somebody else acted first, so nothing was done.", Instead: "Go back and look at it as it is now. What you wrote still stands in the form."}, http.StatusConflict
	case errors.As(err, &no):
		return failure{Why: sentence(no.Why), Instead: onPages(no.Instead)}, http.StatusConflict
	case errors.Is(err, errForm):
		return failure{Why: sentence(err.Error()), Instead: "Go back and fill it in."}, http.StatusBadRequest
	case errors.Is(err, context.Canceled):
		return failure{Why: "The request was broken off."}, 499
	case wrongPassphrase(err):
		return failure{Why: "The passphrase does not open the key, so nothing was done.", Instead: "Go back and type it again."}, http.StatusForbidden
	}
	d.log(err)
	return failure{Why: "This could not be done: " + sentence(err.Error()), Instead: surgery.Remedy(err)}, http.StatusInternalServerError
}

// errForm says that a form lacks something.
var errForm = errors.New("the form is not complete")

// wrongPassphrase tells whether that is what was wrong.
func wrongPassphrase(err error) bool {
	return err != nil && strings.Contains(err.Error(), "the passphrase does not open this key")
}

// onPages leaves out an advice that only helps at a terminal.
func onPages(text string) string {
	if strings.Contains(text, "--") || strings.Contains(text, "holdproof ") {
		return ""
	}
	return text
}
