package surgery

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// chairs gives the invented surgery its two chairs and the contact time of its line rinse.
func chairs(c *Configuration) {
	ten := 10.0
	c.Chairs = []string{"chair 1", "chair 2"}
	c.RoutineChanges = []RoutineChange{{Duty: dutyDisinfected, Low: &ten, Reason: "the leaflet of the line rinse asks for 10 min"}}
}

// owed is one line, and fails unless there is exactly one.
func (s *site) owed(t testing.TB, date, duty, where string) Owed {
	t.Helper()
	all, err := s.Owed(t.Context(), date)
	if err != nil {
		t.Fatal(err)
	}
	all = slices.DeleteFunc(all, func(o Owed) bool { return o.Duty != duty || o.Where() != where })
	if len(all) != 1 {
		t.Fatalf("%d lines of %s at %q on %s", len(all), duty, where, date)
	}
	return all[0]
}

func (o Owed) short() string {
	return strings.TrimSuffix(fmt.Sprintf("%s; %s; %s", o.State, o.Detail, o.Before), "; ")
}

// A morning of the invented surgery, entry by entry.
func TestOwedMorning(t *testing.T) {
	s := signedSite(t, chairs)
	if got := s.owed(t, monday, dutyControl, "S1").short(); got != "open; ; no load before this has passed" {
		t.Errorf("nothing is entered: %s", got)
	}
	s.demoDay(t)
	two, one := 2.0, 1.0
	s.note(t, Noting{Duty: "water lines flushed", Place: "chair 1", Outcome: "done", Value: &two, At: at("07:10:00")})
	s.note(t, Noting{Duty: "water lines flushed", Place: "chair 2", Outcome: "done", Value: &one, At: at("07:11:00")})
	s.note(t, Noting{Duty: "suction looked at", Place: "chair 1", Outcome: "not done", Text: "no patient there", At: at("07:12:00")})
	s.note(t, Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "done", Product: "rinse", Strength: "3 %", From: at("17:00:00"), To: at("17:12:30"), At: at("17:12:30")})
	s.note(t, Noting{Duty: dutyDisinfected, Place: "chair 2", Outcome: "done", Product: "rinse", Strength: "3 %", From: at("17:00:00"), At: at("17:00:00")})
	s.note(t, Noting{Duty: dutyPenetration, Cycle: "1041", Outcome: "passed", At: at("08:40:00"), Text: "even colour"})
	for _, c := range []struct{ duty, where, want string }{
		{"water lines flushed", "chair 1", "done; 2 min, needs 2 min"},
		{"water lines flushed", "chair 2", "failed; 1 min, needs 2 min"},
		{"suction looked at", "chair 1", "open; said not to be done: no patient there"},
		{"suction looked at", "chair 2", "open"},
		{dutyDisinfected, "chair 1", "done; 12.5 min, needs 10 min"},
		{dutyDisinfected, "chair 2", "open; it is in, and when it was taken out was not entered"},
		{dutyPenetration, "S1", "done; ; passed before the first load"},
		{dutyPenetration, "S2", "open; what its indicator showed was not entered; loads were run without it"},
		{dutyControl, "S2", "open; ; loads were run without it"},
		{dutyLeak, "S2", "never entered"},
		{"validation", "S1", "never entered"},
		{"water lines rinsed", "chair 1", "not due"},
		{"load released", "S1", "open; 0 of 6"},
		{"day signed", "", "open"},
	} {
		if got := s.owed(t, monday, c.duty, c.where).short(); strings.TrimSuffix(got, "; ") != c.want {
			t.Errorf("%s at %s: %s; expected %s", c.duty, c.where, got, c.want)
		}
	}
	if o := s.owed(t, monday, dutyPenetration, "S1"); o.ByName != "Lea Brook" || o.LastByName != "Lea Brook" || o.Text != "even colour" || o.Cycle == "" || o.Last != monday || o.Entry == 0 {
		t.Errorf("%+v", o)
	}
	if o := s.owed(t, monday, dutyDisinfected, "chair 1"); o.Product != "rinse" || o.Strength != "3 %" || o.To.Sub(o.From).Minutes() != 12.5 || o.Changed == "" || o.LimitSource != "the surgery's own rule" {
		t.Errorf("%+v", o)
	}
	if o := s.owed(t, monday, dutyLeak, "S1"); o.State != OwedDone || o.Next != "2026-11-09" || o.Value == nil || o.High == nil || *o.High != 0.13 {
		t.Errorf("%+v", o)
	}
	if _, err := s.Note(t.Context(), Noting{Duty: "suction looked at", Place: "chair 3", Outcome: "done", By: by("lea")}); err == nil || !strings.Contains(err.Error(), "chair 3") {
		t.Errorf("a chair that nobody named: %v", err)
	}
	if _, err := s.Owed(t.Context(), "2.11.2026"); err == nil {
		t.Error("a day that is none passed")
	}
}

// A machine that ran nothing owes nothing each day, once the day is past.
func TestOwedUnused(t *testing.T) {
	s := signedSite(t, chairs)
	s.demoDay(t, "S2-")
	if o := s.owed(t, monday, "reservoir filled", "S2"); o.State != OwedOpen {
		t.Errorf("it may still be used: %s", o.State)
	}
	s.clock.Time = s.clock.AddDate(0, 0, 1)
	if o := s.owed(t, monday, "reservoir filled", "S2"); o.State != OwedNotDue || o.Wanted() {
		t.Errorf("not used: %s", o.State)
	}
	if o := s.owed(t, monday, "reservoir filled", "S1"); o.State != OwedOpen {
		t.Errorf("used: %s", o.State)
	}
}

