package surgery

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/archive"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// forge takes the signatures out of a bag, and writes its entries anew with leaves,
// proofs, checkpoint and first page that fit, as anybody can without a key.
func (u unpacked) forge(change func(entries []string) []string) {
	u.t.Helper()
	for _, name := range []string{"bag.cms", "data/checkpoint.cms"} {
		if err := os.Remove(u.path(name)); err != nil && !os.IsNotExist(err) {
			u.t.Fatal(err)
		}
	}
	before, err := entry.ParseCheckpoint([]byte(u.read("data/checkpoint.txt")))
	if err != nil {
		u.t.Fatal(err)
	}
	var entries []string
	for l := range strings.Lines(u.read("data/ledger.jsonl")) {
		var x struct{ Entry string }
		if err := json.Unmarshal([]byte(l), &x); err != nil {
			u.t.Fatal(err)
		}
		entries = append(entries, x.Entry)
	}
	entries = change(entries)
	tree := &entry.Tree{}
	for _, e := range entries {
		if err := tree.Add([]byte(e)); err != nil {
			u.t.Fatal(err)
		}
	}
	last, err1 := entry.Parse([]byte(entries[len(entries)-1]))
	root, err2 := tree.Root(tree.Size())
	if err1 != nil || err2 != nil {
		u.t.Fatal(err1, err2)
	}
	var out bytes.Buffer
	w := archive.NewLedgerWriter(&out, tree, root)
	for _, e := range entries {
		if err := w.Add([]byte(e)); err != nil {
			u.t.Fatal(err)
		}
	}
	if err := w.Finish(); err != nil {
		u.t.Fatal(err)
	}
	after := entry.Checkpoint{Size: tree.Size(), Root: root, Time: entry.At(last.Entered)}
	u.write("data/ledger.jsonl", out.String())
	u.write("data/checkpoint.txt", string(after.Text()))
	page := strings.ReplaceAll(html.UnescapeString(u.read("data/index.html")), before.RootText(), after.RootText())
	u.write("data/index.html", strings.ReplaceAll(page, fmt.Sprintf("%d entries", before.Size), fmt.Sprintf("%d entries", after.Size)))
}

// copied is a bag of its own for an attacker.
func copied(t testing.TB, bag string) unpacked {
	t.Helper()
	u := unpacked{t, filepath.Join(t.TempDir(), "bag")}
	if err := os.CopyFS(u.dir, os.DirFS(bag)); err != nil {
		t.Fatal(err)
	}
	return u
}

// Without a key every entry after the last signed record can be written anew, and the
// end of the log cut off: a bag without signatures says of these entries that nobody
// covers them, whatever it holds, and is never trusted.
func TestForgedBag(t *testing.T) {
	s := baggedSite(t)
	s.note(t, Noting{Duty: dutyClosed, Day: "2026-11-03", Text: "the boiler is repaired"})
	bag := s.bag(t, "bag", func(b *Bagging) { b.To = "2026-11-03" })
	n := s.entries(t)
	for _, c := range []struct {
		why     string
		change  func([]string) []string
		remark  string
		problem string
	}{
		{"nothing but the signatures", func(e []string) []string { return e },
			fmt.Sprintf("Entries 1 to %d are covered by the record of 2 Nov 2026 (Lea Brook, Mara Quill). Entries %d to %d are covered by nobody", n-3, n-2, n), ""},
		{"a later entry", func(e []string) []string {
			e[n-1] = strings.Replace(e[n-1], "repaired", "exchanged", 1)
			return e
		}, fmt.Sprintf("Entries %d to %d are covered by nobody", n-2, n), ""},
		{"the last entry cut", func(e []string) []string { return e[:n-1] }, fmt.Sprintf("Entries %d to %d are covered by nobody", n-2, n-1), "days/2026-11-03.html does not belong"},
		{"an entry under a record", func(e []string) []string {
			i := slices.IndexFunc(e, func(l string) bool { return strings.Contains(l, `"outcome":"failed"`) })
			e[i] = strings.Replace(e[i], `"outcome":"failed"`, `"outcome":"conforms"`, 1)
			return e
		}, fmt.Sprintf("Entries 1 to %d are covered by nobody", n), fmt.Sprintf("the first %d entries are not those that it was drawn from", n-3)},
	} {
		u := copied(t, bag)
		u.forge(c.change)
		u.reseal()
		v := s.verified(t, u.dir)
		problems, remarks := strings.Join(v.Problems, "\n"), strings.Join(v.Remarks, "\n")
		if v.Trusted || v.OK != (c.problem == "") || !strings.Contains(problems, c.problem) || !strings.Contains(remarks, c.remark) || !strings.Contains(remarks, "Nobody signed this bag.") {
			t.Errorf("%s: %t %t, %s\n%s\nexpected %q, %q", c.why, v.OK, v.Trusted, problems, remarks, c.problem, c.remark)
		}
	}
}

