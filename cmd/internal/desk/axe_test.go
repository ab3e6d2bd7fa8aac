package desk

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// axe fetches axe-core, the accessibility checker, by its ordinary client. Where that
// cannot be done the test is skipped, unless CI=true.
func axe(t *testing.T) string {
	t.Helper()
	give := t.Skipf
	if os.Getenv("CI") == "true" {
		give = t.Fatalf
	}
	npm, err := exec.LookPath("npm")
	if err != nil {
		give("npm is not installed, so no page was checked with axe-core")
	}
	dir := t.TempDir()
	c := exec.CommandContext(t.Context(), npm, "install", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix", dir, "axe-core@4.10.3")
	if out, err := c.CombinedOutput(); err != nil {
		give("axe-core could not be fetched, so no page was checked with it: %v %s", err, out)
	}
	text, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// runAxe returns what axe-core finds against WCAG 2.2 A and AA and its own good practice.
const runAxe = `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then((r) =>
	r.violations.map((v) => v.id + ": " + v.help + " " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 200)).join(" | ")).concat(r.passes.length > 10 ? [] : ["too little was checked"]))`

// Every page, in light, dark and narrow, has no finding.
func TestAccessible(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser is slow")
	}
	script := axe(t)
	ctx := browser(t)
	s := newSite(t).full()
	check := func(name, path string) {
		for _, l := range looks {
			run(t, ctx, path, look(l.width, l.scheme), chromedp.Navigate(s.server.URL+path), chromedp.WaitReady(chromedp.CSS("main")))
			value[string](t, ctx, script+"; 'ready'")
			if found := value[[]string](t, ctx, runAxe, chromedp.EvalAwaitPromise); len(found) > 0 {
				t.Errorf("%s, %s:\n%s", name, l.name, strings.Join(found, "\n"))
			}
			// Nothing is cut off at 390 pixels: only tables and figures scroll, by themselves.
			if w := value[int](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); w > 0 {
				t.Errorf("%s, %s: the page is %d pixels wider than the window", name, l.name, w)
			}
		}
	}
	check("sign-in", "/sign-in")
	s.signedIn(t, ctx, s.as("mara"))
	for name, path := range s.pagesToSee() {
		check(name, path)
	}
	check("not there", "/nothing")
}
