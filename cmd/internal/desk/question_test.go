package desk

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"holdproof/cmd/internal/surgery"
)

// The twelve questions are answered on Find and each on a page of its own, for the time
// and the machine that are chosen; what an answer names can be followed.
func TestQuestions(t *testing.T) {
	s := newSite(t).full()
	c := s.inspector()
	find := c.get("/find?machine=S1&from=2026-11-02&to=2026-11-02")
	if n := strings.Count(find.body, `<a href="/question/`); n != 12 {
		t.Fatalf("%d questions on the page:\n%s", n, find.text())
	}
	for n, want := range map[int]string{1: "Cycle 1048 is missing on S1", 2: "S1 · 1045", 3: "No: steam penetration test open", 4: "Leak test read", 5: "1040 to 1049",
		6: "Nothing was entered.", 7: "None", 8: "Mara Quill", 9: "2 days of a chair without a flush or without a disinfection", 10: "No day of this time is signed.", 11: "The logbook holds", 12: "No closed day"} {
		link := fmt.Sprintf(`<a href="/question/%d?from=2026-11-02&amp;machine=S1&amp;to=2026-11-02">`, n)
		if !strings.Contains(find.body, link) {
			t.Errorf("Find has no link %s", link)
		}
		r := c.get(fmt.Sprintf("/question/%d?from=2026-11-02&to=2026-11-02&machine=S1", n))
		if r.code != http.StatusOK || n != 7 && !strings.Contains(r.text(), want) || strings.Contains(r.text(), "S2 ·") {
			t.Errorf("question %d: %d, expected %q and nothing of S2:\n%s", n, r.code, want, r.text())
		}
		for _, to := range regexp.MustCompile(`<td>.*?<a href="(/[^"]*)"`).FindAllStringSubmatch(r.body, -1) {
			if r := c.get(strings.ReplaceAll(to[1], "&amp;", "&")); r.code != http.StatusOK {
				t.Errorf("question %d leads to %s: %d", n, to[1], r.code)
			}
		}
	}
	for _, path := range []string{"/question/0", "/question/13", "/question/x", "/record/2026-11-02.pdf", "/record/..%2Fholdproof.db", "/record/x"} {
		if r := c.get(path); r.code != http.StatusNotFound {
			t.Errorf("%s: %d", path, r.code)
		}
	}
	// What is asked wrongly is answered for the last thirty days, and a new entry shows at once.
	r := c.get("/question/1?from=yesterday&to=2026-99-01&machine=%3Cb%3E")
	if !strings.Contains(r.body, `value="2026-10-03"`) || !strings.Contains(r.body, `value="2026-11-02"`) || strings.Contains(r.body, "<b>") || !strings.Contains(r.text(), "S2") {
		t.Errorf("without a time: %s", r.text())
	}
	if r := s.as("mara").post("/note", "duty", "closed day", "day", "2026-11-01", "text", "A Sunday."); r.code != http.StatusSeeOther {
		t.Fatal(r.text())
	}
	if text := c.get("/question/12").text(); !strings.Contains(text, "1 closed day") || !strings.Contains(text, "A Sunday.") {
		t.Errorf("after a new entry: %s", text)
	}
}

// A record is found by its name, an older revision too.
func TestRecordByName(t *testing.T) {
	s := newSite(t).full()
	c := s.as("lea")
	s.readTests(c)
	for i, why := range []string{"1048 was not exported", "A later entry."} {
		if r := c.post("/day/2026-11-02/sign", "reason", why, "passphrase", word("lea")); r.code != http.StatusSeeOther {
			t.Fatalf("%d %s", r.code, r.text())
		}
		if i == 0 {
			c.post("/note", "duty", "clock checked", "machine", "S1", "day", "2026-11-02", "value", "3")
		}
	}
	for _, name := range []string{"2026-11-02.pdf", "2026-11-02.r2.pdf"} {
		if r := c.get("/record/" + name); r.code != http.StatusOK || !strings.HasPrefix(r.body, "%PDF-") || !strings.Contains(r.header.Get("Content-Disposition"), name) {
			t.Errorf("%s: %d %s", name, r.code, r.header)
		}
	}
	if r := c.get("/record/2026-11-02.r9.pdf"); r.code != http.StatusNotFound {
		t.Errorf("a revision that nobody signed: %d", r.code)
	}
	changes := c.get("/question/10?from=2026-11-02&to=2026-11-02")
	if !strings.Contains(changes.body, `<a href="/record/2026-11-02.r2.pdf">after it was signed, in revision 2</a>`) || !strings.Contains(changes.text(), "Clock checked, S1") {
		t.Errorf("what was changed after signing: %s", changes.text())
	}
}

