package desk

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"holdproof/cmd/internal/surgery"
)

// cameIn is what one upload came to.
type cameIn struct {
	Person  string
	Files   []fileIn
	Between []surgery.Between
}

// Bad tells whether any file could not be read in full.
func (c *cameIn) Bad() bool {
	for _, f := range c.Files {
		if len(f.Problems) > 0 {
			return true
		}
	}
	return false
}

// fileIn is one file of it.
type fileIn struct {
	Name     string
	Kept     bool
	Cycles   int
	New      int // of them not kept before, or longer now
	Days     []string
	Problems []surgery.Problem
	Recalls  []string
	Due      []string
}

// receiver gathers what an import says.
type receiver struct {
	out  cameIn
	now  []surgery.Arrival
	zone *time.Location
}

func (c *receiver) Cycle(a surgery.Arrival) error { c.now = append(c.now, a); return nil }
func (c *receiver) Again() error                  { c.now = nil; return nil }
func (c *receiver) File(f surgery.Imported) error {
	in := fileIn{Name: filepath.Base(f.Name), Kept: f.Kept, Cycles: f.Cycles, Problems: f.Problems, Recalls: f.Recalls, Due: f.Due}
	for _, a := range c.now {
		if a.News() {
			in.New++
		}
		day := a.Header.Start.In(c.zone).Format(time.DateOnly)
		if len(in.Days) == 0 || in.Days[len(in.Days)-1] != day {
			in.Days = append(in.Days, day)
		}
	}
	c.now = nil
	c.out.Files = append(c.out.Files, in)
	return nil
}

// arrivals keeps what came in for the page that follows an upload.
type arrivals struct {
	mu    sync.Mutex
	of    map[string]*cameIn
	order []string
}

// mostArrivals is how many uploads are remembered (ours).
const mostArrivals = 50

func newArrivals() *arrivals { return &arrivals{of: map[string]*cameIn{}} }

func (a *arrivals) put(c *cameIn) string {
	id := rand.Text()
	a.mu.Lock()
	defer a.mu.Unlock()
	a.of[id] = c
	a.order = append(a.order, id)
	if len(a.order) > mostArrivals {
		delete(a.of, a.order[0])
		a.order = a.order[1:]
	}
	return id
}

func (a *arrivals) get(id, person string) *cameIn {
	a.mu.Lock()
	defer a.mu.Unlock()
	if c := a.of[id]; c != nil && c.Person == person {
		return c
	}
	return nil
}

// upload takes files as they come, a piece at a time, and imports each.
func (d *Desk) upload(w http.ResponseWriter, r *http.Request, v visitor) error {
	parts, err := r.MultipartReader()
	if err != nil {
		return fmt.Errorf("%w: no file came with it", errForm)
	}
	folder, err := os.MkdirTemp("", spoolName+"*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	begun, late := time.Now(), http.NewResponseController(w)
	names, err := spool(parts, folder, func() { _ = late.SetReadDeadline(d.patience.until(begun, time.Now())) })
	if err != nil {
		return err
	}
	if len(names) == 0 {
		return fmt.Errorf("%w: choose a file", errForm)
	}
	d.files.Lock()
	defer d.files.Unlock()
	to := &receiver{zone: d.records.Zone(), out: cameIn{Person: v.Person}}
	if to.out.Between, err = d.records.Import(r.Context(), surgery.Arriving{Paths: names, Via: surgery.ViaDesk}, to); err != nil {
		return err
	}
	at := "/?came=" + url.QueryEscape(d.came.put(&to.out))
	http.Redirect(w, r, at, http.StatusSeeOther)
	return nil
}

// spoolName begins the names of folders in which uploads are put down until they are kept.
const spoolName = "holdproof-desk-"

// sweep removes what an upload left behind whose desk was killed: no upload lasts a day.
func sweep() {
	left, err := filepath.Glob(filepath.Join(os.TempDir(), spoolName+"*"))
	if err != nil {
		return
	}
	for _, folder := range left {
		if info, err := os.Lstat(folder); err == nil && info.IsDir() && time.Since(info.ModTime()) > 24*time.Hour {
			_ = os.RemoveAll(folder) // what cannot be removed harms nothing
		}
	}
}

// spool writes the files of an upload into a folder of their own. A file keeps the last
// part of its name and gets a folder for itself, so that no name reaches another place.
// came is called after each piece, and moves on the time by which the next must be there.
func spool(parts *multipart.Reader, folder string, came func()) ([]string, error) {
	var names []string
	for {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return names, nil
		}
		if err != nil {
			return nil, slow(err)
		}
		if p.FormName() != "file" || p.FileName() == "" {
			continue
		}
		place := filepath.Join(folder, fmt.Sprint(len(names)))
		if err := os.Mkdir(place, 0o700); err != nil {
			return nil, err
		}
		name := filepath.Join(place, plainName(p.FileName()))
		if err := copyTo(name, p, came); err != nil {
			return nil, slow(err)
		}
		names = append(names, name)
	}
}

func copyTo(name string, from io.Reader, came func()) error {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	buf := make([]byte, 256<<10)
	for {
		n, err := from.Read(buf)
		if _, failed := f.Write(buf[:n]); failed != nil {
			return errors.Join(failed, f.Close())
		}
		if errors.Is(err, io.EOF) {
			return f.Close()
		}
		if err != nil {
			return errors.Join(err, f.Close())
		}
		came()
	}
}

func slow(err error) error {
	var timeout interface{ Timeout() bool }
	if errors.As(err, &timeout) && timeout.Timeout() || errors.Is(err, io.ErrUnexpectedEOF) {
		return errSlow
	}
	return err
}

// plainName is what is left of a file's name: its last part, without what some file
// systems give a meaning.
func plainName(name string) string {
	name = filepath.Base(strings.ReplaceAll(name, `\`, "/"))
	name = strings.Map(func(r rune) rune {
		if r < 0x20 || strings.ContainsRune(`<>:"/\|?*`, r) {
			return '_'
		}
		return r
	}, strings.ToValidUTF8(name, "_"))
	name = strings.TrimLeft(name, ".")
	if len(name) > 120 {
		name = strings.ToValidUTF8(name[len(name)-120:], "_")
	}
	if name == "" {
		return "export"
	}
	return name
}
