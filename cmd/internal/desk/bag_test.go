package desk

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"holdproof/cmd/internal/surgery"
)

// packed makes a bag of the invented day and the days around it.
func (s *site) packed() (data string) {
	s.t.Helper()
	c := s.full().as("lea")
	s.readTests(c)
	if r := c.post("/note", "duty", "closed day", "day", "2026-11-01", "text", "Closed on Sundays."); r.code != http.StatusSeeOther {
		s.t.Fatal(r.text())
	}
	if r := c.post("/day/2026-11-02/sign", "reason", "1048 was not exported", "passphrase", word("lea")); r.code != http.StatusSeeOther {
		s.t.Fatal(r.text())
	}
	out := filepath.Join(s.t.TempDir(), "a bag")
	if _, err := s.records.Bag(s.t.Context(), surgery.Bagging{From: "2026-10-30", To: "2026-11-02", Out: out}); err != nil {
		s.t.Fatal(err)
	}
	return filepath.Join(out, "data")
}

var hrefs = regexp.MustCompile(`(?:href|src|action|url\()=?"?'?([^"' )>]*)`)

// Every link on the pages of a bag leads to something in it, and nothing to elsewhere.
func TestBagLinks(t *testing.T) {
	data := newSite(t).packed()
	pages, err := filepath.Glob(filepath.Join(data, "days", "*.html"))
	if err != nil || len(pages) != 2 {
		t.Fatalf("%v, %v", pages, err)
	}
	links := 0
	for _, page := range append(pages, filepath.Join(data, "index.html")) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, never := range []string{"<script", "http:", "https:", "//", "@import", "javascript:"} {
			if rest := strings.ReplaceAll(string(text), "http://www.w3.org/2000/svg", ""); strings.Contains(rest, never) {
				t.Errorf("%s holds %q", filepath.Base(page), never)
			}
		}
		for _, m := range hrefs.FindAllStringSubmatch(string(text), -1) {
			to, err := url.Parse(m[1])
			if err != nil || to.IsAbs() {
				t.Errorf("%s leads to %q", filepath.Base(page), m[1])
				continue
			}
			links++
			file := page
			if to.Path != "" {
				file = filepath.Join(filepath.Dir(page), filepath.FromSlash(to.Path))
			}
			there, err := os.ReadFile(file)
			if err != nil || !strings.HasPrefix(file, data) {
				t.Errorf("%s leads to %q: %v", filepath.Base(page), m[1], err)
				continue
			}
			if to.Fragment != "" && !strings.Contains(string(there), ` id="`+to.Fragment+`"`) {
				t.Errorf("%s leads to %q, and there is no such place", filepath.Base(page), m[1])
			}
		}
	}
	if links < 60 {
		t.Errorf("only %d links were found", links)
	}
	day, err := os.ReadFile(filepath.Join(data, "days", "2026-11-02.html"))
	if err != nil || strings.Count(string(day), `class="hp-figure"`) != 15 || strings.Count(string(day), "<article") != 15 {
		t.Errorf("%d figures of 15 cycles, %v", strings.Count(string(day), `class="hp-figure"`), err)
	}
	for _, want := range []string{"Do not use this load. Repack it and run it again.", "Cycle 1048 is missing on S1", "../records/2026-11-02.pdf", "read by Lea Marsh"} {
		if !strings.Contains(string(day), want) {
			t.Errorf("the day does not say %q", want)
		}
	}
}

// The pages of a bag open from the file system, without anything from elsewhere, in light,
// dark and narrow, without a finding of axe-core.
func TestBagAccessible(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser is slow")
	}
	script := axe(t)
	ctx := browser(t)
	data := newSite(t).packed()
	for _, name := range []string{"index.html", "days/2026-11-02.html", "days/2026-11-01.html"} {
		at := (&url.URL{Scheme: "file", Path: filepath.ToSlash(filepath.Join(data, name))}).String()
		for _, l := range looks {
			run(t, ctx, name, look(l.width, l.scheme), chromedp.Navigate(at), chromedp.WaitReady(chromedp.CSS("main")))
			value[string](t, ctx, script+"; 'ready'")
			if found := value[[]string](t, ctx, runAxe, chromedp.EvalAwaitPromise); len(found) > 0 {
				t.Errorf("%s, %s:\n%s", name, l.name, strings.Join(found, "\n"))
			}
			if w := value[int](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); w > 0 {
				t.Errorf("%s, %s: the page is %d pixels wider than the window", name, l.name, w)
			}
			if n := value[int](t, ctx, `performance.getEntriesByType("resource").length`); n > 0 {
				t.Errorf("%s asks for %d things", name, n)
			}
		}
	}
	// From a question to the record of a load in three presses.
	h := &hand{t: t, ctx: ctx}
	run(t, ctx, "wide", look(1280, "light"), chromedp.Navigate((&url.URL{Scheme: "file", Path: filepath.ToSlash(filepath.Join(data, "index.html"))}).String()))
	h.press("Which cycles failed")
	h.press("S1 · 1045")
	h.says("What does not conform")
	if text := value[string](t, ctx, "document.querySelector(':target').textContent"); !strings.Contains(text, "Do not use this load.") {
		t.Errorf("the load that was asked for: %s", text)
	}
	h.press("Tern Quay Surgery")
	h.says("What an inspector asks")
}
