package surgery

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// cyclesOf describes the cycles as they stand, without what depends on the order in
// which they came: the lines of sources.
func cyclesOf(t testing.TB, r *Records) []string {
	t.Helper()
	cycles, err := r.book.Cycles(t.Context(), logbook.CycleFilter{})
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, c := range cycles {
		sources, err := r.book.Sources(t.Context(), c.Key)
		if err != nil {
			t.Fatal(err)
		}
		var sums []string
		for _, s := range sources {
			sums = append(sums, s.SHA256[:8])
		}
		slices.Sort(sums)
		out = append(out, fmt.Sprintf("%s %s %s %s %d %.8s %s", c.Key, c.Steriliser, c.Start, c.Outcome, c.Readings, c.Digest, strings.Join(slices.Compact(sums), " ")))
	}
	slices.Sort(out)
	return out
}

// growingFiles are exports of one day as a surgery makes them: at noon while a cycle
// runs, in the evening, one cycle alone, all of them twice in one file, one under
// another name, and one that was damaged while it was copied.
func growingFiles(t testing.TB) []string {
	t.Helper()
	dir := t.TempDir()
	a, b, c := cycleAt("1", "08:14:03"), cycleAt("2", "12:02:40"), cycleAt("3", "15:30:00")
	text := func(cycles ...fixtures.Cycle) string {
		s, err := fixtures.CSV(fixtures.Dialect{Preamble: true}, cycles...)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	all := text(a, b, c)
	noon := strings.SplitAfter(text(a, b), "\n")
	noon = noon[:len(noon)-90]
	single := strings.SplitAfter(text(b), "\n")
	single[30] = "soon,20.0,19.0,101.3\n"
	return []string{
		wrote(t, dir, "noon.csv", strings.Join(noon, "")),
		wrote(t, dir, "evening.csv", all),
		wrote(t, dir, "one.csv", text(b)),
		wrote(t, dir, "twice.csv", all+strings.Join(noon, "")),
		wrote(t, dir, "renamed copy.csv", all),
		wrote(t, dir, "damaged.csv", strings.Join(single, "")),
	}
}

// A cycle is steriliser, start and readings: whatever order the files of a day come
// in, the same cycles stand at the end, each with all its files, and none is a finding.
func TestAnyOrderGivesTheSameCycles(t *testing.T) {
	files := growingFiles(t)
	orders := permutations(len(files))
	if os.Getenv("HOLDPROOF_LONG") == "" {
		dice := rand.New(rand.NewPCG(1, 2026))
		dice.Shuffle(len(orders), func(i, j int) { orders[i], orders[j] = orders[j], orders[i] })
		orders = orders[:12]
	}
	var want []string
	for _, order := range orders {
		r := opened(t, emptySite(t), machines(), "")
		var names []string
		for _, i := range order {
			names = append(names, files[i])
		}
		_, across := imported(t, r, names...)
		if len(across) > 0 {
			t.Errorf("%v: found %q between the cycles", order, across[0].Message)
		}
		got := cyclesOf(t, r)
		if want == nil {
			want = got
			if len(got) != 3 {
				t.Fatalf("%d cycles stand, expected 3:\n%s", len(got), strings.Join(got, "\n"))
			}
			for _, line := range got {
				if !strings.Contains(line, "conforms") {
					t.Errorf("expected the whole cycle: %s", line)
				}
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%v gives\n%s\nexpected\n%s", order, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		sound(t, r)
		r.Close()
	}
}

func permutations(n int) [][]int {
	if n == 0 {
		return [][]int{nil}
	}
	var out [][]int
	for _, p := range permutations(n - 1) {
		for at := range n {
			out = append(out, slices.Insert(slices.Clone(p), at, n-1))
		}
	}
	return out
}

// Other readings at a start are another cycle with a key of its own, and stop both.
func TestOtherReadingsAtOneStart(t *testing.T) {
	dir := t.TempDir()
	a := exported(t, dir, "a.csv", cycleAt("7", "08:14:03"))
	b := exported(t, dir, "b.csv", cycleAt("7", "08:14:03", func(c *fixtures.Cycle) { c.Draw++ }))
	r := opened(t, emptySite(t), machines(), "")
	out, across := imported(t, r, a, b, a)
	if len(across) != 1 || across[0].Check != "number-repeat" {
		t.Errorf("between the cycles: %+v", across)
	}
	var keys []string
	for _, c := range out.arrivals {
		keys = append(keys, c.Key+" "+c.How)
	}
	if want := []string{"S1-20261102-081403 new", "S1-20261102-081403-2 new", "S1-20261102-081403 again"}; !slices.Equal(keys, want) {
		t.Errorf("keys %q, expected %q", keys, want)
	}
	c, err := r.Cycle(t.Context(), "S1-20261102-081403-2")
	if err != nil {
		t.Fatal(err)
	}
	if stops, err := r.stops(t.Context(), r.book.View, c); err != nil || len(stops) != 1 {
		t.Errorf("%d findings stop it (%v), expected 1", len(stops), err)
	}
	if _, err := r.Cycle(t.Context(), "S1/7"); err == nil || !strings.Contains(err.Error(), "2 cycles") {
		t.Errorf("two cycles of one number: %v", err)
	}
}

// What cannot be read is kept too, byte for byte, with its problem.
func TestUnreadableIsKept(t *testing.T) {
	dir := t.TempDir()
	junk := wrote(t, dir, "junk.csv", "this is no table\n")
	empty := wrote(t, dir, "empty.csv", "")
	r := opened(t, emptySite(t), machines(), "")
	out, _ := imported(t, r, dir, filepath.Join(dir, "missing.csv"))
	if len(out.files) != 3 || out.files[0].Name != empty || out.files[1].Name != junk {
		t.Fatalf("files: %+v", out.files)
	}
	for i, kept := range []bool{true, true, false} {
		if f := out.files[i]; f.Kept != kept || len(f.Problems) != 1 {
			t.Errorf("%s: kept %t with %d problems", f.Name, f.Kept, len(f.Problems))
		}
	}
	imports, err := logbook.Find[entry.Import](t.Context(), r.book.View, logbook.Filter{})
	if err != nil || len(imports) != 2 {
		t.Fatalf("%d imports (%v)", len(imports), err)
	}
	for _, i := range imports {
		var problems []keptProblem
		if err := json.Unmarshal(i.Said.Problems, &problems); err != nil || len(problems) != 1 || problems[0].Remedy == "" || i.Said.Readable || i.Said.Day != "2026-11-02" {
			t.Errorf("import says %s (%v)", i.Line, err)
		}
	}
	in, err := r.book.Original(t.Context(), out.files[1].SHA256)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	b := make([]byte, 100)
	if n, _ := in.Read(b); string(b[:n]) != "this is no table\n" {
		t.Errorf("kept bytes: %q", b[:n])
	}
	again, _ := imported(t, r, dir)
	if len(again.files) != 0 {
		t.Errorf("a folder's files were kept twice: %+v", again.files)
	}
	sound(t, r)
}

// The readings of a machine under the name of another that nobody configured are a
// cycle of their own, whichever came first, and stop both.
func TestSameReadingsOfAnotherMachine(t *testing.T) {
	dir := t.TempDir()
	known := exported(t, dir, "known.csv", cycleAt("7", "08:14:03"))
	strange := exported(t, dir, "strange.csv", cycleAt("7", "08:14:03", func(c *fixtures.Cycle) { c.Steriliser = "XX-99" }))
	for _, files := range [][]string{{known, strange}, {strange, known}} {
		r := opened(t, emptySite(t), machines(), "")
		out, across := imported(t, r, files...)
		for _, c := range out.arrivals {
			if c.How != "new" {
				t.Errorf("%s: %s is %s", filepath.Base(files[0]), c.Key, c.How)
			}
		}
		if len(out.arrivals) != 2 || !slices.ContainsFunc(across, func(b Between) bool { return b.Check == "same-readings" }) {
			t.Errorf("%s first: %d cycles, between them %+v", filepath.Base(files[0]), len(out.arrivals), across)
		}
	}
}

// A cycle of a machine that nobody configured is kept; judged again when it is, it is
// that machine's, under its new name, with its history.
func TestUnknownSteriliserIsAssigned(t *testing.T) {
	file := exported(t, t.TempDir(), "a.csv", cycleAt("7", "08:14:03", func(c *fixtures.Cycle) { c.Steriliser = "TQ-0599" }))
	site := emptySite(t)
	r := opened(t, site, machines(), "")
	imported(t, r, file)
	before, err := r.Cycle(t.Context(), "TQ-0599-20261102-081403")
	if err != nil || before.Configured {
		t.Fatalf("found %+v (%v)", before, err)
	}
	r.Close()
	r = opened(t, site, machines(func(c *Configuration) {
		c.Sterilisers = append(c.Sterilisers, Steriliser{ID: "S2", Serial: "TQ-0599", Programme: "134"})
	}), "# with S2")
	dry, err := r.Rejudge(t.Context(), Again{})
	if err != nil || len(dry.Changes) != 1 || !slices.Contains(dry.Changes[0].What, "steriliser") {
		t.Fatalf("would change %+v (%v)", dry.Changes, err)
	}
	if now, err := r.Cycle(t.Context(), "7"); err != nil || now.Steriliser != "TQ-0599" {
		t.Fatalf("a look changed the logbook: %+v (%v)", now, err)
	}
	if _, err := r.Rejudge(t.Context(), Again{Write: true}); err != nil {
		t.Fatal(err)
	}
	now, err := r.Cycle(t.Context(), before.Key) // the old name leads to it
	if err != nil || now.Key != "S2-20261102-081403" || now.Steriliser != "S2" || !now.Configured || now.Verdict.Continues != before.Key {
		t.Errorf("found %+v (%v)", now, err)
	}
	again, err := r.Rejudge(t.Context(), Again{Write: true})
	if err != nil || len(again.Changes) != 0 || again.Same != 1 {
		t.Errorf("a second time changes %+v (%v)", again, err)
	}
	sound(t, r)
}

// releasedAtMachine enters what a person did at the machine before the record came.
func releasedAtMachine(t testing.TB, r *Records, number string) {
	t.Helper()
	err := r.write(t.Context(), func(b *logbook.Batch) error {
		_, err := b.Add(entry.Draft{At: evening, By: "perera", Proved: "passphrase", Body: entry.Release{
			Steriliser: "S1", Number: number, Day: "2026-11-02", Act: "released", Indicator: "passed"}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// A load that was released at the machine and whose record does not conform is called
// back in the transaction that keeps the record; one that conforms is settled.
func TestReleasedBeforeItsRecord(t *testing.T) {
	dir := t.TempDir()
	short := exported(t, dir, "short.csv", cycleAt("8", "09:00:00", func(c *fixtures.Cycle) { c.Hold = 120 }))
	good := exported(t, dir, "good.csv", cycleAt("9", "10:00:00"))
	free := exported(t, dir, "free.csv", cycleAt("10", "11:00:00", func(c *fixtures.Cycle) { c.Hold = 120 }))
	r := opened(t, emptySite(t), machines(), "")
	releasedAtMachine(t, r, "8")
	releasedAtMachine(t, r, "9")
	out, _ := imported(t, r, short, good, free)
	if got := out.files[0].Recalls; len(got) != 1 || !strings.Contains(got[0], "S1 · 8: it was released at the machine before its record came, and the record is failed: held") {
		t.Errorf("recalls: %q", got)
	}
	for number, want := range map[string]struct {
		recall  string
		settled bool
	}{"8": {"opened", false}, "9": {"", true}, "10": {"", false}} {
		c, err := r.Cycle(t.Context(), "S1/"+number)
		if err != nil || c.Recall != want.recall || c.Settled != want.settled || (c.Release == "released") != (number != "10") {
			t.Errorf("cycle %s: recall %q, settled %t, release %q (%v)", number, c.Recall, c.Settled, c.Release, err)
		}
	}
	imported(t, r, short) // once is enough
	recalls, err := logbook.Find[entry.Recall](t.Context(), r.book.View, logbook.Filter{})
	if err != nil || len(recalls) != 1 {
		t.Errorf("%d recalls (%v), expected 1", len(recalls), err)
	}
	sound(t, r)
}

// A verdict that comes out worse today calls a released load back too.
func TestRejudgedWorseIsCalledBack(t *testing.T) {
	site := emptySite(t)
	r := opened(t, site, machines(), "")
	releasedAtMachine(t, r, "9")
	imported(t, r, exported(t, t.TempDir(), "a.csv", cycleAt("9", "10:00:00"), cycleAt("10", "11:00:00")))
	r.Close()
	strict := machines(func(c *Configuration) {
		c.Limits = "mine"
		c.LimitSets = []LimitSet{{Name: "mine", Source: "validation report", Programmes: []OwnLimit{{Name: "134", SterilisingC: 134, BandK: 3, HoldS: 600}}}}
	})
	r = opened(t, site, strict, "# strict")
	found, err := r.Rejudge(t.Context(), Again{Write: true})
	if err != nil || len(found.Changes) != 2 {
		t.Fatalf("changes %+v (%v)", found.Changes, err)
	}
	for _, c := range found.Changes {
		if c.Old != "conforms" || c.New != "failed" || !strings.Contains(c.Why, "needs 600 s") || (c.Recall != "") != (c.Name == "S1 · 9") {
			t.Errorf("change %+v", c)
		}
	}
	c, err := r.Cycle(t.Context(), "9")
	if err != nil || c.Recall != "opened" || c.Settled {
		t.Errorf("recall %q, settled %t (%v)", c.Recall, c.Settled, err)
	}
	verdicts, err := logbook.Find[entry.Verdict](t.Context(), r.book.View, logbook.Filter{Cycle: c.Key})
	if err != nil || len(verdicts) != 2 || verdicts[0].Said.Configuration == verdicts[1].Said.Configuration {
		t.Errorf("%d verdicts (%v), expected the old and the new one, each with its configuration", len(verdicts), err)
	}
	sound(t, r)
}

// The bytes of the configuration become an entry when they change, once.
func TestConfigurationComesIntoForce(t *testing.T) {
	site, dir := emptySite(t), t.TempDir()
	for i, text := range []string{"# one", "# one", "# two", "# one"} {
		r := opened(t, site, machines(), text)
		imported(t, r, exported(t, dir, "a.csv", cycleAt(fmt.Sprint(i), "08:14:03", func(c *fixtures.Cycle) { c.Start = c.Start.Add(time.Duration(i) * time.Hour) })))
		r.Close()
	}
	r := opened(t, site, machines(), "# unused")
	kept, err := logbook.Find[entry.Configuration](t.Context(), r.book.View, logbook.Filter{})
	var texts []string
	for _, k := range kept {
		texts = append(texts, k.Said.Text)
	}
	if want := []string{"# one", "# two", "# one"}; err != nil || !slices.Equal(texts, want) {
		t.Errorf("configurations %q (%v), expected %q", texts, err, want)
	}
}
