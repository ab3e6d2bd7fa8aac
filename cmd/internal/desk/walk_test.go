package desk

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"holdproof/cmd/internal/surgery"
)

// hand works a page: by mouse, or by keyboard alone.
type hand struct {
	t        *testing.T
	ctx      context.Context
	keyboard bool
	acts     int // presses and choices since it was set to 0
}

// press presses a button or follows a link, found by its words.
func (h *hand) press(words string) {
	h.t.Helper()
	h.acts++
	h.reach(fmt.Sprintf(`[...document.querySelectorAll("button,a,summary")].find((e) => e.checkVisibility() && e.textContent.trim().startsWith(%q))`, words), words)
	h.settle("press "+words, chromedp.KeyEvent(kb.Enter))
}

// choose chooses one of several, found by the words of its label.
func (h *hand) choose(words string) {
	h.t.Helper()
	h.acts++
	h.reach(fmt.Sprintf(`[...document.querySelectorAll("label.choice")].find((e) => e.textContent.trim().startsWith(%q)).querySelector("input")`, words), words)
	if h.keyboard {
		run(h.t, h.ctx, "choose "+words, chromedp.KeyEvent(" "))
	}
}

// fill types into the field with that label.
func (h *hand) fill(label, text string) {
	h.t.Helper()
	h.reach(fmt.Sprintf(`document.getElementById([...document.querySelectorAll("label")].find((e) => e.checkVisibility() && e.textContent.trim().startsWith(%q)).htmlFor)`, label), label)
	run(h.t, h.ctx, "type", chromedp.KeyEvent(text))
}

// reach brings the focus to what an expression finds: by the Tab key alone, or with a
// click in its middle.
func (h *hand) reach(expression, what string) {
	h.t.Helper()
	there := "(() => { const e = " + expression + "; return Boolean(e) })()"
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		at, err := chromedp.Run(h.ctx, chromedp.Evaluate[bool](there))
		if err == nil && at {
			break
		}
		if time.Now().After(end) {
			text, _ := chromedp.Run(h.ctx, chromedp.Text(chromedp.CSS("body")))
			h.t.Fatalf("%q is not on the page:\n%s", what, text)
		}
	}
	if !h.keyboard {
		at := value[[]float64](h.t, h.ctx, "(() => { const e = "+expression+`; e.scrollIntoView({block: "center"}); const r = e.getBoundingClientRect(); return [r.left + Math.min(r.width / 2, 12), r.top + Math.min(r.height / 2, 12)] })()`)
		h.settle("click on "+what, chromedp.MouseClickXY(at[0], at[1]))
		return
	}
	// A group of choices is one stop of the Tab key; the arrows go on inside it.
	inside := "(() => { const e = " + expression + `, a = document.activeElement; return e === a ? 2 : e.type === "radio" && a.name === e.name ? 1 : 0 })()`
	for range 250 {
		switch value[int](h.t, h.ctx, inside) {
		case 2:
			if !value[bool](h.t, h.ctx, `document.activeElement.matches(":focus-visible")`) {
				h.t.Errorf("the focus on %q cannot be seen", what)
			}
			return
		case 1:
			run(h.t, h.ctx, "arrow", chromedp.KeyEvent(kb.ArrowDown))
		default:
			run(h.t, h.ctx, "tab", chromedp.KeyEvent(kb.Tab))
		}
	}
	h.t.Fatalf("%q is not reached by the Tab key", what)
}

// settle does a step, with the keyboard only if it is one of keys, and waits for the
// page that may follow.
func (h *hand) settle(what string, s step) {
	h.t.Helper()
	if strings.HasPrefix(what, "press") && !h.keyboard {
		return // the click was it
	}
	run(h.t, h.ctx, what, s, chromedp.Sleep(150*time.Millisecond), chromedp.WaitReady(chromedp.CSS("main")))
}

// says waits until the page says something.
func (h *hand) says(text string) {
	h.t.Helper()
	var page string
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		page, _ = chromedp.Run(h.ctx, chromedp.Text(chromedp.CSS("body")))
		if strings.Contains(page, text) {
			return
		}
	}
	h.t.Fatalf("the page does not say %q:\n%s", text, page)
}

func (h *hand) signIn(base, id string) {
	h.t.Helper()
	run(h.t, h.ctx, "sign in", chromedp.Navigate(base+"/sign-in"), chromedp.WaitReady(chromedp.CSS("#passphrase")))
	h.fill("Your id", id)
	h.fill("Passphrase of your key", word(id))
	h.press("Sign in")
	h.says("What waits for you")
}

// The day of nurse and lead, from sign-in to the signed record, by mouse and again by
// keyboard alone.
func TestTheDay(t *testing.T) {
	for _, by := range []string{"mouse", "keyboard"} {
		t.Run(by, func(t *testing.T) {
			ctx := browser(t)
			s := newSite(t)
			h := &hand{t: t, ctx: ctx, keyboard: by == "keyboard"}
			run(t, ctx, "window", look(1280, "light"))
			h.nurse(s)
			h.lead(s)
			if month := s.as("ben").get("/days").text(); !strings.Contains(month, "2 Mon signed") {
				t.Errorf("the calendar: %s", month)
			}
			if len(s.logged) > 0 {
				t.Errorf("logged: %v", s.logged)
			}
		})
	}
}

