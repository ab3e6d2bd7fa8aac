package surgery

import (
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

func leak(c *fixtures.Cycle) { c.Label, c.Leak, c.Interval = "Vac test", &fixtures.Leak{Rate: 0.05}, 1 }

// A spore test has an in time, an incubation, a control, and a result that comes days
// later; a positive one names what is done first and the loads since the last good one.
func TestSporeTests(t *testing.T) {
	r, at := staffed(t)
	aDay(t, r)
	x := func(v float64) *float64 { return &v }
	in := Noting{Duty: dutySporeIn, Steriliser: "S1", Value: x(48), From: evening.Add(-7 * time.Hour)} // 11:00
	refusedNote(t, r, Noting{Duty: dutySporeRead, Steriliser: "S1", Outcome: "passed", Control: controlGrew}, "no spore test of S1 is in incubation", dutySporeIn)
	refusedNote(t, r, Noting{Duty: dutySporeIn, Steriliser: "S1", Value: x(48)}, "needs its in time", "--in")
	refusedNote(t, r, Noting{Duty: dutySporeIn, Steriliser: "S1", Value: x(0), From: evening}, "cannot be a figure in h", "")
	first := noted(t, r, in)
	if !strings.Contains(first.Says[0], "In incubation until 4 Nov 2026 11:00") {
		t.Errorf("%q", first.Says)
	}
	open, _ := r.Pending(t.Context())
	if len(open) != 1 || open[0].Entry != first.Entry || open[0].Result != dutySporeRead || !open[0].Due.Equal(evening.Add(41*time.Hour)) {
		t.Errorf("%+v", open)
	}
	read := Noting{Duty: dutySporeRead, Outcome: "passed", Control: controlGrew}
	refusedNote(t, r, read, "is in incubation until 4 Nov 2026 11:00", "Read it then")
	at.set(evening.Add(41 * time.Hour))
	refusedNote(t, r, Noting{Duty: dutySporeRead, Outcome: "passed"}, "needs its control", "grew or did not grow")
	good := noted(t, r, read)
	said := entryOf[entry.Note](t, r, good.Entry).Said
	if good.Outcome != "passed" || dataOf(said).Of != first.Entry || !said.From.Equal(in.From) || said.Day != "2026-11-04" {
		t.Errorf("%+v %+v", good, said)
	}
	if open, _ := r.Pending(t.Context()); len(open) != 0 {
		t.Errorf("still open: %+v", open)
	}

	if _, err := r.Correct(t.Context(), Correcting{Entry: first.Entry, Note: Noting{Text: "lot 12"}, By: as("tom"), Reason: "the lot was missing"}); err != nil {
		t.Fatal(err)
	}
	if open, _ := r.Pending(t.Context()); len(open) != 0 {
		t.Errorf("its beginning was put right, and it is open again: %+v", open)
	}

	// The control did not grow: nothing is shown, whatever the others did.
	in.From = at.now()
	dead := noted(t, r, in)
	at.set(at.now().Add(48 * time.Hour))
	read.Control = controlDidNot
	proof := noted(t, r, read)
	if proof.Outcome != "not done" || !strings.Contains(proof.Says[0], "Not proven: the control did not grow") {
		t.Errorf("%+v", proof)
	}
	// Corrected, it counts; the test of before is still its own.
	fixed, err := r.Correct(t.Context(), Correcting{Entry: proof.Entry, Note: Noting{Control: controlGrew}, By: as("tom"), Reason: "the tubes were taken for one another"})
	if err != nil || fixed.Outcome != "passed" || dataOf(entryOf[entry.Note](t, r, fixed.Entry).Said).Of != dead.Entry {
		t.Fatalf("%+v %v", fixed, err)
	}
	if _, err := r.Correct(t.Context(), Correcting{Entry: fixed.Entry, Withdraw: true, By: as("tom"), Reason: "it was another machine's"}); err != nil {
		t.Fatal(err)
	}
	if open, _ := r.Pending(t.Context()); len(open) != 1 || open[0].Entry != dead.Entry {
		t.Errorf("a withdrawn result leaves it open: %+v", open)
	}
	// A later one that passed says nothing of the time before it.
	in.From = at.now()
	late := noted(t, r, in)
	at.set(at.now().Add(48 * time.Hour))
	refusedNote(t, r, Noting{Duty: dutySporeRead, Steriliser: "S1", Outcome: "passed", Control: controlGrew}, "2 notes of", "--entry")
	noted(t, r, Noting{Duty: dutySporeRead, Outcome: "passed", Control: controlGrew, Of: late.Entry})
	bad := noted(t, r, Noting{Duty: dutySporeRead, Outcome: "failed", Control: controlGrew, Of: dead.Entry})
	want := []string{"Spores survived. Take S1 out of use, keep its packs back, tell the lead.",
		"Since the last good test (2 Nov 2026 11:00) 2 loads ran: S1 · 11, S1 · 12. The lead decides about each."}
	if bad.Outcome != "failed" || !slices.Equal(bad.Says, want) {
		t.Errorf("%q", bad.Says)
	}
	sound(t, r)
}

// The same for a test that reads a cycle.
func TestFailedReadingNamesTheLoads(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	done := noted(t, r, Noting{Duty: dutyPenetration, Outcome: "failed"})
	if len(done.Says) != 2 || !strings.HasPrefix(done.Says[1], "No good test is entered. Since the first record 5 loads ran: S1 · 8, S1 · 9") {
		t.Errorf("%q", done.Says)
	}
}

// A load that ran while its machine was out of service is not released, and shows between
// the cycles; one that ran before goes out only with a reason.
func TestOutOfService(t *testing.T) {
	r, at := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	noted(t, r, Noting{Duty: dutyOutOfUse, Steriliser: "S1", Text: "door seal torn", From: evening.Add(-5*time.Hour - time.Minute)}) // 12:59, before 12 began
	refuse := func(number, reason, why, instead string) {
		t.Helper()
		_, err := r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{number}, By: as("lea"), Reason: reason})
		refusedFor(t, err, why, instead)
	}
	refuse(other, "it looks well", "S1 · 12 is not released: it ran while S1 was out of service since 2 Nov 2026 12:59: door seal torn", "--quarantine")
	refuse(good, "", "S1 is out of service since 2 Nov 2026 12:59", "--reason")
	_, err := r.ReleaseAtMachine(t.Context(), AtMachine{Steriliser: "S1", Number: "77"}, as("lea"), Proof{}, "", time.Time{})
	refusedFor(t, err, "S1 is out of service", "--reason")
	if _, err := r.ReleaseAtMachine(t.Context(), AtMachine{Steriliser: "S1", Number: "77", Rejected: true}, as("lea"), Proof{}, "", time.Time{}); err != nil {
		t.Errorf("a rejection is refused: %v", err)
	}
	didDecide(t, r, "lea", DoRelease, good, func(d *Deciding) { d.Reason = "it was cold before the seal tore" })
	across, err := r.Across(t.Context(), "2026-11-02", "2026-11-02")
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(across.Findings, func(a Between) bool { return a.Check == checkOutage })
	if i < 0 || !slices.Equal(across.Findings[i].Cycles, []string{"S1-20261102-130000"}) {
		t.Fatalf("%+v", across.Findings)
	}
	waiting := func() bool {
		all, err := r.Review(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(all.Waiting, func(w Waiting) bool { return strings.Contains(w.Why, "ran while the machine was out of service") })
	}
	if !waiting() {
		t.Error("nothing waits")
	}
	noted(t, r, Noting{Duty: dutyExplained, Cycle: other, Explains: checkOutage, Text: "an empty run to try the door", By: as("lea")})
	if waiting() {
		t.Error("explained, it waits")
	}
	at.set(evening.Add(time.Hour))
	noted(t, r, Noting{Duty: dutyBackInUse, Text: "new seal", By: as("mara"), Steriliser: "S1"})
	refuse(other, "", "it ran while S1 was out of service", "")
	sound(t, r)
}

