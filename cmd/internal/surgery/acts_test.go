package surgery

import (
	"errors"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// The people of these tests are invented: mara leads, lea releases, tom operates.
var words = map[string]string{"mara": "mara walks the harbour", "lea": "lea sails at dawn", "tom": "tom mends the nets",
	"authority": "the tern quay authority"}

func wordOf(who string) func() (string, error) {
	return func() (string, error) { return words[who], nil }
}

func as(who string) Proof { return Proof{Person: who, Passphrase: wordOf(who)} }

// setClock is a clock that a test sets.
type setClock struct {
	mu sync.Mutex
	at time.Time
}

func (c *setClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *setClock) set(at time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = at
}

// staffed makes a site with three people, begun the day before its cycles.
func staffed(t testing.TB, change ...func(*Configuration)) (*Records, *setClock) {
	t.Helper()
	at := &setClock{at: evening.AddDate(0, 0, -1)}
	dir := filepath.Join(t.TempDir(), "Tern Quay")
	w := World{Now: at.now, Rounds: 1}
	s := Settings{Value: machines(change...), File: filepath.Join(dir, "holdproof.yaml"), Text: []byte("site: {name: Tern Quay Surgery}\n")}
	err := Begin(t.Context(), Beginning{Dir: dir, Settings: s, Write: true, Lead: "mara", Name: "Mara Quill", Passphrase: wordOf("mara"), Authority: wordOf("authority")}, w)
	if err != nil {
		t.Fatal(err)
	}
	r, err := OpenRecords(t.Context(), dir, s, w)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	for id, roles := range map[string][]string{"lea": {"operate", "release"}, "tom": {"operate"}} {
		if err := r.AddPerson(t.Context(), Joining{ID: id, Name: strings.ToUpper(id[:1]) + id[1:] + " Brook", Roles: roles, Passphrase: wordOf(id), By: as("mara"), Authority: wordOf("authority")}); err != nil {
			t.Fatal(err)
		}
	}
	at.set(evening)
	return r, at
}

func held(seconds float64) func(*fixtures.Cycle) {
	return func(c *fixtures.Cycle) { c.Hold = seconds }
}

// The loads of the day, by number.
const (
	good, short, tight, cut, other = "8", "9", "10", "11", "12"
	helix                          = "7"
)

// aDay imports one test and five loads: two conform, one is held too short, one is
// borderline, one breaks off.
func aDay(t testing.TB, r *Records) {
	t.Helper()
	dir := t.TempDir()
	imported(t, r, exported(t, dir, "day.csv",
		cycleAt(helix, "08:00:00", func(c *fixtures.Cycle) { c.Label, c.Hold = "Helix", 212 }),
		cycleAt(good, "09:00:00"),
		cycleAt(short, "10:00:00", held(120)),
		cycleAt(tight, "11:00:00", held(178)),
		cycleAt(other, "13:00:00")))
	imported(t, r, exported(t, dir, "cut.csv", cycleAt(cut, "12:00:00", func(c *fixtures.Cycle) { c.Faults.CutEnd = 500 })))
	for number, want := range map[string]string{helix: "conforms", good: "conforms", short: "failed", tight: "borderline", cut: "not proven", other: "conforms"} {
		c, err := r.Cycle(t.Context(), number)
		if err != nil || c.Outcome != want {
			t.Fatalf("%s is %s, %v", number, c.Outcome, err)
		}
	}
}

// readTest enters what the indicator of the day's test showed before the first load.
func readTest(t testing.TB, r *Records, outcome string) {
	t.Helper()
	if _, err := r.Note(t.Context(), Noting{Duty: dutyPenetration, Outcome: outcome, By: as("tom"), At: at("08:50:00")}); err != nil {
		t.Fatal(err)
	}
}

// refused fails unless the act was refused for that reason, with something to do instead.
func refusedFor(t testing.TB, err error, why, instead string) {
	t.Helper()
	var no *Refusal
	if !errors.As(err, &no) {
		t.Fatalf("not refused, %v", err)
	}
	if !strings.Contains(no.Why, why) || !strings.Contains(no.Instead, instead) {
		t.Errorf("refused as\n%s\n%s\nwant %q and %q", no.Why, no.Instead, why, instead)
	}
}

// didDecide does one thing with one load and fails if that is refused.
func didDecide(t testing.TB, r *Records, who, do, number string, change ...func(*Deciding)) Decided {
	t.Helper()
	d := Deciding{Do: do, Cycles: []string{number}, By: as(who)}
	for _, f := range change {
		f(&d)
	}
	done, err := r.Decide(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	return done[0]
}

func TestReleases(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	because := func(d *Deciding) { d.Reason = "curve and indicators looked at" }
	try := func(who, do, number string, change ...func(*Deciding)) error {
		d := Deciding{Do: do, Cycles: []string{number}, By: as(who)}
		for _, f := range change {
			f(&d)
		}
		_, err := r.Decide(t.Context(), d)
		return err
	}
	refusedFor(t, try("lea", DoRelease, good), "waits for what its indicator showed", "holdproof note")
	readTest(t, r, "passed")
	refusedFor(t, try("tom", DoRelease, good), "the role release or lead is needed", "Ask somebody")
	refusedFor(t, try("lea", DoRelease, helix), "steam penetration test", "holdproof note")
	refusedFor(t, try("lea", DoRelease, short), "is failed", "Repack it and run it again")
	refusedFor(t, try("mara", DoRelease, cut), "is not proven", "Repack it and run it again")
	refusedFor(t, try("lea", DoRelease, tight), "no reason is given", "--reason")
	refusedFor(t, try("lea", DoRelease, tight, because), "needs a second person", "--quarantine")
	second := func(who string) func(*Deciding) { return func(d *Deciding) { d.Second = as(who) } }
	refusedFor(t, try("lea", DoRelease, tight, because, second("lea")), "needs a second person", "--second")
	refusedFor(t, try("lea", DoRelease, tight, because, second("tom")), "neither of lea and tom is lead", "--quarantine")
	refusedFor(t, try("mara", DoRelease, tight, because, second("tom")), "tom may not be the second person", "Ask somebody")

	done := didDecide(t, r, "lea", DoRelease, tight, because, second("mara"))
	e := entryOf[entry.Decision](t, r, done.Entry)
	if e.By != "lea" || e.Said.Second != "mara" || !strings.HasPrefix(e.Proved, "passphrase of certificate ") || !strings.HasPrefix(e.Said.SecondProved, "passphrase of certificate ") || e.Proved == e.Said.SecondProved {
		t.Errorf("%+v", e)
	}
	didDecide(t, r, "lea", DoRelease, good)
	refusedFor(t, try("mara", DoRelease, good), "released already (Lea Brook", "Nothing more")
	for _, number := range []string{good, tight} {
		if c, _ := r.Cycle(t.Context(), number); !c.Settled || c.Decision != "release" {
			t.Errorf("%s: %+v", number, c)
		}
	}
	sound(t, r)
}

func entryOf[B entry.Body](t testing.TB, r *Records, n int64) logbook.Row[B] {
	t.Helper()
	rows, err := logbook.Find[B](t.Context(), r.book.View, logbook.Filter{Entry: n})
	if err != nil || len(rows) != 1 {
		t.Fatalf("%d entries %d, %v", len(rows), n, err)
	}
	return rows[0]
}

// The second person may come later: a proposal, then the release by the other.
func TestProposal(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	because := func(d *Deciding) { d.Reason = "curve looked at" }
	didDecide(t, r, "lea", DoPropose, tight, because)
	_, err := r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{tight}, By: as("lea"), Reason: "me again"})
	refusedFor(t, err, "needs a second person", "--second")
	done := didDecide(t, r, "mara", DoRelease, tight, because)
	if e := entryOf[entry.Decision](t, r, done.Entry); e.By != "mara" || e.Said.Second != "lea" || !strings.Contains(e.Said.SecondProved, "entry ") {
		t.Errorf("%+v", e)
	}
}

