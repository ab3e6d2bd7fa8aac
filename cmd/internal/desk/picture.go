package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"sync"

	"holdproof/cmd/internal/surgery"
	"holdproof/report/figure"
)

// pictures keeps small figures that were drawn, since each needs its export read again.
// A verdict that is made anew has another number, and another picture.
type pictures struct {
	mu sync.Mutex
	of map[string]template.HTML
}

// mostPictures bounds the memory: 3 kB each (ours).
const mostPictures = 4000

func newPictures() *pictures { return &pictures{of: map[string]template.HTML{}} }

// small is the small figure of a cycle; nothing if it cannot be drawn.
func (d *Desk) small(s surgery.Shown) template.HTML {
	p, key := d.pictures, fmt.Sprint(s.Key, " ", s.VerdictEntry)
	p.mu.Lock()
	svg, there := p.of[key]
	p.mu.Unlock()
	if there {
		return svg
	}
	c, err := d.records.Drawn(context.Background(), s.Key)
	if err != nil {
		d.log(err)
		return ""
	}
	if c.Missing == "" {
		svg = template.HTML(figure.SmallSVG(c.Cycle, 26, 8)) // words in it are escaped by figure
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.of) >= mostPictures {
		clear(p.of)
	}
	p.of[key] = svg
	return svg
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
