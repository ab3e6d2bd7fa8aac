package desk

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"holdproof/cmd/internal/surgery"
)

// A load is released at the machine before its record comes; when the record comes and
// does not conform, a recall is open without anybody doing anything. Who may only
// operate may reject and not release.
func TestLoadAtTheMachine(t *testing.T) {
	s := newSite(t)
	lea, ben := s.as("lea"), s.as("ben")
	load := func(machine, number, do string, more ...string) []string {
		return append([]string{"machine", machine, "number", number, "day", "2026-11-02", "at", "11:40", "do", do}, more...)
	}
	looked := []string{"indicator", "passed", "dry", "yes", "sealed", "yes", "contents", "surgical sets", "count", "4", "wrapping", "wrapped", "packed", "ben", "use-by", "2027-01-31"}
	for _, try := range []struct {
		who    *caller
		fields []string
		code   int
		says   string
	}{
		{ben, load("S1", "1045", "release", looked...), 409, "may not release"},
		{lea, load("S1", "", "release", looked...), 409, "number of the cycle is missing"},
		{lea, load("S3", "1045", "release", looked...), 409, "No steriliser"},
		{lea, load("S1", "1045", "release", "indicator", "failed"), 409, "are not released"},
		{lea, load("S1", "1045", "release", "dry", "no"), 409, "are not released"},
		{lea, load("S1", "1045", "look"), 400, "press Release or Reject"},
		{lea, load("S1", "1045", "release", "count", "four"), 400, "four"},
		{lea, load("S1", "1045", "release", "use-by", "soon"), 400, "use by is no date"},
		{lea, load("S1", "1045", "release", looked...), 303, ""},
		{lea, load("S1", "1045", "release", looked...), 409, "already"},
		{ben, load("S1", "1046", "reject", "dry", "no", "reason", "wet"), 303, ""},
	} {
		r := try.who.post("/load", try.fields...)
		if r.code != try.code || !strings.Contains(r.text(), try.says) {
			t.Errorf("%v: %d %s, expected %d %q", try.fields, r.code, r.text(), try.code, try.says)
		}
		if r.code == 409 || r.code == 400 { // what was written stays
			if !strings.Contains(r.body, `value="11:40"`) {
				t.Errorf("%v: the time that was written is gone", try.fields)
			}
		}
	}
	page := lea.get("/load").text()
	for _, want := range []string{"S1 · 1045 released, surgical sets, 4 packs, wrapped no record yet", "S1 · 1046 rejected", "11:40, Lea Marsh", "Highest so far: S1 1046"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q: %s", want, page)
		}
	}
	s.full()
	if text := lea.get("/").text(); !strings.Contains(text, "Call this load back") {
		t.Errorf("no recall is open: %s", text)
	}
	c, err := s.records.Cycle(t.Context(), "S1/1045")
	if err != nil || c.Release != "released" || c.Recall != "opened" {
		t.Errorf("%q %q %v", c.Release, c.Recall, err)
	}
}

// That a machine of type N suits neither wrapped nor hollow loads is said where the load
// is chosen (EN 13060, second-hand).
func TestUnsuitedMachineIsSaid(t *testing.T) {
	s := newSite(t)
	if text := s.as("lea").get("/load").text(); strings.Contains(text, "do not suit") {
		t.Errorf("two machines of type B: %s", text)
	}
	s.records.Machines()[1].Type = "N"
	if text := s.as("lea").get("/load").text(); !strings.Contains(text, "S2 is of type N: its programmes do not suit wrapped or hollow loads.") {
		t.Errorf("a machine of type N: %s", text)
	}
}

// entryOf is the number of the newest entry that a page names.
func entryOf(t *testing.T, body string) string {
	t.Helper()
	all := regexp.MustCompile(`href="(/entry/[0-9]+)"`).FindAllStringSubmatch(body, -1)
	if len(all) == 0 {
		t.Fatal("no entry is linked")
	}
	return all[len(all)-1][1]
}