// A session for an inspector is entered: who began it, when, and until when.
func TestInspectorIsEntered(t *testing.T) {
	s := newSite(t).full()
	s.inspector()
	for _, path := range []string{"/people", "/question/8?from=2026-11-02&to=2026-11-02"} {
		if text := s.as("lea").get(path).text(); !strings.Contains(text, "let in to read") || !strings.Contains(text, "by Mara Quill") || !strings.Contains(text, "until 3 Nov 2026 00:00") {
			t.Errorf("%s: %s", path, text)
		}
	}
	if list, err := s.records.Sessions(t.Context()); err != nil || len(list) != 1 || list[0].By != "Mara Quill" || !list[0].At.Equal(s.clock.now()) {
		t.Errorf("%+v, %v", list, err)
	}
	size, err := s.records.LogSize(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if r := s.as("lea").post("/inspector"); r.code != http.StatusForbidden || strings.Contains(r.body, "<code>") {
		t.Errorf("a nurse begins a session: %d", r.code)
	}
	if _, err := s.records.LetIn(t.Context(), surgery.Proof{Person: "lea", Passphrase: wordOf("lea")}, s.clock.now()); err == nil {
		t.Error("a nurse lets an inspector in")
	}
	if now, err := s.records.LogSize(t.Context()); err != nil || now != size {
		t.Errorf("what was refused left an entry: %d, %d, %v", size, now, err)
	}
}

// The day of an inspector, from the lead's code to signing out, by mouse and again by
// keyboard alone: a machine, a day, a load, a time, a record.
func TestTheInspectorsDay(t *testing.T) {
	for _, by := range []string{"mouse", "keyboard"} {
		t.Run(by, func(t *testing.T) {
			ctx := browser(t)
			s := newSite(t).full()
			c := s.as("lea")
			s.readTests(c)
			if r := c.post("/day/2026-11-02/sign", "reason", "1048 was not exported", "passphrase", word("lea")); r.code != http.StatusSeeOther {
				t.Fatalf("%d %s", r.code, r.text())
			}
			h := &hand{t: t, ctx: ctx, keyboard: by == "keyboard"}
			run(t, ctx, "window", look(1280, "light"))
			h.inspector(s)
			if len(s.logged) > 0 {
				t.Errorf("logged: %v", s.logged)
			}
		})
	}
}

func (h *hand) inspector(s *site) {
	h.t.Helper()
	// The lead makes a code on the desk, and signs out.
	h.signIn(s.server.URL, "mara")
	h.press("People and machines")
	h.press("Start a session for an inspector")
	h.says("Session for an inspector")
	code := value[string](h.t, h.ctx, `document.querySelector(".code code").textContent`)
	h.press("Sign out")
	h.says("Passphrase of your key")
	// The inspector reads.
	h.press("You inspect this surgery")
	h.fill("Code that the lead gave you", code)
	h.press("Read")
	h.says("Inspector, reading only")
	h.press("Find")
	h.acts = 0
	h.press("Were the day's tests run and passed before the first load")
	h.says("waits for the second signature")
	if h.acts > 1 {
		h.t.Errorf("from Find to an answer: %d acts", h.acts)
	}
	h.press("All questions")
	h.press("Which cycles failed")
	h.says("Held 134 to 137 °C for")
	h.press("S1 · 1045") // the load
	h.says("Do not use this load. Repack it and run it again.")
	if value[bool](h.t, h.ctx, `Boolean(document.querySelector("main form"))`) {
		h.t.Error("a form is offered to who only reads")
	}
	// A machine and a number.
	h.press("Find")
	h.fill("Cycle number", "1043")
	h.pressButton("Find")
	h.says("1 cycle")
	// The day, by the calendar, and its record.
	h.press("Days")
	h.press("2")
	h.says("The record of this day")
	h.press("As a page")
	h.says("2026-11-02-r1")
	h.press("Sign out")
	h.says("Passphrase of your key")
}

// pressButton presses a button whose words a link has too.
func (h *hand) pressButton(words string) {
	h.t.Helper()
	h.acts++
	h.reach(fmt.Sprintf(`[...document.querySelectorAll("main button")].find((e) => e.textContent.trim() === %q)`, words), words)
	h.settle("press "+words, chromedp.KeyEvent(kb.Enter))
}
