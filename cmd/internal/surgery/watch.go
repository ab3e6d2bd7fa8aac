package surgery

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Watching are folders whose exports are taken as they come.
type Watching struct {
	Folders []string
	Every   time.Duration       // between two looks; 0 for [watchEvery]
	Say     func(text string)   // once each: a folder that went away or came back
	Looked  func(away []string) // after each look that came to its end, with the folders that cannot be read; may be nil
	Wait    func(context.Context, time.Duration) error
}

// How patient a watch is (ours): a file must have stood still for as long, and a
// recorder that writes a row a minute is still writing.
const (
	watchEvery = 3 * time.Second
	stillFor   = 2 // looks in a row
)

// Watch takes exports from folders until ctx ends. A file is taken when its size and
// time stood still over two looks and its last line is complete; one whose last line
// never is, after a minute. The same bytes are never taken twice. A folder that goes
// away, such as a share, is said once and tried again at every look.
//
// Error: the logbook's, the importer's. That ctx ended is none.
func (r *Records) Watch(ctx context.Context, o Watching, to Importer, after func([]Between) error) error {
	if o.Every == 0 {
		o.Every = watchEvery
	}
	if o.Wait == nil {
		o.Wait = wait
	}
	w := &watch{r: r, o: o, seen: map[string]*watched{}, away: map[string]bool{}}
	for {
		ready := w.look()
		if len(ready) > 0 {
			across, err := r.Import(ctx, Arriving{Paths: ready, Via: ViaWatch, skipKept: true}, &patient{Importer: to, w: w})
			if ctx.Err() != nil {
				return nil
			}
			if err != nil {
				return err
			}
			if err := after(across); err != nil {
				return err
			}
		}
		if o.Looked != nil {
			o.Looked(slices.Sorted(maps.Keys(w.away)))
		}
		if err := o.Wait(ctx, o.Every); err != nil {
			return nil
		}
	}
}

func wait(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}

type watch struct {
	r    *Records
	o    Watching
	seen map[string]*watched
	away map[string]bool // folders that cannot be read now
}

// watched is a file as it was at the last look.
type watched struct {
	size  int64
	at    time.Time
	still int // looks in a row at which it was the same
	taken bool
	// failed says that it could not be kept, and that this was said.
	failed bool
}

// patient passes on what an import says, and has files that could not be kept tried
// again in a minute; of each that is said once.
type patient struct {
	Importer
	w *watch
}

func (p *patient) File(f Imported) error {
	s := p.w.seen[f.Name]
	if f.Kept || s == nil {
		return p.Importer.File(f)
	}
	said := s.failed
	s.taken, s.failed, s.still = false, true, -lookAnyway
	if said {
		return nil
	}
	return p.Importer.File(f)
}

// lookAnyway is after how many looks a file is taken whose last line has no end (ours).
const lookAnyway = 20

// look returns the files that are complete and were not taken as they are.
func (w *watch) look() []string {
	var ready []string
	for _, folder := range w.o.Folders {
		entries := exportsOf(folder)
		if _, err := os.ReadDir(folder); err != nil {
			if !w.away[folder] {
				w.away[folder] = true
				w.say("%s cannot be read (%v). It is tried again until it can.", folder, plainPath(err))
			}
			continue
		}
		if w.away[folder] {
			delete(w.away, folder)
			w.say("%s can be read again.", folder)
		}
		for _, e := range entries {
			if e.problem == nil && w.complete(e.name) {
				ready = append(ready, e.name)
			}
		}
	}
	return ready
}

func (w *watch) say(format string, args ...any) {
	if w.o.Say != nil {
		w.o.Say(fmt.Sprintf(format, args...))
	}
}

// complete tells whether a file is to be taken now.
func (w *watch) complete(name string) bool {
	info, err := os.Stat(name)
	if err != nil || info.Size() == 0 {
		return false
	}
	s := w.seen[name]
	if s == nil || s.size != info.Size() || !s.at.Equal(info.ModTime()) {
		w.seen[name] = &watched{size: info.Size(), at: info.ModTime()}
		return false
	}
	s.still++
	if s.taken || s.still < stillFor || s.still < lookAnyway && !endsInLine(name, info.Size()) {
		return false
	}
	s.taken = true
	return true
}

// endsInLine tells whether the last line of a file has its end; UTF-16 has a zero
// beside it.
func endsInLine(name string, size int64) bool {
	f, err := os.Open(name)
	if err != nil {
		return false
	}
	defer f.Close()
	last := make([]byte, min(2, size))
	if _, err := f.ReadAt(last, size-int64(len(last))); err != nil && !errors.Is(err, io.EOF) {
		return false
	}
	return strings.ContainsAny(string(last), "\r\n")
}

// WatchFolders are what to watch: those that were named, else those of the configuration,
// which count from the site's folder.
func (r *Records) WatchFolders(named []string) ([]string, error) {
	folders := named
	if len(folders) == 0 {
		for _, f := range r.settings.Value.Watch {
			if !filepath.IsAbs(f) {
				f = filepath.Join(r.dir, f)
			}
			folders = append(folders, f)
		}
	}
	if len(folders) == 0 {
		return nil, errors.New("no folder to watch: name one, or add it under watch in holdproof.yaml")
	}
	for _, f := range folders {
		info, err := os.Stat(f)
		if errors.Is(err, fs.ErrNotExist) {
			continue // a share that is away now may come
		}
		if err == nil && !info.IsDir() {
			return nil, fmt.Errorf("%s is a file, expected a folder; import it without --watch", f)
		}
	}
	return folders, nil
}
