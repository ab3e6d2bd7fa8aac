package desk

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// cutOff are the tables of a page that are wider than their room, by what they hold.
const cutOff = `[...document.querySelectorAll(".wide")].filter((e) => e.scrollWidth > e.clientWidth + 1).map((e) => e.getAttribute("aria-label") + " by " + (e.scrollWidth - e.clientWidth))`

// No table is cut off on a telephone, nor where a wide window shows everything at 200 %:
// its rows stack, the days of a month become a list.
func TestTablesFit(t *testing.T) {
	ctx := browser(t)
	s := newSite(t).full()
	s.signedIn(t, ctx, s.as("mara"))
	paths := s.pagesToSee()
	for _, n := range []string{"1", "3", "4", "5", "8", "9", "11"} {
		paths["question-"+n] = "/question/" + n + "?from=2026-11-01&to=2026-11-02"
	}
	for name, path := range paths {
		for _, width := range []int64{390, 640} {
			run(t, ctx, path, look(width, "light"), chromedp.Navigate(s.server.URL+path), chromedp.WaitReady(chromedp.CSS("main")))
			if cut := value[[]string](t, ctx, cutOff); len(cut) > 0 {
				t.Errorf("%s at %d: cut off: %s", name, width, strings.Join(cut, ", "))
			}
		}
	}
	path := "/days"
	run(t, ctx, path, look(390, "light"), chromedp.Navigate(s.server.URL+path), chromedp.WaitReady(chromedp.CSS("main")))
	if text := value[string](t, ctx, `document.querySelector("[aria-current=date]").innerText`); !strings.Contains(text, "2 Mon") || !strings.Contains(text, "cycles") {
		t.Errorf("a day in the list of a month says %q", text)
	}
	if weight := value[string](t, ctx, `getComputedStyle(document.querySelector("[aria-current=date] .in-day")).fontWeight`); weight != "700" {
		t.Errorf("a day that is open stands out by weight %s, want 700", weight)
	}
}
