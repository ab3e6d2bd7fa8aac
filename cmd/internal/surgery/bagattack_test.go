package surgery

import (
	"archive/zip"
	"bytes"
	"fmt"
	"html"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// unpacked is a bag as a folder whose files an attacker changes, and the manifests with
// them: no manifest shows it.
type unpacked struct {
	t   testing.TB
	dir string
}

func (u unpacked) path(name string) string { return filepath.Join(u.dir, filepath.FromSlash(name)) }

func (u unpacked) read(name string) string { return string(read(u.t, u.path(name))) }

func (u unpacked) write(name, text string) {
	u.t.Helper()
	if err := os.WriteFile(u.path(name), []byte(text), 0o666); err != nil {
		u.t.Fatal(err)
	}
}

func (u unpacked) remove(name string) {
	u.t.Helper()
	if err := os.Remove(u.path(name)); err != nil {
		u.t.Fatal(err)
	}
}

func (u unpacked) replace(name, old, by string) {
	u.t.Helper()
	text := u.read(name)
	if !strings.Contains(text, old) {
		u.t.Fatalf("%s holds no %q", name, old)
	}
	u.write(name, strings.Replace(text, old, by, 1))
}

func (u unpacked) swap(a, b string) {
	u.t.Helper()
	x, y := u.read(a), u.read(b)
	u.write(a, y)
	u.write(b, x)
}

// one is a file of a folder of the bag, by its place in the list.
func (u unpacked) one(folder string, n int) string {
	u.t.Helper()
	list, err := os.ReadDir(u.path(folder))
	if err != nil || len(list) <= n {
		u.t.Fatalf("%s: %d files, %v", folder, len(list), err)
	}
	return folder + "/" + list[n].Name()
}

// reseal makes the manifests fit again, as anybody can.
func (u unpacked) reseal() {
	u.t.Helper()
	var list []string
	octets := int64(0)
	err := filepath.WalkDir(u.path("data"), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(u.dir, path)
		data := read(u.t, path)
		octets += int64(len(data))
		list = append(list, fmt.Sprintf("%s  %s\n", entry.Sum(data), filepath.ToSlash(name)))
		return err
	})
	if err != nil {
		u.t.Fatal(err)
	}
	var info []string
	for l := range strings.Lines(u.read("bag-info.txt")) {
		if strings.HasPrefix(l, "Payload-Oxum:") {
			l = fmt.Sprintf("Payload-Oxum: %d.%d\n", octets, len(list))
		}
		info = append(info, l)
	}
	u.write("bag-info.txt", strings.Join(info, ""))
	u.write("manifest-sha256.txt", strings.Join(list, ""))
	var tags string
	for _, name := range []string{"bag-info.txt", "bagit.txt", "manifest-sha256.txt"} {
		tags += fmt.Sprintf("%s  %s\n", entry.Sum([]byte(u.read(name))), name)
	}
	u.write("tagmanifest-sha256.txt", tags)
}