// A proposal speaks of the verdict it was made on and of no later one.
func TestProposalOnAnOldVerdict(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	didDecide(t, r, "lea", DoPropose, tight, func(d *Deciding) { d.Reason = "curve looked at" })
	judgedAgain(t, r, tight)
	_, err := r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{tight}, By: as("mara"), Reason: "second"})
	refusedFor(t, err, "needs a second person", "--propose")
}

// judgedAgain adds the verdict on a cycle a second time, as after a change of settings.
func judgedAgain(t testing.TB, r *Records, number string) {
	t.Helper()
	c, err := r.Cycle(t.Context(), number)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.write(t.Context(), func(b *logbook.Batch) error {
		_, err := r.addVerdicts(t.Context(), b, r.Now(), []draft{{verdict: *c.Verdict, was: &c}})
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// What is set aside is always allowed; a load that was used opens a recall, which
// only a lead closes, with every pack.
func TestUsedOpensARecall(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	if done := didDecide(t, r, "tom", DoUsed, good); done.Recall {
		t.Error("a conforming load is recalled")
	}
	done := didDecide(t, r, "tom", DoUsed, short, func(d *Deciding) { d.Packs = []entry.Pack{{Pack: "P-17"}} })
	if !done.Recall {
		t.Fatal("no recall")
	}
	c, _ := r.Cycle(t.Context(), short)
	if c.Recall != "opened" || c.Settled {
		t.Fatalf("%+v", c)
	}
	try := func(who, do string, packs ...entry.Pack) error {
		_, err := r.Decide(t.Context(), Deciding{Do: do, Cycles: []string{short}, By: as(who), Packs: packs})
		return err
	}
	refusedFor(t, try("lea", DoClose), "what became of P-17 is not known", "--pack")
	if err := try("lea", DoFollow, entry.Pack{Pack: "P-18", Became: "found unopened, repacked"}); err != nil {
		t.Fatal(err)
	}
	refusedFor(t, try("mara", DoClose), "P-17", "--pack")
	found := entry.Pack{Pack: "P-17", Became: "used on 2 Nov, told the dentist"}
	refusedFor(t, try("lea", DoClose, found), "the role lead is needed", "lead")
	refusedFor(t, try("mara", DoRecall), "being recalled already", "--follow")
	if err := try("mara", DoClose, found); err != nil {
		t.Fatal(err)
	}
	c, _ = r.Cycle(t.Context(), short)
	e := entryOf[entry.Recall](t, r, c.RecallEntry)
	if c.Recall != "closed" || !c.Settled || len(e.Said.Packs) != 2 || e.Said.Packs[0] != found || !strings.Contains(e.Said.Because, "used already") {
		t.Errorf("%+v %+v", c, e.Said)
	}
	refusedFor(t, try("mara", DoClose, found), "no recall", "--recall")
	sound(t, r)
}

func TestSetAside(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	try := func(d Deciding) error {
		_, err := r.Decide(t.Context(), d)
		return err
	}
	didDecide(t, r, "tom", DoQuarantine, tight)
	refusedFor(t, try(Deciding{Do: DoQuarantine, Cycles: []string{tight}, By: as("tom")}), "in quarantine already", "--release")
	didDecide(t, r, "lea", DoRelease, tight, func(d *Deciding) { d.Reason, d.Second = "the morning after", as("mara") })

	didDecide(t, r, "tom", DoReprocess, short)
	if c, _ := r.Cycle(t.Context(), short); c.Settled {
		t.Error("settled without its new run")
	}
	refusedFor(t, try(Deciding{Do: DoReprocess, Cycles: []string{short}, By: as("tom")}), "sent back already", "--rerun")
	for _, c := range []struct{ rerun, why string }{{"99", "no cycle"}, {good, "did not run after"}, {helix, "no load"}} {
		refusedFor(t, try(Deciding{Do: DoReprocess, Cycles: []string{short}, By: as("tom"), Rerun: c.rerun}), c.why, "")
	}
	done := didDecide(t, r, "tom", DoReprocess, short, func(d *Deciding) { d.Rerun = "S1/" + other })
	run, _ := r.Cycle(t.Context(), other)
	if e := entryOf[entry.Decision](t, r, done.Entry); e.Said.Rerun != run.Key || !e.Said.Settled {
		t.Errorf("%+v", e.Said)
	}
	refusedFor(t, try(Deciding{Do: DoRelease, Cycles: []string{other, short}, By: as("lea")}), "is failed", "Repack")
	if c, _ := r.Cycle(t.Context(), other); c.Decision != "" {
		t.Error("one load of a refused act was released")
	}
}
