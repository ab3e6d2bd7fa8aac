package desk

import (
	"slices"
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

// A load that must not be used stands before what the day owes; where nothing waits that
// badly, what is open stands first.
func TestLoadsStandBeforeDuties(t *testing.T) {
	s := newSite(t)
	c := s.as("mara")
	if text := c.get("/").text(); strings.Index(text, "Open today") > strings.Index(text, "What waits for you") {
		t.Errorf("on a quiet day what is open does not stand first: %s", text)
	}
	s.full()
	text := c.get("/").text()
	bad, open := strings.Index(text, "Do not use this load"), strings.Index(text, "Open today")
	if bad < 0 || open < 0 || bad > open {
		t.Errorf("the failed load stands at %d, what is open at %d: %s", bad, open, text)
	}
}

// The same instruction stands once, with all that it is about.
func TestSameInstructionStandsOnce(t *testing.T) {
	w := func(kind, name, do string, o surgery.Outcome) surgery.Waiting {
		return surgery.Waiting{Kind: kind, Name: name, Instruction: do, Outcome: o}
	}
	data := todayData{Waiting: []surgery.Waiting{w(surgery.WaitRecall, "a", "Find every pack.", surgery.Failed), w(surgery.WaitRecall, "b", "Find every pack.", surgery.Failed),
		w("load", "c", "Repack.", surgery.Failed), w("load", "d", "Repack.", surgery.NotProven), w("load", "e", "Repack.", surgery.Failed), w("day", "f", "", surgery.NotAssessed), w("day", "g", "", surgery.NotAssessed)}}
	var got []string
	for _, g := range data.Groups() {
		line := ""
		for _, w := range g {
			line += w.Name
		}
		got = append(got, line)
	}
	if text := strings.Join(got, " "); text != "a b ce d f g" {
		t.Errorf("grouped as %q, expected a b ce d f g", text)
	}
}

// A machine that two lines with one instruction speak of is named once before it.
func TestInstructionNamesAMachineOnce(t *testing.T) {
	var names []string
	for _, w := range once([]surgery.Waiting{{Name: "S1"}, {Name: "S2", Cycle: "a"}, {Name: "S2", Cycle: "b"}}) {
		names = append(names, w.Name)
	}
	if text := strings.Join(names, ", "); text != "S1, S2" {
		t.Errorf("named %q, expected S1, S2", text)
	}
	l := surgery.Owed{}
	l.Duty, l.What, l.When, l.Steriliser, l.Every.Days = "x", "Run the test.", "start of day", "S2", 1
	if parts := openParts([]surgery.Owed{l, l}); len(parts) != 1 || strings.Join(parts[0].Duties[0].Places, ", ") != "S2" {
		t.Errorf("%+v", parts)
	}
}

// On a signed day nothing is asked for that was done.
func TestSignedDayAsksForNoExports(t *testing.T) {
	s := signedDay(t)
	s.clock.move(24 * 60 * 60 * 1e9)
	c := s.as("mara")
	if text := c.get("/day/2026-11-02").text(); strings.Contains(text, "Bring in exports") {
		t.Errorf("a signed past day asks for exports: %s", text)
	}
	if text := c.get("/").text(); !strings.Contains(text, "Bring in exports") {
		t.Errorf("today asks for none: %s", text)
	}
}

// A record calls a cycle as people do.
func TestRecordCallsCycles(t *testing.T) {
	var r readingData
	r.Day.Cycles = slices.Grow(r.Day.Cycles, 1)[:1]
	r.Day.Cycles[0].ID, r.Day.Cycles[0].Steriliser, r.Day.Cycles[0].Number = "S1-20261105-084910", "S1", "1064"
	if got := r.Called("S1-20261105-084910"); got != "S1 · 1064" {
		t.Errorf("called %q", got)
	}
	if got := r.Called("S1-none"); got != "S1-none" {
		t.Errorf("a cycle of another day is called %q", got)
	}
}