// bagAttacks change a bag that nobody signed as a whole; what proves it are its entries
// and its signed records.
var bagAttacks = []struct {
	why    string
	change func(unpacked)
	want   []string // in the sentences, each in one of them
}{
	{"nothing changed", func(u unpacked) {}, nil},
	{"a changed record", func(u unpacked) { u.replace("data/records/2026-11-02.pdf", "/Type", "/Typo") }, []string{"The record 2026-11-02.pdf (2 Nov 2026): it is not the file that was signed"}},
	{"a removed record", func(u unpacked) { u.remove("data/records/2026-11-02.pdf") }, []string{"data/records/2026-11-02.pdf is missing; it is named by an entry"}},
	{"an added record", func(u unpacked) { u.write("data/records/2026-11-04.pdf", u.read("data/records/2026-11-02.pdf")) }, []string{"no entry of these days names a record of that name"}},
	{"a renamed record", func(u unpacked) {
		u.write("data/records/2026-11-04.pdf", u.read("data/records/2026-11-02.pdf"))
		u.remove("data/records/2026-11-02.pdf")
	}, []string{"2026-11-02.pdf is missing", "no entry of these days names a record"}},
	{"two records exchanged", func(u unpacked) { u.swap("data/records/2026-11-01.pdf", "data/records/2026-11-02.pdf") },
		[]string{"2026-11-01.pdf (1 Nov 2026): it is not the file", "2026-11-02.pdf (2 Nov 2026): it is not the file"}},
	{"a record without its second signature", func(u unpacked) {
		size := firstSize(u) // of the record with one signature, as its entry says
		u.write("data/records/2026-11-02.pdf", u.read("data/records/2026-11-02.pdf")[:size])
	}, []string{"it holds the first signature only"}},
	{"a changed export", func(u unpacked) { u.replace(u.one("data/exports", 0), "1", "2") }, []string{"is not the one that was imported"}},
	{"a removed export", func(u unpacked) { u.remove(u.one("data/exports", 0)) }, []string{"is missing; it is what cycle"}},
	{"an added export", func(u unpacked) { u.write("data/exports/"+entry.Sum(nil)+".csv", "") }, []string{"no entry names an export of that SHA-256"}},
	{"two exports exchanged", func(u unpacked) { u.swap(u.one("data/exports", 0), u.one("data/exports", 1)) }, []string{"is not the one that was imported"}},
	{"a renamed export", func(u unpacked) {
		name := u.one("data/exports", 0)
		u.write("data/exports/more.csv", u.read(name))
		u.remove(name)
	}, []string{"more.csv: no entry names", "is missing; it is what cycle"}},
	{"a changed entry", func(u unpacked) { u.replace("data/ledger.jsonl", "1048 was stopped", "1048 was emptied") }, []string{"is not proved"}},
	{"a line cut out of the ledger", func(u unpacked) {
		lines := strings.SplitAfter(u.read("data/ledger.jsonl"), "\n")
		u.write("data/ledger.jsonl", strings.Join(slices.Delete(lines, 20, 21), ""))
	}, []string{"line 21: it is entry 22, and entry 21 belongs here"}},
	{"the end of the ledger cut", func(u unpacked) {
		lines := strings.SplitAfter(u.read("data/ledger.jsonl"), "\n")
		u.write("data/ledger.jsonl", strings.Join(lines[:len(lines)-2], ""))
	}, []string{"its end was cut"}},
	{"no ledger", func(u unpacked) { u.remove("data/ledger.jsonl") }, []string{"data/ledger.jsonl cannot be read"}},
	{"no checkpoint", func(u unpacked) { u.remove("data/checkpoint.txt") }, []string{"data/checkpoint.txt cannot be read"}},
	{"a checkpoint that is none", func(u unpacked) { u.write("data/checkpoint.txt", "root\n") }, []string{"not a checkpoint"}},
	{"another time in the checkpoint", func(u unpacked) {
		u.replace("data/checkpoint.txt", "time: 2026", "time: 2025")
	}, []string{"and its last entry"}},
	{"a checkpoint of nothing", func(u unpacked) {
		u.write("data/checkpoint.txt", string(entry.Checkpoint{}.Text()))
		u.write("data/ledger.jsonl", "")
	}, []string{"do not make the root"}},
	{"another authority", func(u unpacked) {
		u.write("data/keys/ca.pem", u.read("data/keys/other.pem"))
		u.remove("data/keys/other.pem")
	},
		[]string{"is in the ledger and not in data/keys/ca.pem", "is none that the ledger holds"}},
	{"a person as authority", func(u unpacked) { u.write("data/keys/ca.pem", u.read("data/keys/certificates.pem")) }, []string{"which is no authority"}},
	{"a certificate less", func(u unpacked) {
		text := u.read("data/keys/certificates.pem")
		u.write("data/keys/certificates.pem", text[:strings.LastIndex(text, "-----BEGIN")])
	}, []string{"is in the ledger and not in data/keys/certificates.pem"}},
	{"a shorter period", func(u unpacked) {
		u.replace("bag-info.txt", "Holdproof-From: 2026-11-01", "Holdproof-From: 2026-11-02")
	}, []string{"2026-11-01.pdf: no entry of these days"}},
	{"a longer period", func(u unpacked) { u.replace("bag-info.txt", "Holdproof-To: 2026-11-02", "Holdproof-To: 2026-11-03") }, []string{"2026-11-03.pdf is missing"}},
	{"one machine for all", func(u unpacked) { u.replace("bag-info.txt", "all machines", "S1") }, []string{"has a row of \"S2-20261102-074119\"", "by the ledger it holds no cycle of this bag"}},
	{"a machine nobody knows", func(u unpacked) { u.replace("bag-info.txt", "all machines", "S9") }, []string{`the steriliser "S9", and no entry knows one`}},
	{"a word in the table", func(u unpacked) { u.replace("data/cycles.csv", ",failed,", ",conforms,") }, []string{`outcome is "conforms", and in the ledger "failed"`}},
	{"a row less in the table", func(u unpacked) {
		lines := strings.SplitAfter(u.read("data/cycles.csv"), "\r\n")
		u.write("data/cycles.csv", strings.Join(slices.Delete(lines, 1, 2), ""))
	}, []string{"has no row of cycle"}},
	{"a row twice in the table", func(u unpacked) {
		lines := strings.SplitAfter(u.read("data/cycles.csv"), "\r\n")
		u.write("data/cycles.csv", strings.Join(slices.Insert(lines, 1, lines[1]), ""))
	}, []string{"or it stands there twice"}},
	{"no headings in the table", func(u unpacked) { u.replace("data/cycles.csv", "outcome", "end") }, []string{"lacks the column id or outcome"}},
	{"a table that is none", func(u unpacked) { u.write("data/cycles.csv", "") }, []string{"cycles.csv cannot be read"}},
	{"the first page of another time", func(u unpacked) {
		root := regexp.MustCompile(`root: (.*)`).FindStringSubmatch(u.read("data/checkpoint.txt"))[1]
		u.write("data/index.html", strings.ReplaceAll(html.UnescapeString(u.read("data/index.html")), root, strings.Repeat("A", 43)+"="))
	}, []string{"index.html was made from another ledger: it does not name"}},
	{"a page of a day that has no entry", func(u unpacked) { u.write("data/days/2030-01-01.html", "x") }, []string{"data/days/2030-01-01.html does not belong to a bag"}},
	{"a day with no cycle without its page", func(u unpacked) { u.remove("data/days/2026-11-01.html") }, []string{"data/days/2026-11-01.html is missing; it shows a day that has an entry"}},
	{"a program among the records", func(u unpacked) { u.write("data/check.exe", "MZ") }, []string{"data/check.exe does not belong to a bag"}},
	{"a day without its page", func(u unpacked) { u.remove("data/days/2026-11-02.html") }, []string{"data/days/2026-11-02.html is missing; it shows cycle"}},
	{"no table", func(u unpacked) { u.remove("data/cycles.csv") }, []string{"data/cycles.csv is missing; it belongs to every bag"}},
}

