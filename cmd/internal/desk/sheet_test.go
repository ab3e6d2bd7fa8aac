package desk

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
)

// formOf is the form of a page whose button says a text, as a browser would send it.
func formOf(t *testing.T, body, button string) []string {
	t.Helper()
	for _, f := range regexp.MustCompile(`(?s)<form[^>]*>.*?</form>`).FindAllString(body, -1) {
		at := regexp.MustCompile(`(?s)<button([^>]*)>` + regexp.QuoteMeta(button)).FindStringSubmatch(f)
		if at == nil {
			continue
		}
		var fields []string
		for _, m := range regexp.MustCompile(`<input[^>]*>`).FindAllString(f, -1) {
			get := func(name string) string {
				v := regexp.MustCompile(name + `="([^"]*)"`).FindStringSubmatch(m)
				if v == nil {
					return ""
				}
				return html.UnescapeString(v[1])
			}
			fields = append(fields, get(" name"), get(" value"))
		}
		if b := regexp.MustCompile(`name="([^"]*)" value="([^"]*)"`).FindStringSubmatch(at[1]); b != nil {
			fields = append(fields, b[1], html.UnescapeString(b[2]))
		}
		return fields
	}
	t.Fatalf("no form has a button %q", button)
	return nil
}

// stateOn is how a duty stands at its place.
func (s *site) stateOn(duty, where string) surgery.SheetRow {
	s.t.Helper()
	parts, err := s.records.Sheet(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	for _, p := range parts {
		for _, d := range p.Duties {
			for _, r := range d.Rows {
				if r.Owed.Duty == duty && r.Where() == where {
					return r
				}
			}
		}
	}
	s.t.Fatalf("%s, %s is not on the sheet", duty, where)
	return surgery.SheetRow{}
}

// One tap enters a duty at a place as done now, with the figure that the button names;
// the next page says what was entered and takes it back with one tap more.
func TestSheetByTaps(t *testing.T) {
	s := newSite(t)
	ben := s.as("ben")
	tap := func(button string) string {
		t.Helper()
		if r := ben.post("/sheet", formOf(t, ben.get("/sheet").body, button)...); r.code != http.StatusSeeOther {
			t.Fatalf("%s: %d %s", button, r.code, r.text())
		}
		return ben.get("/sheet").text()
	}
	flush := "Done now, 2 min<span class=\"unseen\"> Flush each water line for 2 min. chair 1"
	text := tap(flush)
	if r := s.stateOn("water lines flushed", "chair 1"); r.State != surgery.OwedDone || r.ByName != "Ben Tarn" || r.Entry == 0 || *r.Low != 2 {
		t.Errorf("%+v", r)
	}
	if !strings.Contains(text, "Entered: water lines flushed, chair 1, 18:00.") || !strings.Contains(text, "Take back: water lines flushed, chair 1, 18:00") {
		t.Errorf("the page does not say it: %s", text)
	}
	if text = tap("Take back"); !strings.Contains(text, "Taken back: water lines flushed, chair 1, 18:00.") || strings.Contains(text, "Take back:") {
		t.Errorf("after it was taken back: %s", text)
	}
	if r := s.stateOn("water lines flushed", "chair 1"); r.State != surgery.OwedOpen {
		t.Errorf("taken back, and yet %s", r.State)
	}
	// The count between patients, one more with each tap.
	for range 3 {
		text = tap("One more, 20 s<span class=\"unseen\"> Flush water and air for 20 to 30 s. chair 2")
	}
	if r := s.stateOn("water lines rinsed", "chair 2"); r.Count != 3 || !strings.Contains(text, "chair 2 ● done, 3 today") && !strings.Contains(text, "3 today") {
		t.Errorf("%d rinses: %s", r.Count, text)
	}
	if r := s.stateOn("water lines rinsed", "chair 1"); r.Count != 0 {
		t.Error("the other chair was counted")
	}
	// A figure where the duty needs one.
	fields := formOf(t, ben.get("/sheet").body, `Enter<span class="unseen"> Read the machine&#39;s own counter. S1`)
	for i := 0; i < len(fields); i += 2 {
		if fields[i] == "value" {
			fields[i+1] = "1049"
		}
	}
	if r := ben.post("/sheet", fields...); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if r := s.stateOn("cycle counter", "S1"); r.State != surgery.OwedDone {
		t.Errorf("the counter: %s %s", r.State, r.Detail)
	}
	if a, err := s.records.Audit(t.Context(), surgery.Auditing{}); err != nil || !a.OK() {
		t.Errorf("%v %v", a.Problems, err)
	}
}

// The lines are disinfected with two taps: in now, later out now; the contact time is
// held against the maker's figure. Before the time is over it does not count.
func TestSheetDisinfection(t *testing.T) {
	s := newSite(t)
	ben := s.as("ben")
	fields := []string{"duty", "water lines disinfected", "do", "in", "outcome", "", "product", "Tern Quay line rinse (invented)", "strength", "3 %", "place"}
	for _, chair := range []string{"chair 1", "chair 2"} {
		if r := ben.post("/sheet", append(fields, chair)...); r.code != http.StatusSeeOther {
			t.Fatalf("%d %s", r.code, r.text())
		}
	}
	if r := s.stateOn("water lines disinfected", "chair 1"); r.In == 0 || !r.Started || !r.Wanted() {
		t.Errorf("in, and %+v", r)
	}
	page := ben.get("/sheet").body
	if !strings.Contains(page, "Out now") || !strings.Contains(page, `value="Tern Quay line rinse (invented)" selected`) {
		t.Error("out now is not offered, or the product has to be chosen again")
	}
	s.clock.move(6 * time.Minute)
	ben.get("/sheet") // somebody is there: the desk is not locked
	s.clock.move(5 * time.Minute)
	if text := ben.get("/sheet").text(); !strings.Contains(text, "In since 18:00, 11 min so far.") {
		t.Errorf("since when it is in is not said: %s", text)
	}
	out := regexp.MustCompile(`name="out" value="(\d+)"[^>]*>Out now<span class="unseen">[^<]*chair 1`).FindStringSubmatch(ben.get("/sheet").body)
	if out == nil {
		t.Fatal("chair 1 cannot be taken out")
	}
	// Somebody else takes it out: that says something new, and corrects nobody.
	r := s.as("lea").post("/sheet", append(fields, "", "out", out[1])...)
	if r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if text := ben.get("/sheet").text(); !strings.Contains(text, "11 min, needs 10 min") {
		t.Errorf("the contact time is not said: %s", text)
	}
	if r := s.stateOn("water lines disinfected", "chair 1"); r.State != surgery.OwedDone || r.In != 0 {
		t.Errorf("out, and %s %q", r.State, r.Detail)
	}
	if r := s.stateOn("water lines disinfected", "chair 2"); r.In == 0 {
		t.Error("the other chair came out too")
	}
}

// What is refused stays on the sheet with its reason; nothing of it is entered.
func TestSheetRefuses(t *testing.T) {
	s := newSite(t)
	ben := s.as("ben")
	for _, try := range []struct {
		fields []string
		code   int
		says   string
	}{
		{[]string{"duty", "water lines flushed", "outcome", "done"}, 409, "needs a place"},
		{[]string{"duty", "water lines flushed", "place", "chair 9", "outcome", "done"}, 409, "chair 9"},
		{[]string{"duty", "tea made"}, 409, "no duty"},
		{[]string{"duty", "cycle counter", "machine", "S1", "value", "many"}, 400, "a number such as 42"},
		{[]string{"out", "first"}, 400, "no entry"},
		{[]string{"do", "undo", "entry", ""}, 400, "no entry"},
		{[]string{"do", "undo", "entry", "1"}, 409, "nobody corrects"},
		{[]string{"duty", "water lines disinfected", "do", "in", "place", "chair 1"}, 409, "needs a product"},
	} {
		if r := ben.post("/sheet", try.fields...); r.code != try.code || !strings.Contains(r.text(), try.says) {
			t.Errorf("%v: %d %s, expected %d %q", try.fields, r.code, r.text(), try.code, try.says)
		}
	}
	if body := s.inspector().get("/sheet").body; strings.Contains(body, `action="/sheet"`) || !strings.Contains(body, "Flush each water line") {
		t.Error("an inspector reads the sheet and enters nothing")
	}
}

// Every duty has a form of its own with the fields that it has, and no other.
func TestNoteForms(t *testing.T) {
	s := newSite(t)
	ben := s.as("ben")
	list := ben.get("/note").body
	if strings.Contains(list, "--") {
		t.Error("the list names flags of the command line")
	}
	for _, f := range surgery.Duties() {
		if !strings.Contains(list, "duty="+strings.ReplaceAll(html.EscapeString(url.PathEscape(f.Name)), "+", "%20")) {
			t.Errorf("%s is not on the list", f.Name)
		}
		body := ben.get("/note?duty=" + url.QueryEscape(f.Name)).body
		for field, has := range map[string]bool{"machine": f.On == "steriliser", "place": f.On == "place", "value": f.Unit != "", "product": f.Product, "from": f.In, "to": f.Out,
			"sampled": f.Sampled, "control": f.Control, "times": f.Times, "cycle": f.Cycle, "test": f.Tests, "of": f.Of != "", "text": true} {
			if strings.Contains(body, `name="`+field+`"`) != has {
				t.Errorf("%s: the field %s is there: %v, expected %v", f.Name, field, !has, has)
			}
		}
	}
	// A text that may name a patient is asked about, and what was written stays.
	fields := []string{"duty", "suction looked at", "place", "chair 1", "day", "2026-11-02", "outcome", "done", "text", "Mrs Applewood was in the chair"}
	r := ben.post("/note", fields...)
	if r.code != http.StatusConflict || !strings.Contains(r.body, `name="sure"`) || !strings.Contains(r.body, "Mrs Applewood was") {
		t.Errorf("%d %s", r.code, r.text())
	}
	if r := ben.post("/note", append(fields, "sure", "yes")...); r.code != http.StatusSeeOther {
		t.Errorf("looked at again: %d %s", r.code, r.text())
	}
}

// What is open today stands first on the first page, before what waits, but after a recall.
func TestOpenTodayIsFirst(t *testing.T) {
	s := newSite(t)
	ben := s.as("ben")
	body := ben.get("/").body
	open, waits := strings.Index(body, `id="open"`), strings.Index(body, `id="waits"`)
	if open < 0 || open > waits || !strings.Contains(body, `href="/sheet#start-of-day"`) {
		t.Errorf("open at %d, what waits at %d", open, waits)
	}
	before := s.as("ben").get("/").text()
	if r := ben.post("/sheet", "duty", "reservoir filled", "machine", "S1", "outcome", "done"); r.code != http.StatusSeeOther {
		t.Fatal(r.code)
	}
	if after := ben.get("/").text(); !strings.Contains(before, "Fill the reservoir with purified water S1, S2") || !strings.Contains(after, "Fill the reservoir with purified water S2") {
		t.Errorf("before: %s\nafter: %s", before, after)
	}
	lea := s.as("lea")
	if r := lea.post("/load", "machine", "S1", "number", "1045", "day", "2026-11-02", "do", "release", "indicator", "passed", "dry", "yes", "sealed", "yes", "labelled", "yes"); r.code != http.StatusSeeOther {
		t.Fatal(r.code)
	}
	s.full() // 1045 failed
	body = lea.get("/").body
	if open, waits := strings.Index(body, `id="open"`), strings.Index(body, `class="recall"`); waits < 0 || open < waits {
		t.Errorf("open at %d, the recall at %d", open, waits)
	}
}

// A tap on a desk that locked itself meanwhile enters nothing, and says so after the
// passphrase; what was written on a form comes back.
func TestLockedSheet(t *testing.T) {
	s := newSite(t)
	ben, mara := s.as("ben"), s.as("mara")
	s.clock.move(11 * time.Minute)
	ben.post("/sheet", "duty", "reservoir filled", "machine", "S1", "outcome", "done")
	ben.post("/load", "machine", "S1", "number", "1051", "contents", "extraction sets", "do", "reject")
	mara.post("/person/lea/roles", "role", "lead", "do", "begin", "reason", "from December on", "passphrase", word("mara"))
	ben.post("/sign-in", "passphrase", word("ben"))
	mara.post("/sign-in", "passphrase", word("mara"))
	if text := ben.get("/sheet").text(); !strings.Contains(text, "The desk was locked when you tapped, so nothing was entered.") {
		t.Errorf("the tap is lost without a word: %s", text)
	}
	if r := s.stateOn("reservoir filled", "S1"); r.State != surgery.OwedOpen {
		t.Errorf("a locked desk entered it: %s", r.State)
	}
	if body := ben.get("/load").body; !strings.Contains(body, `value="extraction sets"`) {
		t.Error("what was written of the load is gone")
	}
	if body := mara.get("/person/lea").body; !strings.Contains(body, `value="from December on"`) && !strings.Contains(body, `value="lead" checked`) || strings.Contains(body, word("mara")) {
		t.Error("what was written of the person is gone, or a passphrase was kept")
	}
}
