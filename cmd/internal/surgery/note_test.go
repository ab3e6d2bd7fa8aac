package surgery

import (
	"math"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// A duty has a name, and what it must say fits together.
func TestDuties(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range duties {
		if d.Name == "" || d.What == "" || seen[d.Name] || enough(d.act()) == nil {
			t.Errorf("%+v", d)
		}
		seen[d.Name] = true
		if d.Needs && d.Unit == "" || d.Kind != "" && !d.Cycle || d.Kind != "" && d.Says != sayPassed {
			t.Errorf("%s contradicts itself", d.Name)
		}
	}
	for _, kind := range kindsOfTest {
		if dutyReading(kind.String()) == "" {
			t.Errorf("no duty reads a %s", kind)
		}
	}
	if dutyReading("load") != "" || dutyReading("") != "" {
		t.Error("a load is read as a test")
	}
}

func TestNotes(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	x := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		note         Noting
		why, instead string // "" for a note that is kept
	}{
		{Noting{Duty: "penetration test"}, "is no duty", `Did you mean "penetration test read"?`},
		{Noting{Duty: dutyPenetration}, "needs an outcome", "passed or failed"},
		{Noting{Duty: dutyPenetration, Outcome: "done"}, "needs an outcome", ""},
		{Noting{Duty: dutyPenetration, Outcome: "passed", Cycle: good}, "is a load", "--cycle"},
		{Noting{Duty: dutyControl, Outcome: "passed"}, "no test of this kind waits", "--text"},
		{Noting{Duty: dutyControl, Outcome: "passed", Text: "looked at on the display, no record"}, "", ""},
		{Noting{Duty: dutyPenetration, Outcome: "passed", Steriliser: "S9"}, `no steriliser "S9"`, "S1"},
		{Noting{Duty: dutyPenetration, Outcome: "passed", Value: x(1)}, "has no figure", "--text"},
		{Noting{Duty: dutyCounter}, "needs a figure in cycles", "--value"},
		{Noting{Duty: dutyCounter, Value: x(12.5)}, "cannot be a figure", ""},
		{Noting{Duty: dutyCounter, Value: x(-1)}, "cannot be a figure", ""},
		{Noting{Duty: dutyCounter, Value: x(math.Inf(1))}, "cannot be a figure", ""},
		{Noting{Duty: dutyCounter, Value: x(12)}, "", ""},
		{Noting{Duty: dutyCounter, Value: x(12), Outcome: "done"}, "has no outcome", ""},
		{Noting{Duty: "clock checked", Value: x(-40)}, "", ""},
		{Noting{Duty: dutyReset}, "needs words", "--text"},
		{Noting{Duty: dutyVisit, Text: "door seal changed", Tests: []string{noTest}}, "", ""},
		{Noting{Duty: "suction looked at", Outcome: "done"}, "needs a place", "--place"},
		{Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "done", From: evening.Add(-time.Hour)}, "needs a product", "--product"},
		{Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "done", Product: "peroxide", Strength: "2 %"}, "in time", "--in"},
		{Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "done", Product: "peroxide", Strength: "2 %", From: evening, To: evening.Add(-time.Minute)}, "not after", "--in before --out"},
		{Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "done", Product: "peroxide", Strength: "2 %", From: evening, To: evening.Add(time.Hour)}, "lies ahead", ""},
		{Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "not done", Text: "no product left"}, "", ""},
		{Noting{Duty: "hands and surfaces", Outcome: "done", Product: "soap"}, "has no product", ""},
		{Noting{Duty: "hands and surfaces", Outcome: "done", From: evening}, "no in and out time", "--at"},
		{Noting{Duty: "hands and surfaces", Outcome: "done", Cycle: good}, "not about a cycle", ""},
		{Noting{Duty: "hands and surfaces", Outcome: "done", Day: "2026-11-03"}, "lies ahead", ""},
		{Noting{Duty: "hands and surfaces", Outcome: "done", Day: "today"}, "is not a day", ""},
		{Noting{Duty: dutyClosed}, "6 cycles ran", "--date"},
		{Noting{Duty: dutyClosed, Day: "2026-12-25", Text: "holiday"}, "", ""},
		{Noting{Duty: dutyBackInUse, Text: "repaired"}, "S1 is not out of service", "Nothing is needed"},
		{Noting{Duty: dutyOutOfUse, Text: "door seal torn", At: evening.Add(-time.Minute)}, "", ""},
		{Noting{Duty: dutyOutOfUse, Text: "again"}, "S1 is out of service since 2 Nov 2026", "--correct"},
		{Noting{Duty: dutyBackInUse, Text: "repaired"}, "tom may not put a steriliser back in service", "lead"},
		{Noting{Duty: dutyExplained, Cycle: good, Text: "x"}, "nothing between S1 · 8", "holdproof review"},
		{Noting{Duty: dutyExplained, Text: "x"}, "needs a cycle", "--cycle"},
		{Noting{Duty: dutyFile, Text: "x", File: 1, By: as("lea")}, "no imported file", "--entry"},
		{Noting{Duty: dutyCounter, Value: x(1), File: 3}, "not about a file", ""},
	} {
		if c.note.By.Person == "" {
			c.note.By = as("tom")
		}
		done, err := r.Note(t.Context(), c.note)
		switch {
		case c.why != "":
			refusedFor(t, err, c.why, c.instead)
		case err != nil:
			t.Errorf("%+v: %v", c.note, err)
		case entryOf[entry.Note](t, r, done.Entry).By != "tom":
			t.Errorf("%+v: kept as entry %d", c.note, done.Entry)
		}
	}
	sound(t, r)
}

