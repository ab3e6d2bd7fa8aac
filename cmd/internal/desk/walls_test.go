package desk

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

// What follows is tried on every route of the table, so that a new one is tried as well.

var parameter = regexp.MustCompile(`\{(\w+)\}`)

// at is a route's method and its address with something real in each place.
func (s *site) at(rt route) (method, path string) {
	s.t.Helper()
	method, path, _ = strings.Cut(rt.pattern, " ")
	path = strings.Replace(path, "{$}", "", 1)
	real := map[string]string{"day": "2026-11-02", "key": s.key("S1", "1045"), "n": "1", "id": "lea", "name": s.desk.assets["desk.css"].name}
	if strings.HasPrefix(path, "/record/") {
		real["name"] = "2026-11-02.pdf"
	}
	if strings.Contains(path, "{sum}") {
		one, err := s.records.ShownCycle(s.t.Context(), real["key"])
		if err != nil || len(one.Sources) == 0 {
			s.t.Fatal(err)
		}
		real["sum"] = one.Sources[0].SHA256
	}
	for _, p := range parameter.FindAllStringSubmatch(path, -1) {
		if real[p[1]] == "" {
			s.t.Fatalf("%s: nothing real is known for {%s}; name it in this test", rt.pattern, p[1])
		}
		path = strings.Replace(path, p[0], real[p[1]], 1)
	}
	return method, path
}

// signedDay is a site with the invented day imported, read and signed.
func signedDay(t testing.TB) *site {
	s := newSite(t).full()
	c := s.as("lea")
	s.readTests(c)
	if r := c.post("/day/2026-11-02/sign", "reason", "1048 was not exported", "passphrase", word("lea")); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	return s
}

func (s *site) size() int64 {
	s.t.Helper()
	n, err := s.records.LogSize(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	return n
}

// Every answer says what a browser may do with it; only what never changes may be kept, and
// only a record that the browser's own viewer draws has a policy of its own.
func TestEveryRouteIsGuarded(t *testing.T) {
	s := signedDay(t)
	lead := s.as("mara")
	inline := regexp.MustCompile(`(?i)<style|<script(?:[^>]*)>[^<]|\sstyle=|\son[a-z]+=|javascript:|https?://`)
	pages := 0
	for _, rt := range s.desk.routes() {
		method, path := s.at(rt)
		if method != http.MethodGet {
			continue
		}
		r := lead.get(path)
		want := policy
		if rt.pattern == "GET /day/{day}/record/read" {
			want = pdfPolicy
		}
		if got := r.header.Get("Content-Security-Policy"); got != want || !strings.Contains(got, "default-src 'none'") || strings.Contains(got, "script-src 'unsafe") || !strings.Contains(got, "frame-ancestors 'none'") {
			t.Errorf("%s: policy %q", rt.pattern, got)
		}
		for name, value := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin"} {
			if r.header.Get(name) != value {
				t.Errorf("%s: %s is %q, expected %q", rt.pattern, name, r.header.Get(name), value)
			}
		}
		if kept := r.header.Get("Cache-Control"); (kept == "no-store") == strings.HasPrefix(path, "/assets/") {
			t.Errorf("%s: Cache-Control is %q", rt.pattern, kept)
		}
		if r.code >= 500 || r.code == http.StatusForbidden {
			t.Errorf("%s: %d for a lead", path, r.code)
		}
		if !strings.HasPrefix(r.header.Get("Content-Type"), "text/html") {
			continue
		}
		pages++
		body := strings.ReplaceAll(r.body, `xmlns="http://www.w3.org/2000/svg"`, "")
		if at := inline.FindStringIndex(body); at != nil {
			t.Errorf("%s: found %q, which the policy stops or which asks elsewhere", path, body[max(0, at[0]-30):min(len(body), at[1]+40)])
		}
	}
	if pages < 12 {
		t.Errorf("only %d pages were looked at", pages)
	}
}