// A note is said anew with a reason, by who made it or by a lead; a decision is taken
// back and not changed; nothing without a reason. The old entry stays and names the new.
func TestCorrections(t *testing.T) {
	s := newSite(t).full()
	lea, ben, mara, inspector := s.as("lea"), s.as("ben"), s.as("mara"), s.inspector()
	good := s.key("S1", "1043")
	if r := ben.post("/note", "duty", "cycle counter", "machine", "S1", "day", "2026-11-02", "value", "1094"); r.code != 303 {
		t.Fatalf("%d %s", r.code, r.text())
	}
	n := int64(0)
	for i := int64(1); ; i++ {
		e, err := s.records.EntryShown(t.Context(), i, nil)
		if err != nil {
			break
		}
		if n = i; e.Entry != i {
			t.Fatal(e.Entry)
		}
	}
	at := fmt.Sprint("/entry/", n)
	if text := lea.get(at).text(); !strings.Contains(text, "1094 cycles") || !strings.Contains(text, "It cannot be corrected here") {
		t.Errorf("an entry of somebody else, for a nurse: %s", text)
	}
	if body := inspector.get(at).body; strings.Contains(body, "Put it right") || !strings.Contains(body, "1094") {
		t.Error("an inspector reads the entry and is offered nothing")
	}
	for _, try := range []struct {
		who    *caller
		fields []string
		code   int
		says   string
	}{
		{lea, []string{"do", "say", "value", "1049", "reason", "mistyped"}, 409, "may not correct"},
		{ben, []string{"do", "say", "value", "1049"}, 409, "needs a reason"},
		{ben, []string{"do", "say", "value", "many", "reason", "mistyped"}, 400, "many"},
		{ben, []string{"do", "say", "value", "1049", "reason", "Typed 1094. The display says 1049."}, 303, ""},
		{ben, []string{"do", "say", "value", "1048", "reason", "again"}, 409, "was corrected by entry"},
	} {
		if r := try.who.post(at, try.fields...); r.code != try.code || !strings.Contains(r.text(), try.says) {
			t.Errorf("%v: %d %s, expected %d %q", try.fields, r.code, r.text(), try.code, try.says)
		}
	}
	if text := ben.get(at).text(); !strings.Contains(text, fmt.Sprintf("entry %d corrects it", n+1)) || !strings.Contains(text, "1094") {
		t.Errorf("the old entry: %s", text)
	}
	if text := ben.get(fmt.Sprint("/entry/", n+1)).text(); !strings.Contains(text, fmt.Sprintf("It corrects entry %d", n)) || !strings.Contains(text, "1049") {
		t.Errorf("the new entry: %s", text)
	}
	// A release that was wrong is taken back, and the load waits again.
	s.readTests(lea)
	if r := lea.post("/cycle/"+good, "do", "release", "seen", s.seen(lea, good)); r.code != 303 {
		t.Fatalf("%d %s", r.code, r.text())
	}
	release := entryOf(t, lea.get("/cycle/"+good).body)
	if body := mara.get(release).body; strings.Contains(body, "Say it anew") || !strings.Contains(body, "Take it back") {
		t.Error("a decision is taken back and not changed")
	}
	if r := mara.post(release, "do", "withdraw", "reason", "The wrong tray was looked at."); r.code != 303 {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if one, err := s.records.ShownCycle(t.Context(), good); err != nil || one.Decision != "" || one.Settled {
		t.Errorf("%q %v %v", one.Decision, one.Settled, err)
	}
	list := s.inspector().get("/day/2026-11-02/entries").text()
	for _, want := range []string{"Cycle counter", "Corrected by", "Corrects", "The wrong tray was looked at.", "Ben Tarn", "S1 · 1043"} {
		if !strings.Contains(list, want) {
			t.Errorf("the entries of the day lack %q: %s", want, list)
		}
	}
	if r := lea.get("/day/2026-11-31/entries"); r.code != http.StatusNotFound {
		t.Error(r.code)
	}
	if r := lea.get("/entry/9999"); r.code != http.StatusNotFound {
		t.Error(r.code)
	}
	if r := lea.get("/entry/first"); r.code != http.StatusNotFound {
		t.Error(r.code)
	}
}

// The new run leads back to the load it repeats.
func TestRerunLeadsBack(t *testing.T) {
	s := newSite(t).full()
	c := s.as("ben")
	failed, again := s.key("S1", "1045"), s.key("S1", "1046")
	if strings.Contains(c.get("/cycle/"+again).body, "This load ran before as") {
		t.Error("before it is linked")
	}
	if r := c.post("/cycle/"+failed, "do", "reprocess", "rerun", "S1/1046", "seen", s.seen(c, failed)); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	_, history, _ := strings.Cut(c.get("/cycle/"+again).body, "This load ran before as")
	if !strings.Contains(history, `href="/cycle/`+failed+`"`) {
		t.Error("the load that failed is not linked from its new run")
	}
}

// noted is the number of a note that was entered, and of a load rejected before it.
func (s *site) noted() string {
	s.t.Helper()
	lea := s.as("lea")
	for path, fields := range map[string][]string{
		"/load": {"machine", "S1", "number", "1050", "day", "2026-11-02", "do", "reject", "contents", "extraction sets", "count", "5", "dry", "no"},
		"/note": {"duty", "water lines disinfected", "place", "chair 1", "day", "2026-11-02", "outcome", "done", "product", "Tern Quay line rinse (invented)",
			"strength", "3 %", "from", "2026-11-02 17:30", "to", "2026-11-02 17:40"}} {
		if r := lea.post(path, fields...); r.code != http.StatusSeeOther {
			s.t.Fatalf("%s: %d %s", path, r.code, r.text())
		}
	}
	for n := int64(1); ; n++ {
		e, err := s.records.EntryShown(s.t.Context(), n, nil)
		if err != nil {
			s.t.Fatal("the note is not there")
		}
		if e.Note != nil && e.Note.Form.InNeeded {
			return fmt.Sprint(n)
		}
	}
}

// signedDay signs the invented day as prepared and as reviewed.
func (s *site) signedDay() {
	s.t.Helper()
	lea := s.as("lea")
	s.readTests(lea)
	for _, f := range []struct {
		who, to, reason string
	}{{"lea", "/sign", "a number is missing"}, {"mara", "/countersign", ""}} {
		if r := s.as(f.who).post("/day/2026-11-02"+f.to, "reason", f.reason, "passphrase", word(f.who)); r.code != http.StatusSeeOther {
			s.t.Fatalf("%d %s", r.code, r.text())
		}
	}
}

// The signed record is read in the browser: as the PDF itself, which may do nothing, and
// as a page of what stands in the file, whatever was entered since.
func TestRecordIsRead(t *testing.T) {
	s := newSite(t).full()
	c := s.as("mara")
	for _, path := range []string{"/day/2026-11-02/record/read", "/day/2026-11-02/reading", "/day/2026-13-02/reading"} {
		if r := c.get(path); r.code != http.StatusNotFound {
			t.Errorf("%s before it is signed: %d", path, r.code)
		}
	}
	s.signedDay()
	pdf := c.get("/day/2026-11-02/record/read")
	if pdf.header.Get("Content-Disposition") != "inline; filename=2026-11-02.pdf" || pdf.header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(pdf.body, "%PDF-") {
		t.Errorf("%v %.20q", pdf.header, pdf.body)
	}
	if p := pdf.header.Get("Content-Security-Policy"); !strings.Contains(p, "default-src 'none'") || strings.Contains(p, "script-src") {
		t.Errorf("the record may do more than be shown: %s", p)
	}
	if r := c.post("/cycle/"+s.key("S1", "1045"), "do", "quarantine", "seen", s.seen(c, s.key("S1", "1045"))); r.code != 303 {
		t.Fatal(r.code)
	}
	text := c.get("/day/2026-11-02/reading").text()
	for _, want := range []string{"2026-11-02-r1", "The file is sound", "the logbook knows", "Prepared: Lea Marsh", "Reviewed: Mara Quill", "S1 · 1045", "S1-1045.csv", "a number is missing"} {
		if !strings.Contains(text, want) {
			t.Errorf("the reading lacks %q: %s", want, text)
		}
	}
	if strings.Contains(text, "quarantine") {
		t.Error("the reading shows what was entered after the signatures")
	}
	if strings.Contains(c.get("/day/2026-11-02").text(), "Read the record (PDF)") == false {
		t.Error("the day does not lead to its record")
	}
}

// Every load that needs a decision is decided after at most 40 words, all that is in
// sight counted, and with at most 4 acts (the owner's figures).
func TestFewWords(t *testing.T) {
	ctx := browser(t)
	s := newSite(t).full()
	s.signedIn(t, ctx, s.as("mara"))
	for _, l := range [][2]string{{"S1", "1045"}, {"S1", "1047"}, {"S2", "419"}} {
		run(t, ctx, "cycle", look(1280, "light"), chromedp.Navigate(s.server.URL+"/cycle/"+s.key(l[0], l[1])), chromedp.WaitReady(chromedp.CSS("main")))
		n := value[int](t, ctx, read)
		for _, do := range []string{surgery.DoQuarantine, surgery.DoReprocess, surgery.DoUsed} {
			value[bool](t, ctx, fmt.Sprintf(`(() => { document.querySelector("input[value=%s]").click(); return true })()`, do))
			n = max(n, value[int](t, ctx, read))
		}
		t.Logf("%s %s: %d words", l[0], l[1], n)
		if n > 40 || n < 10 {
			t.Errorf("%s %s: %d words to read, at most 40", l[0], l[1], n)
		}
	}
}

// A text that may name a patient is asked about on every form; what was written stays,
// and it is entered once the person says that it names none.
func TestNamesAreAskedAbout(t *testing.T) {
	s := newSite(t).full()
	lea := s.as("lea")
	key := s.key("S1", "1045")
	decide := []string{"do", "quarantine", "reason", "Mrs Applewood waits for it", "seen", s.seen(lea, key)}
	if r := lea.post("/cycle/"+key, decide...); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	body := lea.get("/cycle/" + key).body
	if !strings.Contains(body, `name="sure"`) || !strings.Contains(body, "Mrs Applewood waits") || !strings.Contains(body, "Not done:") {
		t.Error("the decision is not asked about, or what was written is gone")
	}
	if one, err := s.records.ShownCycle(t.Context(), key); err != nil || one.Decision != "" {
		t.Errorf("%q was entered all the same, %v", one.Decision, err)
	}
	lea.post("/cycle/"+key, append(decide, "sure", "yes")...)
	if one, err := s.records.ShownCycle(t.Context(), key); err != nil || one.Decision != "quarantine" {
		t.Errorf("%q %v", one.Decision, err)
	}
	load := []string{"machine", "S1", "number", "1051", "day", "2026-11-02", "do", "reject", "contents", "the tray of Mrs Applewood"}
	if r := lea.post("/load", load...); r.code != http.StatusConflict || !strings.Contains(r.body, `name="sure"`) {
		t.Errorf("%d %s", r.code, r.text())
	}
	if r := lea.post("/load", append(load, "sure", "yes")...); r.code != http.StatusSeeOther {
		t.Errorf("%d %s", r.code, r.text())
	}
}
