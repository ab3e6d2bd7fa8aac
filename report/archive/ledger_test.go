package archive

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// noted returns lines of entries that say something, with characters that JSON escapes.
func noted(t testing.TB, n int) [][]byte {
	t.Helper()
	var out [][]byte
	for i := range n {
		d := entry.Draft{At: packedAt, By: "mara", Proved: "passphrase", Reason: "<" + strings.Repeat("é\u2028\"\\", i),
			Body: entry.Note{Duty: "purge", Day: "2026-11-02", Place: "chair 1", Outcome: "done", Data: json.RawMessage("{}")}}
		line, err := d.Line(int64(i+1), packedAt.Add(time.Duration(i)*time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, line)
	}
	return out
}

func treeOf(t testing.TB, lines [][]byte) (*entry.Tree, entry.Checkpoint) {
	t.Helper()
	var tree entry.Tree
	for _, l := range lines {
		if err := tree.Add(l); err != nil {
			t.Fatal(err)
		}
	}
	root, err := tree.Root(tree.Size())
	if err != nil {
		t.Fatal(err)
	}
	return &tree, entry.Checkpoint{Size: tree.Size(), Root: root, Time: entry.At(packedAt)}
}

func ledgerOf(t testing.TB, lines [][]byte) ([]byte, entry.Checkpoint) {
	t.Helper()
	tree, c := treeOf(t, lines)
	var out bytes.Buffer
	l := NewLedgerWriter(&out, tree, c.Root)
	for _, line := range lines {
		if err := l.Add(line); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Finish(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes(), c
}

// provedBy checks a proof by the rules of RFC 6962, 2.1.1, by hand and with SHA-256 and
// nothing else: the path is walked from the leaf upwards, m is the index of the node and
// n that of the last one on its level.
func provedBy(leaf [32]byte, m, size int64, proof [][]byte, root []byte) bool {
	at, n := leaf[:], size-1
	for _, p := range proof {
		for m%2 == 0 && m == n { // no neighbour on this level
			if m == 0 {
				return false
			}
			m, n = m/2, n/2
		}
		pair := slices.Concat([]byte{1}, at, p)
		if m%2 == 1 {
			pair = slices.Concat([]byte{1}, p, at)
		}
		sum := sha256.Sum256(pair)
		at, m, n = sum[:], m/2, n/2
	}
	for m%2 == 0 && m == n && n > 0 {
		m, n = m/2, n/2
	}
	return n == 0 && bytes.Equal(at, root)
}

// The leaves and roots that tests of logs by RFC 6962 share. Certainty: second-hand, from
// public test files.
var (
	leaves6962 = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	root6962   = "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"
)

// The proof checker of this test is right: it proves each published leaf under the
// published root, and no other.
func TestProofByHand(t *testing.T) {
	var lines [][]byte
	for _, l := range leaves6962 {
		b, err := hex.DecodeString(l)
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, b)
	}
	tree, c := treeOf(t, lines)
	if hex.EncodeToString(c.Root[:]) != root6962 {
		t.Fatalf("root %x", c.Root)
	}
	for i, l := range lines {
		proof, err := tlog.ProveRecord(8, int64(i), tree)
		if err != nil {
			t.Fatal(err)
		}
		path := hashesOf(proof)
		if !provedBy(sha256.Sum256(append([]byte{0}, l...)), int64(i), 8, path, c.Root[:]) {
			t.Errorf("leaf %d is not proved", i)
		}
		if provedBy(sha256.Sum256(append([]byte{0}, l...)), int64(i+1)%8, 8, path, c.Root[:]) {
			t.Errorf("leaf %d is proved at another place", i)
		}
	}
}

func hashesOf(proof []tlog.Hash) [][]byte {
	var out [][]byte
	for _, h := range proof {
		out = append(out, bytes.Clone(h[:]))
	}
	return out
}

// Every line of a ledger can be checked by itself, with a JSON reader and SHA-256.
func TestLedgerByHand(t *testing.T) {
	for _, n := range []int{1, 2, 3, 7, 8, 9, 100} {
		lines := noted(t, n)
		text, c := ledgerOf(t, lines)
		in := bufio.NewScanner(bytes.NewReader(text))
		in.Buffer(nil, 1<<20)
		for i := range n {
			var x struct {
				N     int64
				Leaf  string
				Proof []string
				Entry string
			}
			if !in.Scan() || json.Unmarshal(in.Bytes(), &x) != nil {
				t.Fatalf("%d of %d cannot be read", i, n)
			}
			leaf := sha256.Sum256([]byte("\x00" + x.Entry))
			var proof [][]byte
			for _, p := range x.Proof {
				h, err := base64.StdEncoding.DecodeString(p)
				if err != nil {
					t.Fatal(err)
				}
				proof = append(proof, h)
			}
			if x.Entry != string(lines[i]) || base64.StdEncoding.EncodeToString(leaf[:]) != x.Leaf || x.N != int64(i+1) {
				t.Errorf("%d of %d: %+v", i, n, x)
			}
			if !provedBy(leaf, x.N-1, c.Size, proof, c.Root[:]) {
				t.Errorf("%d of %d is not proved", i, n)
			}
		}
		if in.Scan() {
			t.Error("more lines than entries")
		}
	}
}

// ledgerProblems reads a ledger and returns what is wrong.
func ledgerProblems(text []byte, c entry.Checkpoint) (p Problems, tree *entry.Tree, entries int64) {
	tree, err := ReadLedger(bytes.NewReader(text), c, &p, func(e entry.Entry) error {
		entries++
		return nil
	})
	if err != nil {
		p.Add("error", "%v", err)
	}
	return p, tree, entries
}

func TestReadLedger(t *testing.T) {
	text, c := ledgerOf(t, noted(t, 9))
	if p, tree, n := ledgerProblems(text, c); len(p.List) > 0 || tree == nil || n != 9 {
		t.Fatalf("%q, %d entries", p.List, n)
	}
	lines := bytes.SplitAfter(text, []byte("\n"))
	other, _ := ledgerOf(t, noted(t, 10))
	var strange [][]byte
	for _, l := range noted(t, 9) {
		strange = append(strange, bytes.Replace(l, []byte(`"by":"mara"`), []byte(`"by":"lena"`), 1))
	}
	theirs, _ := ledgerOf(t, strange)
	for _, a := range []struct {
		why, want string
		text      []byte
	}{
		{"nothing", "its end was cut", nil},
		{"its end cut", "its end was cut", bytes.Join(lines[:8], nil)},
		{"a line cut in the middle", "the ledger was cut", text[:len(text)-9]},
		{"without its last line end", "the ledger was cut", text[:len(text)-1]},
		{"a line cut out", "line 4: it is entry 5, and entry 4 belongs here", slices.Concat(bytes.Join(lines[:3], nil), bytes.Join(lines[4:], nil))},
		{"two lines exchanged", "line 1: it is entry 2", slices.Concat(lines[1], lines[0], bytes.Join(lines[2:], nil))},
		{"a line twice", "line 2: it is entry 1", slices.Concat(lines[0], text)},
		{"one more", "there are more", slices.Concat(text, lines[8])},
		{"a changed word", "Entry 1 is not proved", bytes.Replace(text, []byte("chair 1"), []byte("chair 2"), 1)},
		{"a changed leaf", "Entry 1 is not proved", bytes.Replace(text, []byte(`"leaf":"`+string(text[len(`{"n":1,"leaf":"`)])), []byte(`"leaf":"`+flip(text[len(`{"n":1,"leaf":"`)])), 1)},
		{"of another logbook", "Entry 1 is not proved", theirs},
		{"of a later time", "The checkpoint speaks of 9 entries, there are more: the ledger has 10. The checkpoint is an older one of the same logbook.", other},
		{"written otherwise", "not written as a ledger is", bytes.Replace(text, []byte(`{"n":1,`), []byte(`{"n": 1,`), 1)},
		{"another field", "not written as a ledger is", bytes.Replace(text, []byte(`{"n":1,`), []byte(`{"n":1,"x":1,`), 1)},
		{"a field twice", "not written as a ledger is", bytes.Replace(text, []byte(`{"n":1,`), []byte(`{"n":2,"n":1,`), 1)},
		{"no JSON", "no line of a ledger", []byte("x\n")},
		{"an empty line", "no line of a ledger", slices.Concat([]byte("\n"), text)},
		{"an entry that is none", "line 1", ofBytes(t, "no entry")},
	} {
		cc := c
		if a.why == "an entry that is none" {
			_, cc = treeOf(t, [][]byte{[]byte("no entry")})
		}
		if a.why == "one more" {
			cc = c
		}
		p, tree, _ := ledgerProblems(a.text, cc)
		if tree != nil || len(p.List) == 0 || !strings.Contains(p.List[0], a.want) {
			t.Errorf("%s: %q, expected %q", a.why, p.List, a.want)
		}
	}
	later, _ := ledgerOf(t, noted(t, 60))
	if p, _, _ := ledgerProblems(later, checkpointOf(t, 40)); len(p.List) != 1 || !strings.Contains(p.List[0], "speaks of 40 entries, there are more: the ledger has 60. The checkpoint is an older one") {
		t.Errorf("a checkpoint of an earlier time: %q", p.List)
	}
	c.Size = maxEntries + 1
	if p, _, _ := ledgerProblems(text, c); len(p.List) != 1 || !strings.Contains(p.List[0], "expected") {
		t.Errorf("too many entries: %q", p.List)
	}
	stop := errors.New("stop")
	if _, err := ReadLedger(bytes.NewReader(other), checkpointOf(t, 10), &Problems{}, func(entry.Entry) error { return stop }); err != stop {
		t.Errorf("fn's error became %v", err)
	}
}

func checkpointOf(t testing.TB, n int) entry.Checkpoint {
	_, c := treeOf(t, noted(t, n))
	return c
}

func flip(b byte) string {
	if b == 'A' {
		return "B"
	}
	return "A"
}

func ofBytes(t testing.TB, lines ...string) []byte {
	var all [][]byte
	for _, l := range lines {
		all = append(all, []byte(l))
	}
	text, _ := ledgerOf(t, all)
	return text
}

// A ledger is written of the entries that made the tree, all of them and no others.
func TestWriteLedgerRefuses(t *testing.T) {
	lines := noted(t, 3)
	tree, c := treeOf(t, lines)
	l := NewLedgerWriter(&bytes.Buffer{}, tree, c.Root)
	if err := l.Add(lines[1]); err == nil || !strings.Contains(err.Error(), "entry 1 is not the one") {
		t.Errorf("the second in the first place: %v", err)
	}
	if err := errors.Join(l.Add(lines[0]), l.Add(lines[1])); err != nil {
		t.Fatal(err)
	}
	if err := l.Finish(); err == nil {
		t.Error("two of three were taken for all")
	}
	if err := errors.Join(l.Add(lines[2]), l.Finish()); err != nil {
		t.Fatal(err)
	}
	if err := l.Add(lines[2]); err == nil {
		t.Error("a fourth of three was taken")
	}
	bad := [][]byte{[]byte("\xff")}
	tree, c = treeOf(t, bad)
	if err := NewLedgerWriter(&bytes.Buffer{}, tree, c.Root).Add(bad[0]); err == nil {
		t.Error("bytes that are no text were written as text")
	}
}

// For any bytes: no panic; what holds is, written again, the same bytes.
func FuzzReadLedger(f *testing.F) {
	var checkpoints []entry.Checkpoint
	for _, n := range []int{1, 3} {
		text, c := ledgerOf(f, noted(f, n))
		checkpoints = append(checkpoints, c)
		f.Add(text)
		f.Add(bytes.Replace(text, []byte("chair"), []byte("chain"), 1))
	}
	f.Add(ofBytes(f, "no entry"))
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, c := range checkpoints {
			var lines [][]byte
			var p Problems
			tree, err := ReadLedger(bytes.NewReader(text), c, &p, func(e entry.Entry) error {
				lines = append(lines, bytes.Clone(e.Line))
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			if (tree != nil) != (len(p.List) == 0) {
				t.Errorf("a tree: %t, and %q", tree != nil, p.List)
			}
			if tree == nil {
				continue
			}
			again, cc := ledgerOf(t, lines)
			if cc.Root != c.Root || !bytes.Equal(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")), again) {
				t.Errorf("%q holds and is written %q", text, again)
			}
		}
	})
}

func ExampleChecking_Text() {
	c := Checking{Surgery: "Tern Quay Surgery", From: "2026-11-02", To: "2026-11-08", Fingerprint: "0000 1111", Version: "0.1.0"}
	text := string(c.Text())
	fmt.Println(text[:strings.Index(text, "Made by")])
	// Output:
	// HOW TO CHECK THIS FOLDER
	//
	// Tern Quay Surgery, 2026-11-02 to 2026-11-08, all sterilisers.
}