// A page of another site, or another name for this computer, gets nothing done and nothing
// told, whoever is signed in.
func TestNoRouteServesOtherSites(t *testing.T) {
	s := signedDay(t)
	lead := s.as("mara")
	before := s.size()
	for _, rt := range s.desk.routes() {
		method, path := s.at(rt)
		r := lead.request(method, path, nil)
		r.Host = "holdproof.evil.example"
		if got := lead.do(r); got.code != http.StatusMisdirectedRequest || strings.Contains(got.body, "Tern Quay") {
			t.Errorf("%s by another name: %d", rt.pattern, got.code)
		}
		if method == http.MethodGet {
			continue
		}
		for _, h := range [][2]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "http://elsewhere.example"}, {"Origin", "null"}} {
			r := lead.request(method, path, strings.NewReader("passphrase=x"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set(h[0], h[1])
			if got := lead.do(r); got.code != http.StatusForbidden || !strings.Contains(got.body, "asked for by another site") {
				t.Errorf("%s with %v: %d %s", rt.pattern, h, got.code, got.text())
			}
		}
	}
	if after := s.size(); after != before {
		t.Errorf("%d entries were made", after-before)
	}
	if r := lead.get("/"); r.code != http.StatusOK {
		t.Errorf("the session was ended from another site: %d", r.code)
	}
}

// Whoever is not signed in learns nothing from any route, by any method: what is there and
// what is not is answered with the same words, and leaves nothing.
func TestNoRouteTellsStrangers(t *testing.T) {
	s := signedDay(t)
	before := s.size()
	for _, rt := range s.desk.routes() {
		_, real := s.at(rt)
		pattern := strings.TrimLeft(rt.pattern, "GETPOS ")
		none := parameter.ReplaceAllString(strings.Replace(pattern, "{$}", "", 1), "none-such")
		for _, method := range []string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"} {
			s.desk.brake, s.desk.callers = newBrake(s.clock.now), newCallers(s.clock.now)
			there, absent := s.stranger(method, real), s.stranger(method, none)
			if strings.HasPrefix(real, "/assets/") {
				continue // the same for everybody, and nothing of the surgery
			}
			if there != absent {
				t.Errorf("%s %s: what is there and what is not differ:\n%.300s\n%.300s", method, pattern, there, absent)
			}
			for _, secret := range []string{"Tern Quay", "mara", "Mara", "Lea", "1045", "S1"} {
				if strings.Contains(there, secret) {
					t.Errorf("%s %s tells %q", method, pattern, secret)
				}
			}
		}
	}
	if after := s.size(); after != before {
		t.Errorf("%d entries were made", after-before)
	}
}

// stranger is all that comes back to somebody who is not signed in, but for the address
// that was asked for.
func (s *site) stranger(method, path string) string {
	r := httptest.NewRequestWithContext(s.t.Context(), method, "http://127.0.0.1"+path, nil)
	w := httptest.NewRecorder()
	s.desk.Handler().ServeHTTP(w, r)
	head := w.Header().Clone()
	head.Del("Set-Cookie")
	return strings.NewReplacer(url.QueryEscape(path), "", path, "").Replace(fmt.Sprint(w.Code, head, w.Body.String()))
}