// A machine returns when the tests that the visit names passed after the repair, or with
// the lead's reason, which is kept with what is missing.
func TestReturnToService(t *testing.T) {
	r, at := staffed(t)
	dir := t.TempDir()
	imported(t, r, exported(t, dir, "a.csv", cycleAt("1", "08:00:00", leak)))
	noted(t, r, Noting{Duty: dutyOutOfUse, Text: "leaks", From: evening.Add(-9 * time.Hour)})
	refusedNote(t, r, Noting{Duty: dutyVisit, Text: "new seal", Tests: []string{"leak test"}}, `"leak test" is no test that a machine has`, "air leakage test")
	refusedNote(t, r, Noting{Duty: dutyVisit, Text: "new seal", Tests: []string{noTest, "control test"}}, "none of them is owed", "--test none alone")
	visit := noted(t, r, Noting{Duty: dutyVisit, Text: "new seal", Tests: []string{"air leakage test"}, At: evening.Add(-8 * time.Hour)}) // 10:00
	if !strings.Contains(visit.Says[0], "Owed before S1 returns to service: air leakage test.") {
		t.Errorf("%q", visit.Says)
	}
	back := Noting{Duty: dutyBackInUse, Text: "in order", By: as("mara")}
	refusedNote(t, r, back, "its air leakage test has not passed since the engineer's visit of 2 Nov 2026 10:00", "--reason")
	back.Reason = "the engineer's own test is in the report"
	with := noted(t, r, back)
	if d := dataOf(entryOf[entry.Note](t, r, with.Entry).Said); !slices.Equal(d.Without, []string{"air leakage test"}) || !strings.Contains(with.Says[0], "returns without: air leakage test") {
		t.Errorf("%+v %q", d, with.Says)
	}
	if _, err := r.Correct(t.Context(), Correcting{Entry: with.Entry, Withdraw: true, By: as("mara"), Reason: "too early"}); err != nil {
		t.Fatal(err)
	}
	imported(t, r, exported(t, dir, "b.csv", cycleAt("2", "11:00:00", leak)))
	back.Reason = ""
	done := noted(t, r, back)
	if d := dataOf(entryOf[entry.Note](t, r, done.Entry).Said); d.Without != nil {
		t.Errorf("%+v", d)
	}
	at.set(evening.Add(time.Minute))
	refusedNote(t, r, back, "S1 is not out of service", "Nothing is needed")
	sound(t, r)
}

