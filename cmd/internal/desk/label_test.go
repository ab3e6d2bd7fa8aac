package desk

import (
	"net/http"
	"strings"
	"testing"
)

// The page of a released load leads to its label; no other page does, and its address is
// refused with why.
func TestLabelPage(t *testing.T) {
	s := newSite(t).full()
	lea := s.as("lea")
	good, failed := s.key("S1", "1043"), s.key("S1", "1045")
	link := `href="/cycle/` + good + `/label"`
	if r := lea.get("/cycle/" + good); strings.Contains(r.body, `/label"`) {
		t.Error("a load that nobody released leads to a label")
	}
	if r := lea.get("/cycle/" + good + "/label"); r.code != http.StatusConflict || !strings.Contains(r.text(), "nobody has released it") {
		t.Errorf("%d %s", r.code, r.text())
	}
	s.readTests(lea)
	if r := lea.post("/cycle/"+good, "do", "release", "seen", s.seen(lea, good)); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	if r := lea.get("/cycle/" + good); !strings.Contains(r.body, link) {
		t.Errorf("the page of a released load has no label: %s", r.text())
	}
	r := lea.get("/cycle/" + good + "/label")
	if r.code != http.StatusOK || r.header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(r.body, "%PDF-1.7") || !strings.Contains(r.header.Get("Content-Disposition"), good+"-label.pdf") {
		t.Errorf("%d %v %.40q", r.code, r.header, r.body)
	}
	if r := lea.get("/cycle/" + failed + "/label"); r.code != http.StatusConflict || !strings.Contains(r.text(), "its record is failed") || strings.HasPrefix(r.body, "%PDF") {
		t.Errorf("%d %s", r.code, r.text())
	}
	if r := lea.get("/cycle/" + failed); strings.Contains(r.body, `/label"`) {
		t.Error("a failed load leads to a label")
	}
}

// A scanned label, an id or a number leads to its cycle; what is none says so.
func TestTracePage(t *testing.T) {
	s := newSite(t).full()
	c := s.as("ben")
	key := s.key("S1", "1043")
	for _, id := range []string{key, strings.ToLower(key), "1043", "S1/1043", "S1-1043"} {
		if r := c.get("/trace?id=" + strings.ReplaceAll(id, "/", "%2F")); r.code != http.StatusSeeOther || r.header.Get("Location") != "/cycle/"+key {
			t.Errorf("%s: %d to %q", id, r.code, r.header.Get("Location"))
		}
	}
	if r := c.get("/trace?id=nothing%3Cb%3E"); r.code != http.StatusConflict || !strings.Contains(r.text(), "is in the logbook") || strings.Contains(r.body, "<b>") {
		t.Errorf("%d %s", r.code, r.text())
	}
	if r := c.get("/find"); !strings.Contains(r.body, `action="/trace"`) {
		t.Error("the page Find has no field for a scanned label")
	}
}