// firstSize finds in the ledger how long the record of the Monday was when it had one
// signature.
func firstSize(u unpacked) int {
	u.t.Helper()
	_, rest, ok := strings.Cut(u.read("data/ledger.jsonl"), `\"file\":\"2026-11-02.pdf\"`)
	var size int
	if _, rest, _ = strings.Cut(rest, `\"size\":`); ok {
		if _, err := fmt.Sscanf(rest, "%d", &size); err == nil {
			return size
		}
	}
	u.t.Fatal("no entry of the record")
	return 0
}

func TestBagAttacks(t *testing.T) {
	s := baggedSite(t)
	s.prepared(t, "2026-11-01")
	s.clock.Time = s.clock.Add(24 * time.Hour)
	s.prepared(t, "2026-11-03")
	made := s.bag(t, "bag", func(b *Bagging) { b.From, b.To, b.By = "2026-11-01", "2026-11-02", Proof{} })
	other := read(t, signedSite(t).roots())
	for _, a := range bagAttacks {
		u := unpacked{t, filepath.Join(t.TempDir(), "bag")}
		if err := os.CopyFS(u.dir, os.DirFS(made)); err != nil {
			t.Fatal(err)
		}
		if a.why == "another authority" {
			u.write("data/keys/other.pem", string(other))
		}
		a.change(u)
		u.reseal()
		v := s.verified(t, u.dir)
		all := strings.Join(v.Problems, "\n")
		if v.OK != (a.want == nil) || v.Trusted {
			t.Errorf("%s: %t %t, %s", a.why, v.OK, v.Trusted, all)
		}
		for _, want := range a.want {
			if !strings.Contains(all, want) {
				t.Errorf("%s:\n%s\nexpected %q", a.why, all, want)
			}
		}
		if strings.Contains(all, "was changed: its SHA-256") || strings.Contains(all, "Payload-Oxum") {
			t.Errorf("%s: the manifests of this test do not fit: %s", a.why, all)
		}
	}
}

