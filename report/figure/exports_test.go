package figure

import (
	"bytes"
	"io"
	"io/fs"
	"path"
	"strings"
	"testing"

	"holdproof/fixtures"
	"holdproof/parse"
	"holdproof/validate"
)

// Every recording of the fixtures is drawn, in each size, inside its box, and its
// words state the outcome; whatever is wrong with it.
func TestEveryExportIsDrawn(t *testing.T) {
	set, ok := validate.LimitSetNamed("en")
	if !ok {
		t.Fatal("no limit set en")
	}
	rules := validate.Rules{Set: set}
	names, err := fs.Glob(fixtures.Exports(), "*.csv")
	if err != nil || len(names) < 30 {
		t.Fatalf("%d exports (%v)", len(names), err)
	}
	drawn := 0
	for _, name := range names {
		data, err := fs.ReadFile(fixtures.Exports(), name)
		if err != nil {
			t.Fatal(err)
		}
		r, err := parse.Open(path.Base(name), bytes.NewReader(data), parse.Options{})
		if err != nil {
			continue // refused, as its own test says
		}
		for {
			c, err := r.Next()
			if err != nil {
				if err != io.EOF {
					t.Logf("%s: %v", name, err)
				}
				break
			}
			if c.Record == nil {
				continue
			}
			drawn++
			f := Cycle{Record: c.Record, Verdict: validate.Judge(c.Record, rules), Absolute: validate.AbsolutePressure(c.Record, rules.Site)}
			for _, b := range []Box{{0, 0, 170, 54}, {0, 0, 90, 110}} {
				p := &paper{}
				Draw(p, f, b)
				p.within(t, name, b)
			}
			p := &paper{}
			DrawSmall(p, f, Box{1, 1, 20, 8})
			p.within(t, name+", small", Box{0, 0, 22, 10})
			if w := Words(f); !strings.Contains(w, "Outcome: "+f.Verdict.Outcome().String()+".") {
				t.Errorf("%s: %s", name, w)
			}
		}
	}
	if drawn < 40 {
		t.Errorf("%d cycles drawn", drawn)
	}
}

// within checks that lines and words stand in the box.
func (p *paper) within(t *testing.T, what string, b Box) {
	t.Helper()
	for i, line := range p.points {
		for _, q := range line {
			if !(q.X >= b.X-0.01 && q.X <= b.right()+0.01 && q.Y >= b.Y-0.01 && q.Y <= b.bottom()+0.01) {
				t.Errorf("%s: a line of style %+v reaches %v, outside %v", what, p.lines[i], q, b)
				return
			}
		}
	}
	for i, q := range p.places {
		if !(q.X >= b.X-0.01 && q.X <= b.right() && q.Y >= b.Y && q.Y <= b.bottom()) {
			t.Errorf("%s: %q stands at %v, outside %v", what, p.words[i], q, b)
		}
	}
}
