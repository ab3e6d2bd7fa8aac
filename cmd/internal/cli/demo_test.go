package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"holdproof/cmd/internal/surgery"
)

// demoIn runs the demonstration with keys that take no time.
func demoIn(t *testing.T, dir string, rounds int) string {
	t.Helper()
	var out, complaints bytes.Buffer
	w := world(map[string]string{"LANG": "C.UTF-8"})
	w.Stdout, w.Stderr, w.rounds = &out, &complaints, rounds
	if code := Run([]string{"demo", dir}, w); code != 0 {
		t.Fatalf("exit code %d: %s", code, complaints.String())
	}
	return out.String()
}

// Keys are locked as those of a real surgery are, although they had fewer rounds while
// the week passed: the number 600,000 stands in the file as DER writes it.
func TestDemoLocksItsKeys(t *testing.T) {
	t.Chdir(t.TempDir())
	page := demoIn(t, "week", 0)
	for _, l := range strings.Split(page, "\n") {
		if utf8.RuneCountInString(l) > pageWidth || strings.TrimRight(l, " ") != l {
			t.Errorf("%d characters: %q", utf8.RuneCountInString(l), l)
		}
	}
	people := surgery.DemoPeople("week")
	if len(people) != 3 {
		t.Fatalf("people %v", people)
	}
	for _, p := range append(people, surgery.DemoPerson{ID: "ca", Passphrase: surgery.DemoAuthority}) {
		if !strings.Contains(page, p.Passphrase) {
			t.Errorf("the passphrase of %s is not told", p.ID)
		}
		p12, err := os.ReadFile(filepath.Join("week", "keys", p.ID+".p12"))
		if err != nil || !bytes.Contains(p12, []byte{0x02, 0x03, 0x09, 0x27, 0xc0}) {
			t.Errorf("the key of %s is not locked with 600,000 rounds: %v", p.ID, err)
		}
	}
}

// A folder that is not the demonstration's shows no passphrase.
func TestDemoPeopleAreOnlyInTheDemo(t *testing.T) {
	dir := t.TempDir()
	if got := surgery.DemoPeople(dir); got != nil {
		t.Errorf("people of an empty folder: %v", got)
	}
	if err := os.WriteFile(filepath.Join(dir, "DEMO.txt"), []byte("our own notes\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := surgery.DemoPeople(dir); got != nil {
		t.Errorf("people of a folder with notes: %v", got)
	}
}

// Keys are random, and so are the roots and hashes that follow from them; all else that
// a record says is the same in every demonstration.
func TestDemoIsTheSameEveryTime(t *testing.T) {
	t.Chdir(t.TempDir())
	hashes := regexp.MustCompile(`[0-9a-f]{64}`)
	day := func(dir, date string) string {
		code, out, stderr := run(t, "day", date, "--dir", dir, "--json")
		if code != 0 {
			t.Fatal(stderr)
		}
		return hashes.ReplaceAllString(out, "")
	}
	one, two := demoIn(t, "a", 1), demoIn(t, "b", 1)
	if one != strings.NewReplacer("  b\n", "  a\n", "dir b", "dir a", " b/", " a/").Replace(two) {
		t.Errorf("the pages differ:\n%s\n%s", one, two)
	}
	if !strings.Contains(one, "clock stands before the end of that week") { // that of these tests does
		t.Errorf("nothing is said of the clock:\n%s", one)
	}
	for _, date := range []string{"2026-11-02", "2026-11-03", "2026-11-07"} {
		if a, b := day("a", date), day("b", date); a != b || len(a) < 1000 {
			t.Errorf("%s differs", date)
		}
	}
}
