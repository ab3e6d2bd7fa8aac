package desk

import (
	"encoding/xml"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
	"holdproof/fixtures"
)

// drifting brings in the leak tests of the invented months before, whose rate rises, and
// returns the page that says so.
func (s *site) drifting() string {
	s.t.Helper()
	week, err := fixtures.DemoWeek()
	if err != nil {
		s.t.Fatal(err)
	}
	last := week[len(week)-1]
	if !strings.Contains(last.Name, "leak-tests") {
		s.t.Fatalf("the last file is %s", last.Name)
	}
	path := s.write("leak-tests.csv", last.Bytes)
	if _, err := s.records.Import(s.t.Context(), surgery.Arriving{Paths: []string{path}, Via: surgery.ViaCommand}, &receiver{zone: time.UTC}); err != nil {
		s.t.Fatal(err)
	}
	return "/drift"
}

// The page says first what moves, in words, then draws it; and so does the first page.
func TestDriftPage(t *testing.T) {
	s := newSite(t).full()
	c := s.as("mara")
	if text := c.get("/drift").text(); !strings.Contains(text, "Nothing moves.") || !strings.Contains(text, "S1 leak tests: not yet 20 cycles, 1 so far.") || strings.Contains(text, "leak tests: leak rate") {
		t.Errorf("before: %s", text)
	}
	s.drifting()
	r := c.get("/drift")
	if r.code != http.StatusOK {
		t.Fatalf("%d %s", r.code, r.text())
	}
	text := r.text()
	for _, want := range []string{"S1 leak tests: leak rate", "Look at door seal and filter. Tell the engineer.", "The leak rate rose by 0.030 kPa/min since 13 Jul 2026; 0.074 kPa/min from the limit; at this pace it would be there about ",
		"The line through these cycles is at 0.055 kPa/min, the first cycles were at 0.025; a cycle conforms up to 0.129, which is the limit less the uncertainty.",
		"0.0013 ± 0.0003 kPa/min a week (k = 2), from 14 cycles.", "NIST/SEMATECH"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q: %s", want, text)
		}
	}
	if strings.Index(text, "Look at door seal") > strings.Index(text, "The leak rate rose") {
		t.Error("the reason stands before what to do")
	}
	for _, want := range []string{`role="img"`, "<title id=", "<desc id=", "Limit 0.129.", "40 cycles from 12 Jan 2026 to 2 Nov 2026", ">limit 0.129</text>"} {
		if !strings.Contains(r.body, want) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	start := strings.Index(r.body, "<svg")
	pictures := xml.NewDecoder(strings.NewReader(r.body[start : start+strings.Index(r.body[start:], "</svg>")+len("</svg>")]))
	for {
		if _, err := pictures.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("the picture is no XML: %v", err)
		}
	}
	if today := c.get("/").text(); !strings.Contains(today, "S1 leak tests: Look at door seal and filter.") || !strings.Contains(today, "the leak rate rose by 0.030 kPa/min") && !strings.Contains(today, "The leak rate rose by 0.030 kPa/min") {
		t.Errorf("the first page does not say it: %s", today)
	}
	if text := s.as("ben").get("/drift").text(); !strings.Contains(text, "S1 leak tests: leak rate") {
		t.Errorf("a nurse sees %s", text)
	}
	if again := c.get("/drift"); again.body != r.body {
		t.Error("the same logbook gives another page")
	}
}
