package desk

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// Two browsers decide on one load at once: the second is told that it changed, sees how it
// stands now, and finds what was written.
func TestTwoBrowsers(t *testing.T) {
	s := newSite(t).full()
	key := s.key("S1", "1045")
	hands := map[string]*hand{}
	for _, who := range []string{"lea", "mara"} {
		h := &hand{t: t, ctx: browser(t)}
		s.signedIn(t, h.ctx, s.as(who))
		run(t, h.ctx, "the load", look(1280, "light"), chromedp.Navigate(s.server.URL+"/cycle/"+key), chromedp.WaitReady(chromedp.CSS("main")))
		hands[who] = h
	}
	first, second := hands["lea"], hands["mara"]
	first.choose("Quarantine")
	second.choose("Send back")
	value[bool](t, second.ctx, `(() => { const e = document.querySelector("[data-decide] [name=reason]"); e.value = "the seal was torn"; return true })()`)
	first.press("Enter this decision")
	first.says("S1 · 1045 is in quarantine")
	second.press("Enter this decision")
	second.says("Somebody else acted first, so nothing was done.")
	second.press("Go back")
	second.says("Put in quarantine")
	if got := value[string](t, second.ctx, `document.querySelector("[data-decide] [name=reason]").value`); got != "the seal was torn" {
		t.Errorf("what was written is gone: %q", got)
	}
	second.press("Enter this decision") // the choice is still made
	second.says("S1 · 1045 is sent back")
}
