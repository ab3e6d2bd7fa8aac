package desk

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// The largest thing on the first page is painted soon. The figure is logged; on a busy
// machine it says more of the machine, so that only a slow page fails.
func TestFirstPaint(t *testing.T) {
	ctx := browser(t)
	s := newSite(t).full()
	s.signedIn(t, ctx, s.as("mara"))
	run(t, ctx, "window", look(1280, "light"), chromedp.Navigate(s.server.URL+"/"), chromedp.WaitReady(chromedp.CSS("main")))
	ms := value[float64](t, ctx, `new Promise((done) => new PerformanceObserver((l) => done(l.getEntries().at(-1).startTime)).observe({type: "largest-contentful-paint", buffered: true}))`, chromedp.EvalAwaitPromise)
	t.Logf("largest contentful paint after %.0f ms", ms)
	if ms > 3000 {
		t.Errorf("the largest contentful paint comes after %.0f ms", ms)
	}
	asked := value[[]string](t, ctx, `performance.getEntriesByType("resource").map((e) => new URL(e.name).origin).filter((o) => o !== location.origin && o !== "null")`)
	if len(asked) > 0 {
		t.Errorf("the page asks other addresses: %v", asked)
	}
}