// Weekly, quarterly and yearly lines are looked for as far back as there are entries.
func TestOwedLongAgo(t *testing.T) {
	s := signedSiteAt(t, time.Date(2025, 1, 6, 18, 0, 0, 0, time.UTC), chairs)
	s.note(t, Noting{Duty: "validation", Steriliser: "S1", Outcome: "passed"})
	s.note(t, Noting{Duty: "protein test read", Outcome: "passed"})
	s.clock.Time = time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC)
	if o := s.owed(t, monday, "validation", "S1"); o.State != OwedOverdue || o.Last != "2025-01-06" || o.Next != "2026-01-06" || o.LastByName != "Lea Brook" {
		t.Errorf("%+v", o)
	}
	if o := s.owed(t, monday, "validation", "S2"); o.State != OwedOverdue || o.Last != "" || o.Detail != "never entered" {
		t.Errorf("%+v", o)
	}
	if o := s.owed(t, monday, "protein test read", ""); o.State != OwedOverdue || o.Next != "2025-04-06" {
		t.Errorf("%+v", o)
	}
	if o := s.owed(t, "2025-01-06", "validation", "S1"); o.State != OwedDone {
		t.Errorf("%+v", o)
	}
}

// Out of service from the afternoon on, the tests before the loads of the morning are owed.
func TestOwedOutage(t *testing.T) {
	s := signedSite(t, chairs)
	s.demoDay(t)
	s.note(t, Noting{Duty: dutyOutOfUse, Steriliser: "S2", Text: "door", At: at("17:00:00")})
	if o := s.owed(t, monday, dutyControl, "S2"); o.State != OwedOpen || o.Before != OwedLoadsWithin {
		t.Errorf("%s", o.short())
	}
	s.clock.Time = s.clock.AddDate(0, 0, 1)
	if o := s.owed(t, "2026-11-03", dutyControl, "S2"); o.State != OwedExplained || o.Detail != "out of service: door" {
		t.Errorf("%s", o.short())
	}
	for _, c := range []struct {
		at   string
		want bool
	}{{"16:59:59", false}, {"17:00:00", true}, {"17:45:00", true}} {
		o, err := s.outOfServiceAt(t.Context(), s.book.View, "S2", at(c.at))
		if err != nil || (o != nil) != c.want {
			t.Errorf("at %s: %v, %v", c.at, o, err)
		}
	}
	if o, err := s.outOfServiceAt(t.Context(), s.book.View, "S1", at("17:45:00")); o != nil || err != nil {
		t.Errorf("S1: %v, %v", o, err)
	}
}

// The same at one moment, whatever was asked before.
func TestOwedAgain(t *testing.T) {
	s := signedSite(t, chairs)
	s.demoDay(t)
	first, err := s.Owed(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := s.Owed(t.Context(), monday); err != nil || !reflect.DeepEqual(first, again) {
		t.Error("asked again, it says something else", err)
	}
}

// Five minutes out of service do not clear the day, nor what was overdue before.
func TestOwedShortOutage(t *testing.T) {
	s := signedSiteAt(t, time.Date(2025, 1, 6, 18, 0, 0, 0, time.UTC), chairs)
	s.note(t, Noting{Duty: "pressure vessel examined", Steriliser: "S1", Outcome: "passed"})
	s.clock.Time = time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC)
	s.note(t, Noting{Duty: dutyOutOfUse, Steriliser: "S1", Text: "door", From: at("10:00:00"), To: at("10:05:00")})
	if o := s.owed(t, monday, dutyControl, "S1"); o.State != OwedOpen {
		t.Errorf("five minutes: %s", o.short())
	}
	s.note(t, Noting{Duty: dutyOutOfUse, Steriliser: "S1", Text: "pump", From: at("17:00:00")})
	if o := s.owed(t, monday, dutyControl, "S1"); o.State != OwedExplained {
		t.Errorf("out at the end of the day: %s", o.short())
	}
	if o := s.owed(t, monday, "pressure vessel examined", "S1"); o.State != OwedOverdue || o.Detail != "out of service: pump" || o.Next != "2026-03-06" {
		t.Errorf("overdue before: %s, %s", o.short(), o.Next)
	}
}

// A day with work entered is no closed day, whichever was entered first.
func TestClosedDayWithWork(t *testing.T) {
	s := signedSite(t, chairs)
	s.note(t, Noting{Duty: "suction looked at", Place: "chair 1", Outcome: "not done", Text: "closed"})
	s.note(t, Noting{Duty: dutyClosed, Text: "training"})
	if o := s.owed(t, monday, "suction looked at", "chair 2"); o.State != OwedExplained {
		t.Errorf("closed: %s", o.short())
	}
	two := 2.0
	s.note(t, Noting{Duty: dutyFlushed, Place: "chair 1", Outcome: "done", Value: &two})
	if o := s.owed(t, monday, "suction looked at", "chair 2"); o.State != OwedOpen {
		t.Errorf("closed, and worked: %s", o.short())
	}
	_, err := s.Note(t.Context(), Noting{Duty: dutyClosed, Text: "training", By: by("lea")})
	refusedFor(t, err, "on 2 Nov 2026 work was done, and 1 duty is entered: the first is water lines flushed (entry", "--date")
}