func (h *hand) nurse(s *site) {
	h.t.Helper()
	h.signIn(s.server.URL, "lea")
	// The control test of the machine whose record shows none.
	h.press("The day’s sheet")
	h.reach(`document.querySelector("[aria-label^='What it showed, S2']")`, "what the control test showed")
	run(h.t, h.ctx, "type", chromedp.KeyEvent("display: passed"))
	h.press("Passed Run the automatic control test and read it. S2")
	h.says("Entered: control test read, passed, S2")
	h.press("Today")
	// A file that is none, dropped anywhere on the page.
	value[bool](h.t, h.ctx, `(() => {
		const d = new DataTransfer();
		d.items.add(new File(["Dear lead, the record follows.\n"], "letter.csv"));
		const e = new DragEvent("drop", {dataTransfer: d, bubbles: true, cancelable: true});
		return document.querySelector("h1").dispatchEvent(e) || true })()`)
	h.says("letter.csv: 0 cycles")
	h.says("Choose the export of the readings")
	// The day's exports, chosen.
	names, err := filepath.Glob(filepath.Join(s.exports, "*.csv"))
	if err != nil || len(names) < 5 {
		h.t.Fatalf("%v, %v", names, err)
	}
	run(h.t, h.ctx, "choose files", chromedp.SetUploadFiles(chromedp.CSS("#file"), names))
	h.press("Bring in")
	h.says("S1-1043.csv: 1 cycle, 1 new")
	for _, test := range [][2]string{{"S1", "1041"}, {"S2", "416"}} {
		h.press(test[0] + " · " + test[1])
		h.choose("passed")
		h.press("Enter")
		h.says("Noted: penetration test read, passed")
		h.press("Today")
	}
	h.acts = 0
	h.press("Release 8 conforming loads")
	h.says("8 loads were released.")
	if h.acts != 1 {
		h.t.Errorf("the release of all conforming loads takes %d acts, expected 1", h.acts)
	}
	h.fill("Why it is signed with something missing", "1048 was not exported")
	h.fill("Your passphrase again", word("lea"))
	h.press("Sign as prepared")
	h.says("Signed by Lea Marsh as prepared.")
	h.press("Sign out")
	h.says("Passphrase of your key")
}

// read are the words that a person has to read for a decision: every word that is in
// sight of the name, the verdict with its instruction and reason, and the whole form.
const read = `[...document.querySelectorAll("h1, .verdict, .alert, .causes, #decide, [data-decide]")].map((e) => {
	const q = e.querySelector(".h-quiet"); return q ? e.innerText.replace(q.innerText, "") : e.innerText }).join(" ").split(/\s+/).filter((w) => /\w/.test(w)).length`

func (h *hand) lead(s *site) {
	h.t.Helper()
	h.signIn(s.server.URL, "mara")
	// From the flagged load on the first page to its decision.
	h.acts = 0
	h.press("S1 · 1045")
	h.says("Do not use this load. Repack it and run it again.")
	words := value[int](h.t, h.ctx, read)
	h.choose("Send back")
	words = max(words, value[int](h.t, h.ctx, read)) // what the choice brought up counts too
	h.press("Enter this decision")
	h.says("S1 · 1045 is sent back.")
	if h.acts > 4 || words > 40 {
		h.t.Errorf("from flagged to decided: %d acts and %d words to read, at most 4 and 40", h.acts, words)
	}
	h.t.Logf("from flagged to decided: %d acts, %d words to read", h.acts, words)
	// The curve can be read.
	h.reach(`document.querySelector("[role=slider]")`, "the curve")
	if h.keyboard {
		run(h.t, h.ctx, "arrows", chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.PageDown))
	}
	h.says("steam from pressure")
	h.says("kPa absolute")
	// The record changed since the first signature: a new revision, then the second one.
	run(h.t, h.ctx, "the day", chromedp.Navigate(s.server.URL+"/day/2026-11-02"))
	h.says("something changed since")
	c := s.as("lea")
	if r := c.post("/day/2026-11-02/sign", "reason", "the failed load was sent back", "passphrase", word("lea")); r.code != 303 {
		h.t.Fatalf("%d %s", r.code, r.text())
	}
	run(h.t, h.ctx, "again", chromedp.Navigate(s.server.URL+"/day/2026-11-02"))
	h.fill("Your passphrase again", word("mara"))
	h.press("Sign as reviewed")
	h.says("Signed by Mara Quill as reviewed.")
}

// An upload that breaks off leaves nothing behind, and the same files come in after it.
func TestBrokenUpload(t *testing.T) {
	s := newSite(t)
	c := s.as("lea")
	good, err := filepath.Glob(filepath.Join(s.exports, "S1-104*.csv"))
	if err != nil || len(good) == 0 {
		t.Fatal(good, err)
	}
	body := &broken{from: strings.NewReader("--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"half.csv\"\r\n\r\n" + strings.Repeat("1,2,3\n", 20000)), then: s.server.CloseClientConnections}
	r := c.request("POST", "/exports", body)
	r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
	if res, err := c.http.Do(r); err == nil {
		res.Body.Close()
		if res.StatusCode < 400 {
			t.Errorf("half an upload is answered with %d", res.StatusCode)
		}
	}
	s.server.Close()
	if list, err := s.records.ShownCycles(t.Context(), surgery.ShownQuery{}); err != nil || len(list) != 0 {
		t.Errorf("%d cycles were kept of half an upload, %v", len(list), err)
	}
	s.full()
	audit, err := s.records.Audit(t.Context(), surgery.Auditing{})
	if err != nil || !audit.OK() {
		t.Errorf("%v %v", audit.Problems, err)
	}
}

// broken is a body during which the connection is lost.
type broken struct {
	from *strings.Reader
	then func()
}

func (b *broken) Read(p []byte) (int, error) {
	n, err := b.from.Read(p)
	if err != nil {
		b.then()
		time.Sleep(100 * time.Millisecond)
	}
	return n, err
}