// A bag of which no record is signed is covered by nobody at all.
func TestBagThatNothingCovers(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	s.note(t, Noting{Duty: dutyExplained, Cycle: "S1/1049", Explains: "number-gap", Text: "1048 was stopped"})
	bag := s.bag(t, "bag", func(b *Bagging) { b.By = Proof{} })
	v := s.verified(t, bag)
	all := strings.Join(v.Remarks, "\n")
	if !v.OK || v.Trusted || v.Covered != 0 || !strings.Contains(all, fmt.Sprintf("Entries 1 to %d are covered by nobody", s.entries(t))) || !strings.Contains(all, "Nothing here is signed under an authority you named") {
		t.Errorf("%+v", v)
	}
	if v := signedSite(t).verified(t, bag); v.OK || !strings.Contains(strings.Join(v.Problems, "\n"), "The authority of this bag is none that you named: "+v.Fingerprint) {
		t.Errorf("with other roots: %+v", v)
	}
}

// The bag's own copy of its authority vouches for nothing.
func TestBagOwnRoots(t *testing.T) {
	s := baggedSite(t)
	bag := s.bag(t, "bag")
	v, err := VerifyBag(bag, Trusting{Roots: filepath.Join(bag, "data/keys/ca.pem")}, nil)
	if err != nil || !v.OK || v.Trusted || !strings.Contains(strings.Join(v.Remarks, "\n"), "came with the bag") {
		t.Errorf("%+v, %v", v, err)
	}
}

// A person who is no lead cannot sign a bag, whatever certificate the person has.
func TestBagSignedByOther(t *testing.T) {
	s := baggedSite(t)
	u := unpacked{t, s.bag(t, "bag", func(b *Bagging) { b.By = Proof{} })}
	lea, err := seal.Open(read(t, keyFile(s.dir, "lea")), "lea at the quay")
	if err != nil {
		t.Fatal(err)
	}
	sign := func(name, of string) {
		cms, err := lea.SignDetached([]byte(u.read(of)))
		if err != nil {
			t.Fatal(err)
		}
		u.write(name, string(cms))
	}
	sign("data/checkpoint.cms", "data/checkpoint.txt")
	u.reseal()
	sign("bag.cms", "tagmanifest-sha256.txt")
	v := s.verified(t, u.dir)
	if all := strings.Join(v.Problems, "\n"); v.OK || v.Trusted || v.Signer != "" || strings.Count(all, "Lea Brook, who by the ledger is no lead on 2 Nov 2026") != 2 {
		t.Error(all)
	}
}

// What a machine counted belongs to the numbers that must be there.
func TestBagCounter(t *testing.T) {
	s := baggedSite(t)
	count := float64(1060)
	s.clock.Time = time.Date(2026, 11, 2, 19, 0, 0, 0, time.UTC)
	s.note(t, Noting{Duty: dutyCounter, Steriliser: "S1", Value: &count})
	n := s.entries(t)
	for _, machine := range []string{"", "S1", "S2"} {
		v := s.verified(t, s.bag(t, "bag", func(b *Bagging) { b.Steriliser = machine }))
		all := strings.Join(v.Problems, "\n")
		if want := machine != "S2"; strings.Contains(all, "S1 counted 1060") != want || v.OK == want {
			t.Errorf("%q: %s", machine, all)
		}
	}
	if _, err := s.Correct(t.Context(), Correcting{Entry: n, Withdraw: true, By: by("lea"), Reason: "misread"}); err != nil {
		t.Fatal(err)
	}
	if v := s.verified(t, s.bag(t, "bag")); !v.OK {
		t.Error(v.Problems)
	}
}

// What is after the last entry is not known, and a bag says so.
func TestBagEnds(t *testing.T) {
	s := baggedSite(t)
	for days, want := range map[[2]string]string{
		{"2026-11-02", "2026-11-02"}: "",
		{"2026-11-02", "2026-11-03"}: "The logbook ends on 2 Nov 2026: of 3 Nov 2026 it knows only what was entered before",
		{"2026-11-02", "2026-11-30"}: "The logbook ends on 2 Nov 2026: of 3 Nov 2026 to 30 Nov 2026 it knows only what was entered before",
		{"2026-11-03", "2026-11-30"}: "The logbook ends on 2 Nov 2026: of 3 Nov 2026 to 30 Nov 2026 it knows only what was entered before",
		{"2027-01-01", "2027-01-31"}: "The logbook ends on 2 Nov 2026, before this period begins: of it nothing is known but what was entered before",
	} {
		v := s.verified(t, s.bag(t, "bag", func(b *Bagging) { b.From, b.To = days[0], days[1] }))
		if v.Unknown != want || want != "" && !slices.Contains(v.Remarks, want+".") || !v.OK {
			t.Errorf("%v: %q, %q, expected %q", days, v.Unknown, v.Remarks, want)
		}
	}
}
