package surgery

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// A disinfection that is still in is said once: as begun, with what to type, and not among
// what is still to be done today.
func TestBegunIsSaidOnce(t *testing.T) {
	s := signedSite(t, chairs, func(c *Configuration) { c.Routine = "england" })
	owes := func() []string {
		all, err := s.Review(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, o := range all.Owed {
			if o.Duty == dutyDisinfected {
				out = append(out, "owed "+o.Place)
			}
		}
		for _, x := range all.Waiting {
			if x.Kind == WaitOpen {
				out = append(out, "begun "+x.Name)
			}
		}
		return out
	}
	same(t, owes(), "owed chair 1", "owed chair 2")
	s.note(t, Noting{Duty: dutyDisinfected, Place: "chair 1", Product: "invented rinse", Strength: "3 %", From: at("17:30:00")})
	same(t, owes(), "owed chair 2", "begun chair 1")
}

// Nobody is asked to sign the days of old tests that were imported when the logbook began;
// of an unsigned day since then it is said what it lacks, in short.
func TestDaysBeforeTheLogbook(t *testing.T) {
	s := signedSiteAt(t, time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC))
	old := cycleAt("1", "08:00:00")
	old.Start = old.Start.AddDate(0, 0, -7)
	imported(t, s.Records, exported(t, t.TempDir(), "a.csv", old, cycleAt("2", "09:00:00"), cycleAt("4", "10:00:00")))
	s.clock.Time = time.Date(2026, 11, 3, 8, 0, 0, 0, time.UTC)
	all, err := s.Review(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var days []string
	for _, x := range all.Waiting {
		if x.Kind == WaitSignature {
			days = append(days, x.Day+" "+x.Why)
		}
	}
	if len(days) != 1 || !strings.HasPrefix(days[0], "2026-11-02 Missing: S1: steam penetration test; S1: control test; ") || !strings.HasSuffix(days[0], " more.") || strings.Count(days[0], ";") != mostLacks {
		t.Errorf("%q", days)
	}
	for date, want := range map[string]string{"2026-10-25": DayAhead, "2026-10-26": DayEarlier, "2026-11-02": DayOpen, "2026-11-03": DayAhead} {
		day, _ := time.Parse(time.DateOnly, date)
		month, err := s.Month(t.Context(), day)
		if err != nil {
			t.Fatal(err)
		}
		if i := slices.IndexFunc(month, func(m MonthDay) bool { return m.Day.Day == date }); month[i].State != want {
			t.Errorf("%s: %q, expected %q", date, month[i].State, want)
		}
	}
}