// A test that failed must pass before the machine returns, whether or not anybody came.
func TestFailedTestKeepsTheMachineOut(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	noted(t, r, Noting{Duty: dutyPenetration, Outcome: "failed", At: evening.Add(-2 * time.Hour)})
	noted(t, r, Noting{Duty: dutyOutOfUse, Text: "pale strip", From: evening.Add(-time.Hour)})
	refusedNote(t, r, Noting{Duty: dutyBackInUse, Text: "in order", By: as("mara")}, "its steam penetration test has not passed since it failed on 2 Nov 2026 08:00", "")
	noted(t, r, Noting{Duty: dutyPenetration, Outcome: "passed", Text: "run again, read on the strip, the recorder was off"})
	noted(t, r, Noting{Duty: dutyBackInUse, Text: "in order", By: as("mara")})
	sound(t, r)
}

// The machine's counter finds a last cycle that nobody imported.
func TestLastCycleMissing(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	find := func() (out []string) {
		p, err := r.Across(t.Context(), "2026-11-02", "2026-11-02")
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range p.Findings {
			if a.Check == "counter" {
				out = append(out, a.Message)
			}
		}
		return out
	}
	twelve, thirteen := 12.0, 13.0
	first := noted(t, r, Noting{Duty: dutyCounter, Value: &twelve})
	if got := find(); got != nil {
		t.Errorf("12 of 12: %q", got)
	}
	if _, err := r.Correct(t.Context(), Correcting{Entry: first.Entry, Note: Noting{Value: &thirteen}, By: as("tom"), Reason: "typed wrong"}); err != nil {
		t.Fatal(err)
	}
	if got := find(); len(got) != 1 || !strings.Contains(got[0], "13") {
		t.Errorf("13 of 12: %q", got)
	}
}

// A note for a signed day says that a revision is due, and one in words that look like a
// patient's name is kept only when the person says that it is none.
func TestWordsOfANote(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	s.prepared(t, monday)
	done := noted(t, s.Records, Noting{Duty: "hands and surfaces", Outcome: "done", Day: monday, By: by("lea")})
	if len(done.Says) != 1 || !strings.HasPrefix(done.Says[0], "The record of 2 Nov 2026 is signed") {
		t.Errorf("%q", done.Says)
	}
	n := Noting{Duty: "hands and surfaces", Outcome: "done", Day: monday, Text: "after Mrs Miller", By: by("lea")}
	refusedNote(t, s.Records, n, `"Mrs Miller" looks like a person's name`, "the load number is the link")
	n.Sure = true
	kept := noted(t, s.Records, n)
	if _, err := s.Correct(t.Context(), Correcting{Entry: kept.Entry, Note: Noting{Outcome: "not done"}, By: by("lea"), Reason: "the wrong room"}); err != nil {
		t.Errorf("what was said to be nobody's is asked about again: %v", err)
	}
	rows, err := logbook.Find[entry.Note](t.Context(), s.book.View, logbook.Filter{Topic: "hands and surfaces"})
	if err != nil || len(rows) != 2 {
		t.Errorf("%d notes count, %v", len(rows), err)
	}
}

// A machine that returned without its tests stands in the record of the day with the
// reason, and a spore test with its control.
func TestReturnIsPrinted(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	s.note(t, Noting{Duty: dutyOutOfUse, Steriliser: "S1", Text: "leaks", From: at("17:00:00"), At: at("17:00:00")})
	s.note(t, Noting{Duty: dutyVisit, Steriliser: "S1", Text: "new seal", Tests: []string{"air leakage test"}, At: at("17:10:00")})
	if _, err := s.Note(t.Context(), Noting{Duty: dutyBackInUse, Steriliser: "S1", Text: "in order", At: at("17:20:00"), Reason: "the engineer's report has the test", By: by("mara")}); err != nil {
		t.Fatal(err)
	}
	d := s.day(t, monday)
	for duty, want := range map[string]string{dutyBackInUse: "in order; without: air leakage test, since the engineer's report has the test", dutyVisit: "owed before it returned: air leakage test"} {
		if !slices.ContainsFunc(d.Duties, func(x daily.Duty) bool { return x.What == duty && x.Where == "S1" && strings.Contains(x.Detail, want) }) {
			t.Errorf("%s: not printed: %q in %+v", duty, want, d.Duties)
		}
	}
}
