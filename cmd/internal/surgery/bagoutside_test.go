package surgery

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Programs that share nothing with this one look at a bag, with the very commands that
// its HOW-TO-CHECK.txt gives.

// commandsIn are the commands behind a $ in HOW-TO-CHECK.txt.
func commandsIn(t *testing.T, bag string) []string {
	t.Helper()
	var out []string
	for l := range strings.Lines(string(read(t, filepath.Join(bag, "data/HOW-TO-CHECK.txt")))) {
		if _, c, is := strings.Cut(strings.TrimSuffix(l, "\n"), "$ "); is && !strings.Contains(l, "Windows") {
			out = append(out, c)
		}
	}
	return out
}

func inShell(bag, command string) (string, error) {
	c := exec.Command("sh", "-c", command)
	c.Dir = bag
	out, err := c.CombinedOutput()
	return string(out), err
}

func TestBagByCommands(t *testing.T) {
	for _, name := range []string{"sha256sum", "shasum", "openssl", "pdfsig"} {
		needsTool(t, name)
	}
	s := baggedSite(t)
	bag := s.bag(t, "bag")
	want := map[string]string{"sha256sum": "all as packed", "shasum": "data/cycles.csv: OK", "openssl x509": strings.ReplaceAll(s.fingerprint(t), " ", ""),
		"openssl cms": "CMS Verification successful", "pdfsig": "Signature is Valid", "grep": ",Mara Quill,", "(find": "bag.cms\ntagmanifest-sha256.txt\n"}
	tried := map[string]int{}
	for _, c := range commandsIn(t, bag) {
		for begins, says := range want {
			if !strings.HasPrefix(c, begins) {
				continue
			}
			tried[begins]++
			out, err := inShell(bag, c)
			if begins == "(find" && out != says {
				t.Errorf("%s: %s\nexpected %q", c, out, says)
			}
			if err != nil || !strings.Contains(strings.ReplaceAll(out, ":", ""), strings.ReplaceAll(says, ":", "")) {
				t.Errorf("%s: %v, %s\nexpected %q", c, err, out, says)
			}
		}
	}
	if fmt.Sprint(tried) != "map[(find:1 grep:1 openssl cms:2 openssl x509:1 pdfsig:1 sha256sum:1 shasum:1]" {
		t.Errorf("tried %v", tried)
	}
	for _, c := range commandsIn(t, bag) {
		if strings.HasPrefix(c, "openssl cms") {
			// When the certificate has ended the command as given still succeeds, and one that
			// asks about that day does not.
			late := regexp.MustCompile(`-attime \d+`).ReplaceAllString(c, fmt.Sprintf("-attime %d", s.clock.AddDate(40, 0, 0).Unix()))
			if out, err := inShell(bag, late); err == nil || !strings.Contains(out, "expired") {
				t.Errorf("40 years later: %v, %s", err, out)
			}
		}
	}
	if n := bytes.Count(read(t, filepath.Join(bag, "data/HOW-TO-CHECK.txt")), []byte("\n")); n > 66 {
		t.Errorf("HOW-TO-CHECK.txt has %d lines, a page 66", n)
	}
	added := filepath.Join(bag, "data/records/2026-11-07.pdf")
	if err := os.WriteFile(added, []byte("%PDF-"), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range commandsIn(t, bag) {
		if strings.HasPrefix(c, "(find") {
			if out, err := inShell(bag, c); err != nil || !strings.Contains(out, "data/records/2026-11-07.pdf\n") {
				t.Errorf("a file that was added: %v, %s", err, out)
			}
		}
	}
	if err := os.Remove(added); err != nil {
		t.Fatal(err)
	}
	table := filepath.Join(bag, "data/cycles.csv")
	if err := os.WriteFile(table, append(read(t, table), "x\r\n"...), 0o666); err != nil {
		t.Fatal(err)
	}
	if out, err := inShell(bag, "sha256sum -c --quiet tagmanifest-sha256.txt manifest-sha256.txt"); err == nil || !strings.Contains(out, "data/cycles.csv: FAILED") {
		t.Errorf("a changed table: %v, %s", err, out)
	}
	signed := read(t, filepath.Join(bag, "tagmanifest-sha256.txt"))
	if err := os.WriteFile(filepath.Join(bag, "tagmanifest-sha256.txt"), bytes.Replace(signed, []byte("a"), []byte("b"), 1), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range commandsIn(t, bag) {
		if strings.Contains(c, "bag.cms") {
			if out, err := inShell(bag, c); err == nil {
				t.Errorf("a changed list: %s", out)
			}
		}
	}
}

func (s *site) fingerprint(t testing.TB) string {
	t.Helper()
	v := s.verified(t, s.bag(t, "for its fingerprint"))
	return v.Fingerprint
}

// Python's zipfile reads every byte of a ZIP, finds its check sums right, and one folder.
func TestBagByPython(t *testing.T) {
	s := baggedSite(t)
	zip := s.bag(t, "bag.zip")
	out := tool(t, "python3", "-c", `import sys, zipfile
z = zipfile.ZipFile(sys.argv[1])
print(z.testzip(), sorted({n.split("/")[0] for n in z.namelist()}), {i.date_time for i in z.infolist()}, {i.create_system for i in z.infolist()})`, zip)
	if want := "None ['holdproof-2026-11-02-to-2026-11-08'] {(2026, 11, 2, 18, 1, 0)} {3}\n"; out != want {
		t.Errorf("%s\nexpected %s", out, want)
	}
}

// Every line of the ledger of a real bag, proved by Python with hashlib alone, after the
// rules of RFC 6962, 2.1.1 (read): left and right by the bits of the index.
const proveAll = `import base64, hashlib, json, sys
size, root = None, None
for l in open(sys.argv[1] + "/checkpoint.txt"):
    if l.startswith("entries: "): size = int(l[9:])
    if l.startswith("root: "): root = base64.b64decode(l[6:])
def node(a, b): return hashlib.sha256(b"\x01" + a + b).digest()
def up(path, m, n, leaf): # root of n leaves from leaf m and its path, innermost first
    if n == 1: return leaf if not path else None
    k = 1
    while k * 2 < n: k *= 2
    if not path: return None
    if m < k: x = up(path[:-1], m, k, leaf); return x and node(x, path[-1])
    x = up(path[:-1], m - k, n - k, leaf); return x and node(path[-1], x)
n = 0
for l in open(sys.argv[1] + "/ledger.jsonl", encoding="utf-8", newline="\n"):
    x = json.loads(l); n += 1
    leaf = hashlib.sha256(b"\x00" + x["entry"].encode()).digest()
    good = x["n"] == n and base64.b64decode(x["leaf"]) == leaf and json.loads(x["entry"])["n"] == n
    if not good or up([base64.b64decode(p) for p in x["proof"]], n - 1, size, leaf) != root: print("entry", n, "is not proved")
print(n == size, n)`

func TestLedgerByPython(t *testing.T) {
	s := baggedSite(t)
	bag := s.bag(t, "bag")
	if out := tool(t, "python3", "-c", proveAll, filepath.Join(bag, "data")); out != fmt.Sprintf("True %d\n", s.entries(t)) {
		t.Error(out)
	}
	u := unpacked{t, bag}
	u.replace("data/ledger.jsonl", "1048 was stopped", "1048 was emptied")
	if out := tool(t, "python3", "-c", proveAll, filepath.Join(bag, "data")); !strings.Contains(out, "is not proved") {
		t.Error(out)
	}
}
