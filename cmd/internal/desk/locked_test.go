package desk

import (
	"net/http"
	"strings"
	"testing"
)

// A desk that was locked by hand does not say that time locked it; what was chosen and
// written is there again after signing in, and a file that was not taken is named so.
func TestLockedByHand(t *testing.T) {
	s := newSite(t).full()
	lea := s.as("lea")
	key := s.key("S1", "1045")
	seen := s.seen(lea, key)
	const timed = "Nothing was done here for ten minutes"
	if r := lea.post("/lock"); r.code != http.StatusSeeOther {
		t.Fatal(r.code)
	}
	if text := lea.get("/sign-in").text(); strings.Contains(text, timed) || !strings.Contains(text, "Locked") {
		t.Errorf("locked by hand: %s", text)
	}
	lea.post("/cycle/"+key, "do", "quarantine", "reason", "the seal was torn", "seen", seen)
	r := lea.send(map[string][]byte{"S1-1043.csv": s.export(t, "S1-1043.csv")})
	if r.code != http.StatusSeeOther || !strings.Contains(lea.get(r.header.Get("Location")).text(), "The files you brought in were not taken") {
		t.Errorf("a file brought to a locked desk is lost without a word: %d %s", r.code, r.header.Get("Location"))
	}
	if r := lea.post("/sign-in", "passphrase", word("lea")); r.code != http.StatusSeeOther {
		t.Fatal(r.code)
	}
	page := lea.get("/cycle/" + key)
	for _, want := range []string{`value="quarantine" required checked`, `value="the seal was torn"`} {
		if !strings.Contains(page.body, want) {
			t.Errorf("the form lacks %s", want)
		}
	}
	if !strings.Contains(page.text(), "The files you brought in were not taken") {
		t.Error("after signing in nothing is said of the file")
	}
	s.clock.move(idle + 1)
	if text := lea.get("/sign-in").text(); !strings.Contains(text, timed) {
		t.Errorf("locked by time: %s", text)
	}
}

// A result that was chosen for a test is chosen again after the desk was locked.
func TestChoiceOfATestIsKept(t *testing.T) {
	s := newSite(t).full()
	lea := s.as("lea")
	key := s.key("S1", "1041")
	lea.post("/lock")
	r := lea.request("POST", "/note", strings.NewReader("duty=penetration+test+read&cycle="+key+"&day=2026-11-02&outcome=passed&text=the+strip+turned&back=%2Fcycle%2F"+key))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Referer", s.server.URL+"/cycle/"+key)
	lea.do(r)
	lea.post("/sign-in", "passphrase", word("lea"))
	body := lea.get("/cycle/" + key).body
	if !strings.Contains(body, `value="passed" required checked`) || !strings.Contains(body, "the strip turned") {
		t.Error("the choice or the words are gone")
	}
}

// The code of an inspector lets in once, to Find, and a lead ends the session early.
func TestInspectorIsEnded(t *testing.T) {
	s := newSite(t)
	mara := s.as("mara")
	page := mara.post("/inspector")
	_, code, _ := strings.Cut(page.body, "<code>")
	code, _, _ = strings.Cut(code, "</code>")
	first := s.caller()
	if r := first.post("/inspect", "code", code); r.code != http.StatusSeeOther || r.header.Get("Location") != "/find" {
		t.Fatalf("%d %q", r.code, r.header.Get("Location"))
	}
	if r := s.caller().post("/inspect", "code", code); r.code != http.StatusUnauthorized {
		t.Errorf("the code lets in twice: %d", r.code)
	}
	waiting := mara.post("/inspector")
	if r := first.get("/find"); r.code != http.StatusOK {
		t.Fatal(r.code)
	}
	if !strings.Contains(mara.get("/people").body, `action="/inspector/end"`) {
		t.Error("a lead is not offered to end it")
	}
	if r := mara.post("/inspector/end"); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if r := first.get("/find"); r.code != http.StatusSeeOther || !strings.HasPrefix(r.header.Get("Location"), "/sign-in") {
		t.Errorf("the session goes on: %d", r.code)
	}
	_, code, _ = strings.Cut(waiting.body, "<code>")
	code, _, _ = strings.Cut(code, "</code>")
	if r := s.caller().post("/inspect", "code", code); r.code != http.StatusUnauthorized {
		t.Errorf("a code made before opens still: %d", r.code)
	}
	if r := s.inspector().get("/find"); r.code != http.StatusOK {
		t.Errorf("a new session does not begin: %d", r.code)
	}
}

// A number without a record shows what is known of it: the explanation of its gap, or
// what was done at the machine; so does its scanned label.
func TestNumberWithoutRecord(t *testing.T) {
	s := newSite(t).full()
	lea := s.as("lea")
	if text := lea.get("/find?machine=S1&number=1048").text(); strings.Contains(text, "People entered") {
		t.Errorf("before anybody said anything: %s", text)
	}
	if r := lea.post("/note", "duty", "cycles explained", "cycle", s.key("S1", "1049"), "explains", "number-gap", "day", "2026-11-02", "text", "stopped before it heated"); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if r := lea.post("/load", "machine", "S1", "number", "1051", "day", "2026-11-02", "do", "reject", "contents", "extraction sets", "dry", "no"); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	for path, want := range map[string]string{
		"/find?machine=S1&number=1048": "S1 · 1048: cycles explained; stopped before it heated",
		"/find?number=1048":            "stopped before it heated",
		"/find?number=1051":            "S1 · 1051: rejected at the machine (extraction sets)",
	} {
		if text := lea.get(path).text(); !strings.Contains(text, want) {
			t.Errorf("%s lacks %q: %s", path, want, text)
		}
	}
	for _, id := range []string{"1048", "S1%2F1048", "s1-1048"} {
		r := lea.get("/trace?id=" + id)
		if r.code != http.StatusSeeOther || !strings.HasPrefix(r.header.Get("Location"), "/find?") || !strings.Contains(lea.get(r.header.Get("Location")).text(), "stopped before it heated") {
			t.Errorf("%s: %d %s", id, r.code, r.header.Get("Location"))
		}
	}
	if text := lea.get("/find?machine=S2&number=1048").text(); strings.Contains(text, "stopped before it heated") {
		t.Error("another machine's gap")
	}
}
