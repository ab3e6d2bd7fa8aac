package desk

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
)

// whose says for each route what a visitor who is not signed in, a nurse, a lead and an
// inspector get. A route that is not listed here fails the test: somebody has to decide.
var whose = []struct {
	pattern                        string
	nobody, nurse, lead, inspector bool
}{
	{"GET /sign-in", true, true, true, true},
	{"POST /sign-in", true, true, true, true},
	{"POST /inspect", true, true, true, true},
	{"GET /assets/{name}", true, true, true, true},
	{"POST /sign-out", false, true, true, true},
	{"POST /lock", false, true, true, false},
	{"GET /{$}", false, true, true, true},
	{"GET /day/{day}", false, true, true, true},
	{"POST /exports", false, true, true, false},
	{"POST /release", false, true, true, false},
	{"GET /exports/{sum}", false, true, true, true},
	{"GET /cycle/{key}", false, true, true, true},
	{"GET /cycle/{key}/readings", false, true, true, true},
	{"POST /cycle/{key}", false, true, true, false},
	{"GET /days", false, true, true, true},
	{"GET /day/{day}/record", false, true, true, true},
	{"GET /day/{day}/draft", false, true, true, true},
	{"POST /day/{day}/sign", false, true, true, false},
	{"POST /day/{day}/countersign", false, false, true, false},
	{"GET /day/{day}/record/read", false, true, true, true},
	{"GET /day/{day}/reading", false, true, true, true},
	{"GET /day/{day}/entries", false, true, true, true},
	{"GET /sheet", false, true, true, true},
	{"POST /sheet", false, true, true, false},
	{"GET /load", false, true, true, false},
	{"POST /load", false, true, true, false},
	{"GET /entry/{n}", false, true, true, true},
	{"POST /entry/{n}", false, true, true, false},
	{"GET /note", false, true, true, false},
	{"POST /note", false, true, true, false},
	{"GET /find", false, true, true, true},
	{"GET /drift", false, true, true, true},
	{"GET /cycle/{key}/label", false, true, true, false},
	{"GET /trace", false, true, true, true},
	{"GET /question/{n}", false, true, true, true},
	{"GET /record/{name}", false, true, true, true},
	{"GET /people", false, true, true, true},
	{"GET /people/add", false, false, true, false},
	{"POST /people/add", false, false, true, false},
	{"GET /person/{id}", false, false, true, false},
	{"POST /person/{id}/roles", false, false, true, false},
	{"POST /person/{id}/certificate", false, false, true, false},
	{"POST /person/{id}/end", false, false, true, false},
	{"GET /judging", false, true, true, true},
	{"POST /inspector", false, false, true, false},
	{"POST /inspector/end", false, false, true, false},
}

func TestRoutesAreThoseOfTheirPeople(t *testing.T) {
	s := newSite(t)
	listed := map[string]bool{}
	for _, w := range whose {
		listed[w.pattern] = true
	}
	for _, r := range s.desk.routes() {
		if !listed[r.pattern] {
			t.Errorf("%s stands in no row of the table of routes and roles", r.pattern)
		}
		delete(listed, r.pattern)
	}
	for p := range listed {
		t.Errorf("%s is no route", p)
	}
	for _, w := range whose {
		s.desk.brake = newBrake(s.clock.now) // what the rows before tried is not this one's
		method, path, _ := strings.Cut(w.pattern, " ")
		path = strings.NewReplacer("{$}", "", "{name}", "x", "{day}", "2026-11-02", "{key}", "S1-20261102-081403", "{sum}", "00", "{n}", "1", "{id}", "lea").Replace(path)
		for _, who := range []struct {
			name    string
			allowed bool
			caller  *caller
		}{{"nobody", w.nobody, s.caller()}, {"a nurse", w.nurse, s.as("ben")}, {"a lead", w.lead, s.as("mara")}, {"an inspector", w.inspector, s.inspector()}} {
			r := who.caller.do(who.caller.request(method, path, nil))
			// Which of the other answers comes does not matter here: the wall is before them.
			turned := r.code == http.StatusForbidden && strings.Contains(r.text(), "This is not yours to do.") || r.code == http.StatusSeeOther && strings.HasPrefix(r.header.Get("Location"), "/sign-in?back=")
			if turned == who.allowed && w.pattern != "POST /lock" {
				t.Errorf("%s for %s: %d to %q, allowed is %v", w.pattern, who.name, r.code, r.header.Get("Location"), who.allowed)
			}
			if who.name == "nobody" && strings.Contains(r.body, "Tern Quay") {
				t.Errorf("%s tells who is not signed in the name of the surgery", w.pattern)
			}
		}
	}
}