// A bag that a person signed shows every change of any byte of it.
func TestSignedBagAttacks(t *testing.T) {
	s := baggedSite(t)
	made := s.bag(t, "bag")
	other := baggedSite(t)
	theirs := unpacked{t, other.bag(t, "bag")}
	const broken = "The signature over the whole bag does not hold"
	for _, a := range []struct {
		why    string
		change func(unpacked)
		want   string
	}{
		{"nothing changed", func(u unpacked) {}, ""},
		{"a word in the table", func(u unpacked) { u.replace("data/cycles.csv", "failed", "conforms") }, broken},
		{"a word on the first page", func(u unpacked) { u.replace("data/index.html", "Tern", "Gull") }, broken},
		{"how to check", func(u unpacked) { u.write("data/HOW-TO-CHECK.txt", "All is well.\n") }, broken},
		{"the period", func(u unpacked) { u.replace("bag-info.txt", "2026-11-08", "2026-11-07") }, broken},
		{"the signature over the bag taken out", func(u unpacked) { u.remove("bag.cms") }, "one was taken out"},
		{"the signature over the checkpoint taken out", func(u unpacked) { u.remove("data/checkpoint.cms") }, "one was taken out"},
		{"the signature of another surgery", func(u unpacked) {
			u.write("bag.cms", theirs.read("bag.cms"))
			u.write("data/checkpoint.cms", theirs.read("data/checkpoint.cms"))
		}, "does not hold"},
		{"a signature that is none", func(u unpacked) { u.write("bag.cms", "x") }, broken},
	} {
		u := unpacked{t, filepath.Join(t.TempDir(), "bag")}
		if err := os.CopyFS(u.dir, os.DirFS(made)); err != nil {
			t.Fatal(err)
		}
		a.change(u)
		u.reseal()
		v := s.verified(t, u.dir)
		if all := strings.Join(v.Problems, "\n"); v.Trusted != (a.want == "") || !strings.Contains(all, a.want) {
			t.Errorf("%s: %t, %s\nexpected %q", a.why, v.Trusted, all, a.want)
		}
	}
	u := unpacked{t, made}
	u.remove("bag.cms")
	u.remove("data/checkpoint.cms")
	u.reseal()
	if v := s.verified(t, made); !v.OK || v.Trusted || len(v.Remarks) != 2 {
		t.Errorf("both signatures taken out: %+v", v)
	}
}

// A signature by a certificate that was ended, and one by somebody the log does not know,
// who only the holder of the authority can make.
func TestBagSignedByStranger(t *testing.T) {
	s := baggedSite(t)
	made := s.bag(t, "bag", func(b *Bagging) { b.By = Proof{} })
	authority, err := seal.Open(read(t, keyFile(s.dir, authorityID)), "the authority of the quay")
	if err != nil {
		t.Fatal(err)
	}
	stranger, err := authority.Issue("Mara Quill", s.clock.Time)
	if err != nil {
		t.Fatal(err)
	}
	u := unpacked{t, made}
	sign := func(name, of string) {
		cms, err := stranger.SignDetached([]byte(u.read(of)))
		if err != nil {
			t.Fatal(err)
		}
		u.write(name, string(cms))
	}
	sign("data/checkpoint.cms", "data/checkpoint.txt")
	u.reseal()
	sign("bag.cms", "tagmanifest-sha256.txt")
	v := s.verified(t, made)
	if all := strings.Join(v.Problems, "\n"); v.OK || strings.Count(all, "does not hold as issued") != 2 {
		t.Error(all)
	}
}

// verify writes nothing, wherever names of a ZIP lead.
func TestVerifyWritesNothing(t *testing.T) {
	s := baggedSite(t)
	bag := read(t, s.bag(t, "bag.zip"))
	dir := t.TempDir()
	t.Chdir(dir)
	t.Setenv("TMPDIR", dir)
	if err := os.WriteFile("bag.zip", bag, 0o666); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range []string{"bag/bagit.txt", "bag/../../out.txt", "/tmp/out.txt"} {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		w.Write([]byte("x"))
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("bad.zip", out.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	if v := s.verified(t, "bag.zip"); !v.OK {
		t.Error(v.Problems)
	}
	if v := s.verified(t, "bad.zip"); v.OK || len(v.Problems) != 1 || !strings.Contains(v.Problems[0], "Nothing of it was read") {
		t.Error(v.Problems)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 2 {
		t.Errorf("left: %v, %v", left, err)
	}
}

// For any bytes in the place of a ZIP: no panic, and only a whole bag is OK.
func FuzzVerifyBag(f *testing.F) {
	s := baggedSite(f)
	good := read(f, s.bag(f, "bag.zip", func(b *Bagging) { b.From, b.To = "2026-11-02", "2026-11-02"; b.Steriliser = "S2" }))
	f.Add(good)
	f.Add(read(f, s.bag(f, "bag.zip", func(b *Bagging) { b.From, b.To, b.By = "2026-10-01", "2026-10-31", Proof{} })))
	f.Add(good[:len(good)/2])
	f.Fuzz(func(t *testing.T, data []byte) {
		v := verifyZip(bytes.NewReader(data), int64(len(data)))
		if v.Trusted {
			t.Error("trusted without an authority")
		}
		if v.OK && (v.Entries == 0 || v.Files == 0) {
			t.Errorf("%+v", v)
		}
	})
}