// The contact time of a line treatment follows from in and out, and can come later.
func TestContactTime(t *testing.T) {
	r, at := staffed(t)
	n := Noting{Duty: dutyDisinfected, Place: "chair 1", Outcome: "done", Product: "peroxide", Strength: "2 %", From: evening.Add(-time.Minute), By: as("tom")}
	first, err := r.Note(t.Context(), n)
	if err != nil || len(first.Says) != 1 || !strings.Contains(first.Says[0], "still in") {
		t.Fatalf("%+v, %v", first, err)
	}
	at.set(evening.Add(29*time.Minute + 30*time.Second))
	done, err := r.Correct(t.Context(), Correcting{Entry: first.Entry, Note: Noting{To: at.now()}, By: as("tom"), Reason: "flushed out"})
	if err != nil || len(done.Says) != 1 || !strings.HasPrefix(done.Says[0], "Contact time 30.5 min. No figure is set") {
		t.Fatalf("%+v, %v", done, err)
	}
	e := entryOf[entry.Note](t, r, done.Entry)
	if want := `{"product":"peroxide","concentration":"2 %","contact_min":30.5,"file_entry":null,"explains":[]}`; string(e.Said.Data) != want {
		t.Errorf("kept %s, want %s", e.Said.Data, want)
	}
}

// What an indicator showed opens and closes the test; it never passes a failed record.
func TestIndicator(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "failed")
	if c, _ := r.Cycle(t.Context(), helix); c.Settled {
		t.Error("a test read as failed is over")
	}
	_, err := r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{good}, By: as("lea")})
	refusedFor(t, err, "was read as failed", "run it again")
	rows, _ := logbook.Find[entry.Note](t.Context(), r.book.View, logbook.Filter{Topic: dutyPenetration})
	c := Correcting{Entry: rows[0].Number, Note: Noting{Outcome: "passed"}, By: as("tom"), Reason: "typed the wrong word"}
	bad := c
	bad.Reason = " "
	_, err = r.Correct(t.Context(), bad)
	refusedFor(t, err, "needs a reason", "--reason")
	bad = c
	bad.By = as("lea")
	_, err = r.Correct(t.Context(), bad)
	refusedFor(t, err, "lea may not correct an entry of somebody else", "lead")
	if _, err := r.Correct(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	_, err = r.Correct(t.Context(), c)
	refusedFor(t, err, "was corrected by entry", "Correct entry")
	if c, _ := r.Cycle(t.Context(), helix); !c.Settled {
		t.Error("a test read as passed waits")
	}
	didDecide(t, r, "lea", DoRelease, good)

	dir := t.TempDir()
	imported(t, r, exported(t, dir, "again.csv", cycleAt("13", "15:00:00", helixFor(120)), cycleAt("14", "16:00:00", helixFor(199))))
	_, err = r.Note(t.Context(), Noting{Duty: dutyPenetration, Cycle: "13", Outcome: "passed", By: as("mara")})
	refusedFor(t, err, "cannot be read as passed", "Run the test again")
	if c, _ := r.Cycle(t.Context(), "14"); c.Outcome != "borderline" {
		t.Fatalf("14 is %s", c.Outcome)
	}
	_, err = r.Note(t.Context(), Noting{Duty: dutyPenetration, Cycle: "14", Outcome: "passed", By: as("lea")})
	refusedFor(t, err, "lea may not pass a test whose record is borderline", "lead")
	if _, err := r.Note(t.Context(), Noting{Duty: dutyPenetration, Cycle: "14", Outcome: "passed", By: as("mara")}); err != nil {
		t.Error(err)
	}
}

func TestWithdrawn(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	done := didDecide(t, r, "lea", DoRelease, good)
	c := Correcting{Entry: done.Entry, By: as("lea"), Reason: "the wrong load"}
	_, err := r.Correct(t.Context(), c)
	refusedFor(t, err, "withdrawn and not changed", "--withdraw")
	c.Withdraw = true
	if _, err := r.Correct(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	if c, _ := r.Cycle(t.Context(), good); c.Decision != "" || c.Settled {
		t.Errorf("%+v", c)
	}
	didDecide(t, r, "tom", DoUsed, short)
	recalled, _ := r.Cycle(t.Context(), short)
	_, err = r.Correct(t.Context(), Correcting{Entry: recalled.RecallEntry, Withdraw: true, By: as("mara"), Reason: "no"})
	refusedFor(t, err, "closed and not withdrawn", "--close")
	for n, why := range map[int64]string{1: "nobody corrects", recalled.VerdictEntry: "nobody corrects", 9999: "not in the logbook", 0: "not in the logbook"} {
		_, err := r.Correct(t.Context(), Correcting{Entry: n, Withdraw: true, By: as("mara"), Reason: "no"})
		refusedFor(t, err, why, "")
	}
	sound(t, r)
}
