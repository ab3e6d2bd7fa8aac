package desk

import (
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

func TestEveryPageIsMade(t *testing.T) {
	s := newSite(t).full()
	c := s.as("mara")
	for _, path := range []string{"/", "/day/2026-11-02", "/day/2026-11-01", "/days", "/days?month=2026-10", "/find", "/find?machine=S1", "/find?window=S1", "/people", "/judging", "/note", "/drift",
		"/cycle/" + s.key("S1", "1045"), "/cycle/" + s.key("S1", "1041"), "/cycle/" + s.key("S2", "419"), "/cycle/" + s.key("S1", "1040")} {
		r := c.get(path)
		if r.code != http.StatusOK || !strings.Contains(r.body, "</html>") {
			t.Errorf("%s: %d %s", path, r.code, r.text())
		}
	}
	if len(s.logged) > 0 {
		t.Errorf("logged: %s", strings.Join(s.logged, "\n"))
	}
}

var hidden = regexp.MustCompile(`name="seen" value="([^"]*)"`)

// One act releases all conforming loads that are on show, one entry each; what waits for
// a test is not offered and says why.
func TestReleaseOfAllConforming(t *testing.T) {
	s := newSite(t).full()
	c := s.as("lea")
	before := c.get("/")
	if strings.Contains(before.body, `action="/release"`) || !strings.Contains(before.text(), "waits for what its indicator showed") {
		t.Errorf("before the tests are read: %s", before.text())
	}
	if text := s.as("ben").get("/").text(); !strings.Contains(text, "for somebody with another role") || strings.Contains(text, "wait for release.") {
		t.Errorf("who may only operate sees what others must do: %s", text)
	}
	s.readTests(c)
	page := c.get("/").body
	var fields []string
	for _, m := range hidden.FindAllStringSubmatch(page, -1) {
		fields = append(fields, "seen", m[1])
	}
	if len(fields) != 2*8 {
		t.Fatalf("%d loads are offered, expected the 8 that conform", len(fields)/2)
	}
	fields = append(fields, "reason", "S2 had its control test, which nobody entered")
	// Two browsers at once: what the second saw is no longer so.
	other := s.as("mara")
	if r := other.post("/release", fields[:2]...); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	r := c.post("/release", fields...)
	if r.code != http.StatusConflict || !strings.Contains(r.text(), "Somebody else acted first") {
		t.Errorf("%d %s", r.code, r.text())
	}
	if r := c.post("/release", fields[2:]...); r.code != http.StatusSeeOther {
		t.Errorf("%d %s", r.code, r.text())
	}
	after := c.get("/")
	if strings.Contains(after.body, `action="/release"`) || !strings.Contains(after.text(), "7 loads were released.") {
		t.Errorf("after it: %s", after.text())
	}
	one, err := s.records.ShownCycle(t.Context(), s.key("S1", "1043"))
	if err != nil || one.Decision != surgery.DoRelease {
		t.Errorf("%q, %v", one.Decision, err)
	}
	for _, sin := range []string{"1045", "1047"} {
		if one, err := s.records.ShownCycle(t.Context(), s.key("S1", sin)); err != nil || one.Decision != "" {
			t.Errorf("%s was released with the others: %v", sin, err)
		}
	}
}

// A failed load is never released, whatever a form says; a borderline one needs a second
// person, who proves it with a passphrase; who may only operate releases nothing.
func TestDecisionsFollowTheRules(t *testing.T) {
	s := newSite(t).full()
	lea, ben := s.as("lea"), s.as("ben")
	s.readTests(lea)
	failed, odd, good := s.key("S1", "1045"), s.key("S1", "1047"), s.key("S1", "1043")
	page := lea.get("/cycle/" + failed).body
	if strings.Contains(page, `value="release"`) || !strings.Contains(page, "Not possible now") {
		t.Error("the release of a failed load is offered, or not explained")
	}
	for _, try := range []struct {
		who    *caller
		key    string
		fields []string
		code   int
		says   string
	}{
		{lea, failed, []string{"do", "release", "reason", "it looks well"}, 409, "failed"},
		{ben, good, []string{"do", "release"}, 409, "may not release"},
		{lea, odd, []string{"do", "release"}, 409, "no reason is given"},
		{lea, odd, []string{"do", "release", "reason", "looked at"}, 409, "second person"},
		{lea, odd, []string{"do", "release", "reason", "looked at", "second", "mara", "second-passphrase", "wrong"}, 403, "does not open the key"},
		{lea, odd, []string{"do", "release", "reason", "looked at", "second", "ben", "second-passphrase", word("ben")}, 409, "lead"},
		{lea, odd, []string{"do", "nothing of the kind"}, 400, "choose what to do"},
		{lea, odd, []string{"do", "release", "reason", "looked at", "second", "mara", "second-passphrase", word("mara")}, 303, ""},
		{ben, failed, []string{"do", "quarantine", "why", "The lead has to look"}, 303, ""},
		{lea, failed, []string{"do", "already-used", "reason", "on the display"}, 303, ""},
	} {
		r := try.who.post("/cycle/"+try.key, append(try.fields, "seen", s.seen(try.who, try.key))...)
		if r.code != try.code || !strings.Contains(r.text(), try.says) {
			t.Errorf("%v: %d %s, expected %d %q", try.fields, r.code, r.text(), try.code, try.says)
		}
		if strings.Contains(r.text(), "--") {
			t.Errorf("%v: the page advises what only a terminal takes: %s", try.fields, r.text())
		}
	}
	// The recall stands before all else, for everybody.
	first := s.as("ben").get("/").body
	if i, j := strings.Index(first, `class="recall"`), strings.Index(first, `class="instruct"`); i < 0 || j < i {
		t.Error("the recall is not the first thing on the page")
	}
	for _, path := range []string{"/days", "/find", "/people", "/judging", "/note", "/day/2026-11-01", "/cycle/" + good, "/nothing"} {
		if !strings.Contains(s.as("ben").get(path).text(), "Call back: S1 · 1045") {
			t.Errorf("the recall is not on %s", path)
		}
	}
	// The lead closes it with what became of each pack; nobody else can.
	if r := lea.post("/cycle/"+failed, "do", "close", "seen", s.seen(lea, failed), "packs", "blue tray = found"); r.code != 409 {
		t.Errorf("closed by who is not lead: %d", r.code)
	}
	mara := s.as("mara")
	if r := mara.post("/cycle/"+failed, "do", "close", "seen", s.seen(mara, failed), "packs", "blue tray = found, not used\ngreen tray = used"); r.code != 303 {
		t.Errorf("%d %s", r.code, r.text())
	}
	if strings.Contains(mara.get("/").body, `class="recall"`) {
		t.Error("the recall is closed and still waits")
	}
	history := mara.get("/cycle/" + failed).text()
	for _, want := range []string{"Put in quarantine", "Ben Tarn", "The lead has to look", "Recall closed; blue tray: found, not used; green tray: used"} {
		if !strings.Contains(history, want) {
			t.Errorf("the history lacks %q: %s", want, history)
		}
	}
}

// A load that was run again leads to its new run.
func TestRerunIsLinked(t *testing.T) {
	s := newSite(t).full()
	c := s.as("ben")
	failed, again := s.key("S1", "1045"), s.key("S1", "1046")
	if r := c.post("/cycle/"+failed, "do", "reprocess", "why", "The record does not conform", "rerun", "S1/1046", "seen", s.seen(c, failed)); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	_, history, _ := strings.Cut(c.get("/cycle/"+failed).body, "Run again as")
	if !strings.Contains(history, `href="/cycle/`+again+`"`) {
		t.Error("the new run is not linked")
	}
}

// Nurse and lead sign the day with their passphrases; the person who prepared it does
// not review it, and the record is what verify finds sound.
func TestSigning(t *testing.T) {
	s := newSite(t).full()
	lea, mara := s.as("lea"), s.as("mara")
	s.readTests(lea)
	day := "/day/2026-11-02"
	if r := lea.post(day+"/sign", "reason", "a number is missing", "passphrase", "wrong"); r.code != http.StatusForbidden {
		t.Errorf("a wrong passphrase signs: %d %s", r.code, r.text())
	}
	in, err := s.records.SignIn(t.Context(), "lea", wordOf("lea"))
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.records.Prepare(t.Context(), surgery.Signing{Date: "2026-11-02", By: surgery.Proof{Person: "lea", SignedIn: &in}, Reason: "x"})
	if err == nil || !strings.Contains(err.Error(), "asks for the passphrase again") {
		t.Errorf("a session alone signs: %v", err)
	}
	if r := lea.post(day+"/sign", "passphrase", word("lea")); r.code != http.StatusConflict {
		t.Errorf("a day with something missing is signed without a reason: %d %s", r.code, r.text())
	}
	if r := lea.post(day+"/sign", "reason", "1048 was not exported", "passphrase", word("lea")); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if text := lea.get(day).text(); !strings.Contains(text, "Prepared: Lea Marsh") || strings.Contains(text, "Sign as reviewed") {
		t.Errorf("after the first signature: %s", text)
	}
	if r := mara.post(day+"/countersign", "passphrase", word("mara")); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	pdf := mara.get(day + "/record")
	if !strings.HasPrefix(pdf.body, "%PDF-") || pdf.header.Get("Content-Disposition") != "attachment; filename=2026-11-02.pdf" || pdf.header.Get("Content-Type") != "application/pdf" {
		t.Errorf("%.20q %v", pdf.body, pdf.header)
	}
	for _, n := range []string{"prepared", "reviewed"} {
		if !strings.Contains(pdf.body, n) {
			t.Errorf("the record has no signature %s", n)
		}
	}
	if month := mara.get("/days").text(); !strings.Contains(month, "2 Mon signed") {
		t.Errorf("the calendar: %s", month)
	}
	if strings.Contains(strings.Join(s.logged, "\n"), "passphrase 7") {
		t.Error("a passphrase was logged")
	}
}

// The original comes back byte by byte, as a file and never as a page.
func TestOriginal(t *testing.T) {
	s := newSite(t).full()
	c := s.as("ben")
	key := s.key("S1", "1043")
	link := regexp.MustCompile(`href="(/exports/[0-9a-f]{64})"`).FindStringSubmatch(c.get("/cycle/" + key).body)
	if link == nil {
		t.Fatal("no original is linked")
	}
	r := c.get(link[1])
	want, err := os.ReadFile(filepath.Join(s.exports, "S1-1043.csv"))
	if err != nil || r.body != string(want) {
		t.Errorf("%d bytes, expected %d, %v", len(r.body), len(want), err)
	}
	if !strings.HasPrefix(r.header.Get("Content-Disposition"), "attachment") || r.header.Get("Content-Type") != "application/octet-stream" {
		t.Errorf("%v", r.header)
	}
}

// Each file's problems stand in place, with line and remedy.
func TestUpload(t *testing.T) {
	s := newSite(t)
	c := s.as("ben")
	good, err := os.ReadFile(filepath.Join(s.exports, "S1-1043.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(good), "\n")
	lines[30] = "soon,20.0,19.0,101.3\n"
	bad := strings.Join(lines, "")
	r := c.send(map[string][]byte{"good.csv": good, "bad.csv": []byte(bad), "letter.csv": []byte("Dear lead\n")})
	if r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	text := c.get(r.header.Get("Location")).text()
	for _, want := range []string{"good.csv", "bad.csv", "letter.csv", "Line 31"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q: %s", want, text)
		}
	}
	if strings.Contains(c.get("/").body, `action="/release"`) {
		t.Error("a release is offered to who may only operate")
	}
	if other := s.as("lea").get(r.header.Get("Location")).text(); strings.Contains(other, "What came in") {
		t.Error("somebody else sees what came in")
	}
	if r := c.post("/exports"); r.code != http.StatusBadRequest {
		t.Errorf("no file: %d", r.code)
	}
}

// A page is light: the first one with its fonts, and each later one.
func TestWeight(t *testing.T) {
	s := newSite(t).full()
	c := s.as("mara")
	c.http.Transport = &http.Transport{DisableCompression: true}
	packed := func(path string) (int, string) {
		r := c.request("GET", path, nil)
		r.Header.Set("Accept-Encoding", "gzip")
		a := c.do(r)
		if a.code != http.StatusOK || a.header.Get("Content-Encoding") != "gzip" {
			t.Errorf("%s: %d %s", path, a.code, a.header.Get("Content-Encoding"))
		}
		return len(a.body), a.header.Get("Cache-Control")
	}
	first, _ := packed("/")
	t.Logf("today: %d bytes", first)
	for name, a := range s.desk.assets {
		n, kept := packed("/assets/" + a.name)
		t.Logf("%s: %d bytes", name, n)
		if name != "mono.ttf" { // only asked for where a hash is shown
			first += n
		}
		if !strings.Contains(kept, "immutable") {
			t.Errorf("%s may not be kept: %q", name, kept)
		}
	}
	if first > 250_000 {
		t.Errorf("the first page weighs %d bytes with its fonts, more than 250 kB", first)
	}
	t.Logf("first page with its fonts: %d bytes", first)
	for name, path := range s.pagesToSee() {
		if n, _ := packed(path); n > 60_000 {
			t.Errorf("%s weighs %d bytes, more than 60 kB", name, n)
		}
	}
}