// An inspector reads; none of what was tried left an entry.
func TestInspectorChangesNothing(t *testing.T) {
	s := newSite(t).full()
	key, c := s.key("S1", "1043"), s.inspector()
	seen := s.seen(s.as("lea"), s.key("S1", "1045"))
	for path, fields := range map[string][]string{
		"/cycle/" + s.key("S1", "1045"): {"seen", seen, "do", "quarantine", "reason", "x"},
		"/release":                      {"seen", seen}, "/note": {"duty", "closed day", "text", "x", "day", "2026-11-02"},
		"/day/2026-11-02/sign": {"passphrase", word("mara"), "reason", "x"}, "/inspector": nil} {
		if r := c.post(path, fields...); r.code != http.StatusForbidden {
			t.Errorf("%s: %d", path, r.code)
		}
	}
	if body := c.get("/cycle/" + key).body; strings.Contains(body, "Enter this decision") {
		t.Error("a decision is offered to an inspector")
	}
	if r := c.send(map[string][]byte{"x.csv": []byte("x")}); r.code != http.StatusForbidden {
		t.Errorf("an upload: %d", r.code)
	}
	s.clock.move(6*time.Hour + time.Second)
	if r := c.get("/"); r.code != http.StatusSeeOther {
		t.Errorf("after midnight the session still answers: %d", r.code)
	}
}

