package desk

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"holdproof/cmd/internal/surgery"
)

// tap presses with a finger: no pointer ever moves over the page.
func (h *hand) tap(words string) {
	h.t.Helper()
	h.acts++
	find := `(() => { const e = [...document.querySelectorAll("button,a,summary")].find((e) => e.checkVisibility() && e.textContent.trim().replace(/\s+/g, " ").startsWith(` + quoted(words) + `)); ` +
		`if (!e) return []; e.scrollIntoView({block: "center"}); const r = e.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2, r.width, r.height] })()`
	at := value[[]float64](h.t, h.ctx, find)
	if len(at) == 0 {
		text, _ := chromedp.Run(h.ctx, chromedp.Text(chromedp.CSS("body")))
		h.t.Fatalf("%q is not on the page:\n%s", words, text)
	}
	run(h.t, h.ctx, "tap "+words,
		call(input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: at[0], Y: at[1]}}}),
		call(input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}}),
		chromedp.Sleep(250*time.Millisecond), chromedp.WaitReady(chromedp.CSS("main")))
}

func quoted(s string) string { return `"` + strings.ReplaceAll(s, `"`, `\"`) + `"` }

// The sheet from the start of the day to its end, by mouse, by keyboard alone, and by
// touch on a narrow screen.
func TestSheetInBrowser(t *testing.T) {
	for _, by := range []string{"mouse", "keyboard", "touch"} {
		t.Run(by, func(t *testing.T) {
			ctx := browser(t)
			s := newSite(t)
			s.signedIn(t, ctx, s.as("ben"))
			h := &hand{t: t, ctx: ctx, keyboard: by == "keyboard"}
			press, wide := h.press, int64(1280)
			if by == "touch" {
				press, wide = h.tap, 390
				run(t, ctx, "touch", call(emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true, MaxTouchPoints: 1}))
			}
			run(t, ctx, "sheet", look(wide, "light"), chromedp.Navigate(s.server.URL+"/"), chromedp.WaitReady(chromedp.CSS("main")))
			press("The day’s sheet")
			h.says("A tap enters it as done now, by you.")
			h.acts = 0
			press("Done now Fill the reservoir with purified water. S1")
			h.says("Entered: reservoir filled, S1")
			press("Done now, 2 min Flush each water line for 2 min. chair 2")
			h.says("Entered: water lines flushed, chair 2")
			if h.acts != 2 {
				t.Errorf("two duties take %d taps", h.acts)
			}
			press("Take back: water lines flushed, chair 2")
			h.says("Taken back: water lines flushed, chair 2")
			for range 2 {
				press("One more, 20 s Flush water and air for 20 to 30 s. chair 1")
				h.says("Entered: water lines rinsed, chair 1")
			}
			h.says("2 today")
			h.sheetEvening(s, press)
			for duty, where := range map[string]string{"reservoir filled": "S1", "cycle counter": "S1", "water lines disinfected": "chair 1"} {
				if r := s.stateOn(duty, where); r.State != surgery.OwedDone {
					t.Errorf("%s, %s: %s %s", duty, where, r.State, r.Detail)
				}
			}
			if r := s.stateOn("water lines flushed", "chair 2"); r.State != surgery.OwedOpen {
				t.Errorf("taken back, and %s", r.State)
			}
			if len(s.logged) > 0 {
				t.Errorf("logged: %v", s.logged)
			}
		})
	}
}

// sheetEvening reads the counter and disinfects the lines of a chair: in now, later out.
func (h *hand) sheetEvening(s *site, press func(string)) {
	h.t.Helper()
	h.reach(`document.querySelector("input[aria-label^='cycles, Read the machine']")`, "the figure of the counter")
	run(h.t, h.ctx, "type", chromedp.KeyEvent("1049"))
	press("Enter Read the machine's own counter. S1")
	h.says("Entered: cycle counter, S1")
	// The only product of the settings is chosen already, so that nobody types its name.
	field := func(label string) string {
		return `document.getElementById([...document.querySelectorAll("#end-of-day label")].find((e) => e.textContent.startsWith(` + quoted(label) + `)).htmlFor)`
	}
	if product := value[string](h.t, h.ctx, field("Product")+".value"); product != "Tern Quay line rinse (invented)" {
		h.t.Errorf("the product is %q before anything is chosen", product)
	}
	h.reach(field("Concentration"), "Concentration")
	run(h.t, h.ctx, "type", chromedp.KeyEvent("3 %"))
	press("In now Disinfect the lines: product, concentration, time in and out. chair 1")
	h.says("Entered: water lines disinfected")
	s.clock.move(6 * time.Minute)
	run(h.t, h.ctx, "look", chromedp.Navigate(s.server.URL+"/sheet"), chromedp.WaitReady(chromedp.CSS("main")))
	s.clock.move(5 * time.Minute)
	press("Out now Disinfect the lines")
	h.says("Contact time 11 min")
}

// What is tapped is large enough for a gloved hand: 44 CSS pixels at least, on a narrow
// screen and a wide one, and no button lies nearer to another than 4.
func TestTargetsAreLarge(t *testing.T) {
	ctx := browser(t)
	s := newSite(t).full()
	s.signedIn(t, ctx, s.as("lea"))
	for _, path := range []string{"/sheet", "/load"} {
		for _, wide := range []int64{390, 1280} {
			run(t, ctx, path, look(wide, "light"), chromedp.Navigate(s.server.URL+path), chromedp.WaitReady(chromedp.CSS("main")))
			small := value[[]string](t, ctx, `[...document.querySelectorAll("main button, main .pick, main .big-link, main .row input, main summary, .acts a")].filter((e) => e.checkVisibility() && e.type !== "hidden")
				.filter((e) => { const r = e.getBoundingClientRect(); return r.height < 44 || r.width < 44 }).map((e) => e.textContent.trim() + " " + e.getBoundingClientRect().height)`)
			if len(small) > 0 {
				t.Errorf("%s, %d pixels wide: too small: %s", path, wide, strings.Join(small, "; "))
			}
			if n := value[int](t, ctx, `document.querySelectorAll("main button").length`); n < 2 {
				t.Errorf("%s: %d buttons", path, n)
			}
		}
	}
}
