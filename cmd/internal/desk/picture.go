package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"strings"
	"sync"

	"golang.org/x/sync/singleflight"

	"holdproof/cmd/internal/surgery"
	"holdproof/report/figure"
)

// memory keeps what is slow to make, since an export must be read again for it. When it
// is full it forgets all. The settings do not change while a desk is served, so that a
// key of verdict or file is enough.
type memory[T any] struct {
	most int
	mu   sync.Mutex
	of   map[string]T
	once singleflight.Group // ten readers at once make it once
}

func newMemory[T any](most int) *memory[T] { return &memory[T]{most: most, of: map[string]T{}} }

// get returns what is kept under a key, or makes and keeps it.
func (m *memory[T]) get(key string, create func() (T, error)) (T, error) {
	m.mu.Lock()
	v, there := m.of[key]
	m.mu.Unlock()
	if there {
		return v, nil
	}
	made, err, _ := m.once.Do(key, func() (any, error) {
		v, err := create()
		if err == nil {
			m.put(key, v)
		}
		return v, err
	})
	return made.(T), err
}

func (m *memory[T]) put(key string, v T) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.of) >= m.most {
		clear(m.of)
	}
	m.of[key] = v
}

func (m *memory[T]) has(key string) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	_, there := m.of[key]
	return there
}

// How many are kept (ours): small figures of 4 kB, large ones of 60 kB, and how files
// were read, 2 kB.
const (
	mostSmall   = 2000
	mostLarge   = 100
	mostReadAs  = 500
	mostAnswers = 20 // periods with the answers to all questions
)

// mostReviews is how many answers to what waits are kept: the newest is asked for again,
// older ones never.
const mostReviews = 4

// drawing is a large figure, or why there is none.
type drawing struct {
	svg     template.HTML
	missing string
}

// The small figures of lists in mm.
const smallWide, smallHigh = 26, 8

// small is the small figure of a cycle; nothing if it cannot be drawn. It is drawn from
// the verdict; where that keeps no sketch, from the export and once. A verdict that is
// made anew has another number, and another picture.
func (d *Desk) small(s surgery.Shown) template.HTML {
	if svg, is := d.records.Small(s, smallWide, smallHigh); is {
		return template.HTML(svg) // words in it are escaped by figure
	}
	svg, err := d.smalls.get(pictureKey(s), func() (template.HTML, error) {
		c, err := d.records.Drawn(context.Background(), s.Key)
		return smallOf(c), err
	})
	if err != nil {
		d.log(err)
	}
	return svg
}

func pictureKey(s surgery.Shown) string { return fmt.Sprint(s.Key, " ", s.VerdictEntry) }

func smallOf(c surgery.Drawn) template.HTML {
	if c.Record == nil || c.Missing != "" {
		return ""
	}
	return template.HTML(figure.SmallSVG(c.Cycle, smallWide, smallHigh)) // words in it are escaped by figure
}

// draw makes the small figures of many cycles whose verdicts have no sketch and that are
// not kept yet, and reads each export once for all of them.
func (d *Desk) draw(ctx context.Context, list []surgery.Shown) {
	var keys []string
	under := map[string]string{}
	for _, s := range list {
		if s.Verdict != nil && s.Verdict.Sketch != nil {
			continue
		}
		if at := pictureKey(s); !d.smalls.has(at) {
			keys, under[s.Key] = append(keys, s.Key), at
		}
	}
	if len(keys) == 0 {
		return
	}
	_, err, _ := d.drawing.Do(strings.Join(keys, " "), func() (any, error) {
		return nil, d.records.DrawnAll(context.WithoutCancel(ctx), keys, func(key string, c surgery.Drawn) { d.smalls.put(under[key], smallOf(c)) })
	})
	if err != nil {
		d.log(err) // each is tried by itself when it is shown
	}
}

// large is the large figure of a cycle, or why there is none.
func (d *Desk) large(r *http.Request, s surgery.Shown) (template.HTML, string, error) {
	got, err := d.larges.get(pictureKey(s), func() (drawing, error) {
		c, err := d.records.Drawn(context.WithoutCancel(r.Context()), s.Key)
		if err != nil || c.Missing != "" {
			return drawing{missing: c.Missing}, err
		}
		return drawing{svg: template.HTML(figure.SVG(c.Cycle, 190, 74))}, nil // words in it are escaped by figure
	})
	return got.svg, got.missing, err
}

// readAs says how the export of a cycle was read.
func (d *Desk) readAs(r *http.Request, s surgery.Shown) []string {
	if len(s.Sources) == 0 {
		return nil
	}
	lines, err := d.reads.get(s.Sources[0].SHA256, func() ([]string, error) { return d.records.ReadAs(context.WithoutCancel(r.Context()), s) })
	if err != nil {
		return []string{"The export cannot be read as it is: " + err.Error()}
	}
	return lines
}

// readings are what a pointer on the large figure reads out.
func (d *Desk) readings(w http.ResponseWriter, r *http.Request, _ visitor) error {
	c, err := d.records.Drawn(r.Context(), r.PathValue("key"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(c.Readout())
}