func TestOtherSitesAskForNothing(t *testing.T) {
	s := newSite(t)
	for _, h := range []map[string]string{
		{"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}, {"Origin": "http://elsewhere.example"}, {"Origin": "null"}} {
		c := s.as("mara")
		r := c.request("POST", "/inspector", nil)
		for k, v := range h {
			r.Header.Set(k, v)
		}
		if got := c.do(r); got.code != http.StatusForbidden {
			t.Errorf("%v: %d", h, got.code)
		}
	}
	c := s.as("mara")
	r := c.request("POST", "/inspector", nil)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if got := c.do(r); got.code != http.StatusOK {
		t.Errorf("a form of our own: %d", got.code)
	}
}

// A token that somebody planted before the sign-in is worth nothing after it.
func TestSessionIsAnotherAfterSignIn(t *testing.T) {
	s := newSite(t)
	c := s.as("ben")
	planted := c.http.Jar.Cookies(c.request("GET", "/", nil).URL)[0]
	if r := c.post("/sign-in", "person", "mara", "passphrase", word("mara")); r.code != http.StatusSeeOther {
		t.Fatal(r.code)
	}
	now := c.http.Jar.Cookies(c.request("GET", "/", nil).URL)[0]
	if now.Value == planted.Value {
		t.Error("the token is the same after another person signed in")
	}
	thief := s.caller()
	thief.http.Jar.SetCookies(thief.request("GET", "/", nil).URL, []*http.Cookie{planted})
	if r := thief.get("/"); r.code != http.StatusSeeOther {
		t.Errorf("the old token still opens: %d", r.code)
	}
	out := s.as("lea")
	old := out.http.Jar.Cookies(out.request("GET", "/", nil).URL)[0]
	out.post("/sign-out")
	thief.http.Jar.SetCookies(thief.request("GET", "/", nil).URL, []*http.Cookie{old})
	if r := thief.get("/"); r.code != http.StatusSeeOther {
		t.Errorf("the token opens after the sign-out: %d", r.code)
	}
}

// Whose certificate is ended is out at once, not only at the next sign-in.
func TestEndedCertificateEndsTheSession(t *testing.T) {
	s := newSite(t)
	c := s.as("lea")
	if r := c.get("/"); r.code != http.StatusOK {
		t.Fatal(r.code)
	}
	err := s.records.Renew(t.Context(), surgery.Renewal{ID: "lea", Passphrase: func() (string, error) { return "another passphrase 8", nil },
		By: surgery.Proof{Person: "mara", Passphrase: wordOf("mara")}, Authority: wordOf("authority"), Reason: "left her bag in the bus"})
	if err != nil {
		t.Fatal(err)
	}
	if r := c.get("/"); r.code != http.StatusSeeOther {
		t.Errorf("the session still opens: %d", r.code)
	}
}

func TestCookie(t *testing.T) {
	for _, secure := range []bool{false, true} {
		s := newSite(t, func(o *Options) { o.Secure = secure })
		r := s.caller().post("/sign-in", "person", "lea", "passphrase", word("lea"))
		cookie := r.header.Get("Set-Cookie")
		if !strings.Contains(cookie, "HttpOnly") || !strings.Contains(cookie, "SameSite=Strict") || strings.Contains(cookie, "Secure") != secure || strings.Contains(cookie, "Expires") {
			t.Errorf("secure %v: %s", secure, cookie)
		}
	}
}

func TestIdleLockKeepsDrafts(t *testing.T) {
	s := newSite(t).full()
	c := s.as("lea")
	key := s.key("S1", "1045")
	seen := s.seen(c, key)
	s.clock.move(idle + time.Second)
	back := c.request("POST", "/cycle/"+key, strings.NewReader("seen="+strings.ReplaceAll(seen, " ", "+")+"&do=quarantine&reason=curve+looks+odd&second-passphrase=secret"))
	back.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	back.Header.Set("Referer", s.server.URL+"/cycle/"+key)
	r := c.do(back)
	if r.code != http.StatusSeeOther || !strings.HasPrefix(r.header.Get("Location"), "/sign-in") {
		t.Fatalf("a locked desk answers %d", r.code)
	}
	if got, err := s.records.ShownCycle(t.Context(), key); err != nil || got.Decision != "" {
		t.Errorf("a locked desk decided: %q, %v", got.Decision, err)
	}
	if kept := fmt.Sprint(s.desk.drafts.of); !strings.Contains(kept, "curve looks odd") || strings.Contains(kept, "secret") {
		t.Errorf("kept: %s", kept)
	}
	page := c.get(r.header.Get("Location"))
	if !strings.Contains(page.text(), "is kept") || strings.Contains(page.body, "Tern Quay") || strings.Contains(page.body, "1045<") {
		t.Errorf("the lock shows: %s", page.text())
	}
	if r := c.get("/"); r.code != http.StatusSeeOther {
		t.Errorf("a locked desk shows a page: %d", r.code)
	}
	if r := c.post("/sign-in", "person", "mara", "passphrase", word("mara"), "back", "/"); r.code != http.StatusUnauthorized {
		t.Errorf("somebody else's passphrase opens the lock: %d", r.code)
	}
	if r := c.post("/sign-in", "passphrase", word("lea"), "back", "/cycle/"+key); r.code != http.StatusSeeOther || r.header.Get("Location") != "/cycle/"+key {
		t.Fatalf("%d to %s", r.code, r.header.Get("Location"))
	}
	again := c.get("/cycle/" + key).body
	if !strings.Contains(again, `value="curve looks odd"`) || !strings.Contains(again, `value="quarantine" required checked`) {
		t.Error("the draft is not in the form")
	}
}

func TestStrictPolicy(t *testing.T) {
	s := newSite(t).full()
	c := s.as("mara")
	inline := regexp.MustCompile(`(?i)<style|<script(?:[^>]*)>[^<]|\sstyle=|\son[a-z]+=|javascript:|https?://`)
	pages := s.pagesToSee()
	pages["sign-in"], pages["none"] = "/sign-in", "/nothing-here"
	for name, path := range pages {
		r := c.get(path)
		if r.header.Get("Content-Security-Policy") != policy || strings.Contains(policy, "unsafe") || !strings.Contains(policy, "default-src 'none'") {
			t.Errorf("%s: policy %q", name, r.header.Get("Content-Security-Policy"))
		}
		if r.header.Get("X-Content-Type-Options") != "nosniff" || r.header.Get("Cache-Control") != "no-store" {
			t.Errorf("%s: %v", name, r.header)
		}
		body := strings.ReplaceAll(r.body, `xmlns="http://www.w3.org/2000/svg"`, "")
		if at := inline.FindStringIndex(body); at != nil {
			t.Errorf("%s: found %q, which the policy stops or which asks elsewhere", name, body[max(0, at[0]-30):min(len(body), at[1]+40)])
		}
	}
}

// What an export, a heading, a name or a person says is text, wherever it is shown.
func TestTextNeverBecomesMarkup(t *testing.T) {
	s := newSite(t)
	c := s.as("lea")
	const bad = `<img src=x onerror=alert(1)>`
	file := "serial: TQ-0417\ncycle number: \"" + bad + "\"\nprogramme: <script>alert(2)</script>\ntime,chamber °C,load °C <b>,pressure kPa abs\n" +
		"2026-11-02T08:00:00,20,20,101\n2026-11-02T08:00:01,20,20,101\n2026-11-02T08:00:02,21,20," + bad + "\n"
	r := c.send(map[string][]byte{`"><svg onload=alert(3)>.csv`: []byte(file), "<i>not a table</i>.csv": []byte(bad + "\n" + bad)})
	if r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	c.post("/note", "duty", "hands and surfaces", "day", "2026-11-02", "outcome", "done", "text", bad)
	pages := []string{r.header.Get("Location"), "/", "/day/2026-11-02", "/find?number=" + "%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E", "/find?machine=S1", "/nothing/%3Cscript%3E",
		"/sign-in?back=%22%3E%3Cscript%3E", "/note?duty=%3Cscript%3E&text=%22%3E%3Cscript%3E"}
	list, err := s.records.ShownCycles(t.Context(), surgery.ShownQuery{})
	if err != nil || len(list) == 0 {
		t.Fatalf("%d cycles, %v", len(list), err)
	}
	for _, one := range list {
		pages = append(pages, "/cycle/"+one.Key)
	}
	shown := false
	for _, path := range pages {
		body := c.get(path).body
		for _, markup := range []string{"<img", "<script>", "<svg onload", "<b>", "<i>"} {
			if strings.Contains(body, markup) {
				t.Errorf("%s: %s became markup", path, markup)
			}
		}
		shown = shown || strings.Contains(body, "&lt;img")
	}
	if !shown {
		t.Error("the text is shown nowhere, so nothing was tried")
	}
}

func TestOtherNamesAreRefused(t *testing.T) {
	s := newSite(t)
	for host, want := range map[string]int{"127.0.0.1": 303, "127.0.0.1:8134": 303, "evil.example": 421, "127.0.0.1.evil.example": 421, "evil.example:80": 421, "": 421, "[::1]": 421, "localhost": 421} {
		r := httptest.NewRequestWithContext(t.Context(), "GET", "http://x/", nil)
		r.Host = host
		w := httptest.NewRecorder()
		s.desk.Handler().ServeHTTP(w, r)
		if w.Code != want {
			t.Errorf("Host %q: %d, expected %d", host, w.Code, want)
		}
	}
}

// A way back stays on this desk.
func TestWayBack(t *testing.T) {
	for in, want := range map[string]string{"/": "/", "/cycle/x?a=b": "/cycle/x?a=b", "https://evil.example/": "/", "//evil.example/": "/", "//evil.example/x": "/", `/\evil.example`: "/", `\\evil`: "/", "": "/", "javascript:alert(1)": "/", "/%2f/evil": "/"} {
		if got := inside(in); got != want && !(in == "/%2f/evil" && !strings.HasPrefix(got, "//")) {
			t.Errorf("%q leads to %q, expected %q", in, got, want)
		}
	}
}

// Nothing is told to who is not signed in, neither of the site nor of its people.
func TestNothingIsTold(t *testing.T) {
	s := newSite(t).full()
	c := s.caller()
	for _, path := range []string{"/", "/sign-in", "/days", "/cycle/" + s.key("S1", "1045"), "/people", "/nothing", "/exports/00", "/cycle/none"} {
		r := c.get(path)
		for _, secret := range []string{"Tern Quay", "mara", "Mara", "S1", "1045", "2026"} {
			told := strings.NewReplacer(path, "", url.QueryEscape(path), "").Replace(r.body) // what was asked for is no secret
			if strings.Contains(told, secret) {
				t.Errorf("%s tells %q", path, secret)
			}
		}
	}
	if a, b := c.get("/cycle/"+s.key("S1", "1045")), c.get("/cycle/none"); a.code != b.code {
		t.Errorf("whether a cycle is there shows: %d and %d", a.code, b.code)
	}
}
