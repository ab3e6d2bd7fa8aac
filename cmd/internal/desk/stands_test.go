package desk

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// headline is the one large line of the page of a cycle.
func headline(body string) string {
	_, rest, _ := strings.Cut(body, `<p class="verdict">`)
	line, _, _ := strings.Cut(rest, "</p>")
	return answer{body: line}.text()
}

// What a person is told follows what was decided: a borderline load is kept aside until
// two people have released it, and no longer.
func TestInstructionFollowsTheDecision(t *testing.T) {
	s := newSite(t).full()
	lea := s.as("lea")
	s.readTests(lea)
	key := s.key("S1", "1047")
	const aside = "Keep this load aside."
	if got := headline(lea.get("/cycle/" + key).body); !strings.Contains(got, aside) {
		t.Fatalf("before: %q", got)
	}
	r := lea.post("/cycle/"+key, "do", "release", "reason", "curve looked at", "second", "mara", "second-passphrase", word("mara"), "seen", s.seen(lea, key))
	if r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	page := lea.get("/cycle/" + key)
	if !strings.Contains(page.text(), "S1 · 1047 is released.") {
		t.Error("what was done is not said as done")
	}
	if got := headline(page.body); strings.Contains(got, aside) {
		t.Errorf("after its release: %q", got)
	}
	if strings.Contains(lea.get("/day/2026-11-02").text(), aside) {
		t.Error("the day still says to keep it aside")
	}
	bad := s.key("S1", "1045")
	for _, step := range [][2]string{{"quarantine", "In quarantine. The lead decides."}, {"reprocess", "Link it with its new run."}} {
		if r := lea.post("/cycle/"+bad, "do", step[0], "seen", s.seen(lea, bad)); r.code != http.StatusSeeOther {
			t.Fatalf("%d %s", r.code, r.text())
		}
		if got := headline(lea.get("/cycle/" + bad).body); !strings.Contains(got, step[1]) || strings.Contains(got, "Repack") {
			t.Errorf("%s: %q", step[0], got)
		}
	}
}

// A load that is called back says so in its one headline, and nowhere else on its page.
func TestRecallIsTheHeadline(t *testing.T) {
	s := newSite(t).full()
	lea := s.as("lea")
	key := s.key("S1", "1045")
	if r := lea.post("/cycle/"+key, "do", "already-used", "seen", s.seen(lea, key)); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	lea.get("/cycle/" + key) // what was done is said once
	page := lea.get("/cycle/" + key)
	if got := headline(page.body); !strings.Contains(got, "Call this load back. Find every pack;") || strings.Contains(got, "Repack") {
		t.Errorf("the headline: %q", got)
	}
	if n := strings.Count(page.text(), "ind every pack"); n != 1 {
		t.Errorf("said %d times", n)
	}
	if other := lea.get("/cycle/" + s.key("S1", "1046")).text(); !strings.Contains(other, "Call back: S1 · 1045") {
		t.Error("another page does not say that a load is called back")
	}
}

// A decision of another day than the cycle's has its date.
func TestDecisionHasItsDate(t *testing.T) {
	began := time.Date(2026, 11, 7, 8, 0, 0, 0, time.UTC)
	for at, want := range map[time.Time]string{
		began.Add(14*time.Hour + 14*time.Minute):                  "22:14",
		time.Date(2026, 11, 25, 22, 14, 0, 0, time.UTC):           "25 Nov 2026, 22:14",
		time.Date(2027, 11, 7, 22, 14, 0, 0, time.UTC):            "7 Nov 2027, 22:14",
		began.AddDate(0, 0, 1).Add(-7*time.Hour - 59*time.Minute): "8 Nov 2026, 00:01",
	} {
		if got := actedAt(began, at); got != want {
			t.Errorf("%v: %q, expected %q", at, got, want)
		}
	}
	s := newSite(t).full()
	lea, key := s.as("lea"), s.key("S1", "1045")
	s.clock.move(5 * time.Minute)
	if r := lea.post("/cycle/"+key, "do", "quarantine", "seen", s.seen(lea, key)); r.code != http.StatusSeeOther {
		t.Fatal(r.code)
	}
	if text := lea.get("/cycle/" + key).text(); !strings.Contains(text, "by Lea Marsh, 18:05") {
		t.Errorf("of the same day: %s", text)
	}
	s.clock.move(24 * time.Hour)
	mara := s.as("mara")
	if r := mara.post("/cycle/"+key, "do", "reprocess", "seen", s.seen(mara, key)); r.code != http.StatusSeeOther {
		t.Fatal(r.code)
	}
	for _, path := range []string{"/cycle/" + key, "/day/2026-11-02", "/find?machine=S1&number=1045"} {
		if text := mara.get(path).text(); !strings.Contains(text, "by Mara Quill, 3 Nov 2026, 18:05") {
			t.Errorf("%s has no date: %s", path, text)
		}
	}
}