// No parameter of any route reaches another file, or makes the desk stumble.
func TestNoRouteLeavesItsFolder(t *testing.T) {
	s := signedDay(t)
	lead := s.as("mara")
	tried := 0
	for _, rt := range s.desk.routes() {
		method, real := s.at(rt)
		pattern := strings.Split(strings.Replace(strings.TrimPrefix(rt.pattern, method+" "), "{$}", "", 1), "/")
		for i, part := range pattern {
			if !parameter.MatchString(part) {
				continue
			}
			for _, bad := range []string{"..%2f..%2fholdproof.yaml", "..%2fholdproof.db", "..%5c..%5ckeys%5cmara.p12", "%2e%2e%2fkeys%2fmara.p12", "%2fetc%2fpasswd", "%00", "..", "-1", "9999999999999999999999", "%ff%fe", strings.Repeat("9", 3000), "' OR 1=1 --", "{{.}}"} {
				parts := strings.Split(real, "/")
				parts[i] = strings.ReplaceAll(strings.ReplaceAll(bad, " ", "%20"), "{", "%7b")
				path := strings.Join(parts, "/")
				r := lead.do(lead.request(method, path, nil))
				tried++
				switch {
				case r.code >= 500:
					t.Errorf("%s %.80s: %d %.200s", method, path, r.code, r.text())
				case r.code == http.StatusOK && !strings.HasPrefix(r.header.Get("Content-Type"), "text/html"):
					t.Errorf("%s %.80s hands out %s", method, path, r.header.Get("Content-Type"))
				case strings.Contains(r.body, "root:x:") || strings.Contains(r.body, "SQLite format") || strings.Contains(r.body, "name: Tern"):
					t.Errorf("%s %.80s hands out a file", method, path)
				}
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d addresses were tried", tried)
	}
	if len(s.logged) > 0 {
		t.Errorf("logged: %.500s", strings.Join(s.logged, "\n"))
	}
}

// A form of more than a quarter of a megabyte is refused on every route that takes one.
func TestNoRouteTakesAHugeForm(t *testing.T) {
	s := signedDay(t)
	before := s.size()
	huge := "x=" + strings.Repeat("y", maxForm+1)
	for _, rt := range s.desk.routes() {
		method, path := s.at(rt)
		if method == http.MethodGet || path == uploadPath || slices.Contains([]string{"/lock", "/sign-out", "/inspector", "/inspector/end"}, path) {
			continue // these three read no form
		}
		c := s.as("mara")
		r := c.request(method, path, strings.NewReader(huge))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if got := c.do(r); got.code != http.StatusRequestEntityTooLarge && got.code < 400 {
			t.Errorf("%s takes it: %d %.200s", rt.pattern, got.code, got.text())
		}
	}
	if after := s.size(); after != before {
		t.Errorf("%d entries were made", after-before)
	}
}

// Text that people and recorders wrote is text on every page of the table: names, reasons,
// notes, what a load was, file names, headings, numbers, programmes.
func TestNoRouteMakesTextMarkup(t *testing.T) {
	s := signedDay(t)
	const bad = `"><img src=x onerror=alert(1)>'<script>alert(2)</script>`
	lead := s.as("mara")
	err := s.records.AddPerson(t.Context(), surgery.Joining{ID: "eve", Name: "Eve <img src=x>", Roles: []string{"operate"}, Passphrase: wordOf("eve"),
		By: surgery.Proof{Person: "mara", Passphrase: wordOf("mara")}, Authority: wordOf("authority"), Reason: bad})
	if err != nil {
		t.Fatal(err)
	}
	eve := s.as("eve")
	file := "serial: TQ-0417\ncycle number: \"<img src=x>\"\nprogramme: <script>alert(2)</script>\ntime,chamber °C,load °C <b>,pressure kPa abs\n" +
		"2026-11-02T08:00:00,20,20,101\n2026-11-02T08:00:01,20,20,101\n2026-11-02T08:00:02,21,20,<img src=x>\n"
	came := eve.send(map[string][]byte{`<svg onload=alert(3)>.csv`: []byte(file), "<i>not a table</i>.csv": []byte("<img src=x>\n<img src=x>")})
	if came.code != http.StatusSeeOther {
		t.Fatalf("%d %s", came.code, came.text())
	}
	for _, note := range [][]string{{"duty", "hands and surfaces", "outcome", "done", "text", bad}, {"duty", "closed day", "day", "2026-11-01", "text", bad}} {
		if r := lead.post("/note", append([]string{"day", "2026-11-02"}, note...)...); r.code >= 500 {
			t.Errorf("%v: %d", note, r.code)
		}
	}
	key := s.key("S1", "1045")
	if r := eve.post("/cycle/"+key, "seen", s.seen(eve, key), "do", "quarantine", "reason", bad); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	ask := "?" + url.Values{"number": {bad}, "machine": {bad}, "from": {bad}, "back": {bad}, "duty": {bad}, "text": {bad}, "day": {bad}, "window": {bad}, "person": {bad}, "came": {bad}, "place": {bad}}.Encode()
	var pages []string
	for _, rt := range s.desk.routes() {
		if method, path := s.at(rt); method == http.MethodGet && !strings.HasPrefix(path, "/assets/") {
			pages = append(pages, path, path+ask)
		}
	}
	list, err := s.records.ShownCycles(t.Context(), surgery.ShownQuery{})
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range list {
		pages = append(pages, "/cycle/"+url.PathEscape(one.Key))
	}
	for n := range s.size() {
		pages = append(pages, fmt.Sprint("/entry/", n+1))
	}
	for n := range 12 {
		pages = append(pages, fmt.Sprint("/question/", n+1))
	}
	pages = append(pages, came.header.Get("Location"), "/day/2026-11-01", "/nothing/%3Cscript%3E")
	shown := 0
	for _, path := range pages {
		r := lead.get(path)
		if r.code >= 500 {
			t.Errorf("%s: %d %.200s", path, r.code, r.text())
		}
		if !strings.HasPrefix(r.header.Get("Content-Type"), "text/html") {
			continue
		}
		for _, markup := range []string{"<img", "<script>", "<svg onload", "<b>", "<i>", "onerror=alert(1)>\""} {
			if strings.Contains(r.body, markup) {
				t.Errorf("%s: %s became markup", path, markup)
			}
		}
		if strings.Contains(r.body, "&lt;img") {
			shown++
		}
	}
	if shown < 8 {
		t.Errorf("the text is shown on %d pages only, so little was tried", shown)
	}
}