// A file that could not be read leads from Today to the form that clears it, filled in.
func TestBadFileIsCleared(t *testing.T) {
	s := newSite(t)
	lea := s.as("lea")
	lea.send(map[string][]byte{"hello.txt": []byte("good morning\n")})
	body := lea.get("/").body
	_, rest, found := strings.Cut(body, `<a href="/note?duty=file+looked+at&amp;file=`)
	if !found {
		t.Fatalf("the file leads nowhere: %s", answer{body: body}.text())
	}
	n, _, _ := strings.Cut(rest, `"`)
	if form := lea.get("/note?duty=file+looked+at&file=" + n).body; !strings.Contains(form, `name="file" inputmode="numeric" class="short" value="`+n+`"`) {
		t.Errorf("the form is not filled in: %s", form)
	}
	if r := lea.post("/note", "duty", "file looked at", "file", n, "day", "2026-11-02", "text", "a greeting and no export"); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if text := lea.get("/").text(); strings.Contains(text, "hello.txt") {
		t.Errorf("it still waits: %s", text)
	}
}

// Who prepared a day is not offered to review it, nobody is offered to sign a day that
// has not come, and both are told why.
func TestSigningIsOfferedToWhoMay(t *testing.T) {
	s := newSite(t).full()
	mara, lea := s.as("mara"), s.as("lea")
	s.readTests(lea)
	if r := mara.post("/day/2026-11-02/sign", "reason", "a number is missing", "passphrase", word("mara")); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if page := mara.get("/day/2026-11-02"); strings.Contains(page.body, "/countersign") || !strings.Contains(page.text(), "prepared the record of 2 Nov 2026 and does not review it") {
		t.Errorf("who prepared it is offered the review, or is not told why not: %s", page.text())
	}
	s.clock.move(24 * time.Hour)
	if text := s.as("mara").get("/").text(); strings.Contains(text, "This day is prepared and not reviewed") || !strings.Contains(text, "for somebody with another role") && !strings.Contains(text, "for somebody else") {
		t.Errorf("the review waits for who prepared it: %s", text)
	}
	if page := s.as("lea").get("/day/2026-11-30"); strings.Contains(page.body, "/sign\"") || !strings.Contains(page.text(), "This day has not come yet.") {
		t.Errorf("a day ahead is offered to be signed: %s", page.text())
	}
}

// The entries of a day show figure, product and times of what was noted.
func TestEntriesShowFigures(t *testing.T) {
	s := newSite(t).full()
	s.noted()
	lea := s.as("lea")
	if r := lea.post("/note", "duty", "cycle counter", "machine", "S1", "day", "2026-11-02", "value", "1086"); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	text := lea.get("/day/2026-11-02/entries").text()
	for _, want := range []string{"Cycle counter; 1086 cycles", "Water lines disinfected: done; Tern Quay line rinse (invented) 3 %; in 2 Nov 17:30; out 2 Nov 17:40"} {
		if !strings.Contains(text, want) {
			t.Errorf("the entries lack %q: %s", want, text)
		}
	}
}

// Dates that cannot be meant are said, and not passed over.
func TestOddDatesAreSaid(t *testing.T) {
	s := newSite(t)
	c := s.as("ben")
	for path, want := range map[string]string{
		"/find?from=2026-11-05&to=2026-11-02": "5 Nov 2026 is after 2 Nov 2026, so no day lies between.",
		"/find?from=2026-02-30":               `From: "2026-02-30" is no date`,
		"/find?to=tomorrow":                   `To: "tomorrow" is no date`,
	} {
		if text := strings.ReplaceAll(c.get(path).text(), "&#34;", `"`); !strings.Contains(text, want) {
			t.Errorf("%s lacks %q: %s", path, want, text)
		}
	}
	if strings.Contains(c.get("/find?from=2026-11-02&to=2026-11-02").body, "so no day lies between") {
		t.Error("one day is a span")
	}
}

// A load of a day without its tests is not let go in one act without a word: the tests
// stand beside the button, and a reason is asked for and kept.
func TestReleaseWithoutTestsSaysWhy(t *testing.T) {
	s := newSite(t)
	lea := s.as("lea")
	lea.send(map[string][]byte{"S1-1043.csv": s.export(t, "S1-1043.csv")})
	key := s.key("S1", "1043")
	const lacks = "Not entered as passed on S1 for 2 Nov 2026:"
	day := lea.get("/")
	for _, want := range []string{lacks, "steam penetration test", "Why it is released without them"} {
		if !strings.Contains(day.text(), want) {
			t.Errorf("beside the button of the day stands no %q: %s", want, day.text())
		}
	}
	if strings.Contains(day.text(), "Tell the lead, who decides") {
		t.Error("the day tells a nurse that the lead decides, and offers the release")
	}
	if text := lea.get("/cycle/" + key).text(); !strings.Contains(text, lacks) {
		t.Errorf("the page of the load is silent: %s", text)
	}
	seen := s.seen(lea, key)
	for _, r := range []answer{lea.post("/release", "seen", seen, "back", "/"), lea.post("/cycle/"+key, "do", "release", "seen", seen)} {
		if r.code != http.StatusConflict || !strings.Contains(r.text(), lacks) {
			t.Errorf("released without a word: %d %s", r.code, r.text())
		}
	}
	if r := lea.post("/release", "seen", seen, "back", "/", "reason", "the tests ran, their records come tonight"); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	one, err := s.records.ShownCycle(t.Context(), key)
	if err != nil || one.Decision != "release" || !strings.Contains(one.Done[len(one.Done)-1].Reason, "their records come tonight") {
		t.Errorf("%q %v %v", one.Decision, one.Done, err)
	}
}

// export is the bytes of one file of the invented day.
func (s *site) export(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(s.exports, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}
