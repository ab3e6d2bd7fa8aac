package archive

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// parts are the files of a bag by name.
type parts map[string]string

// sealed gives a bag the manifests that its files have.
func (p parts) sealed() parts {
	list := func(names []string) string {
		var out strings.Builder
		slices.Sort(names)
		for _, name := range names {
			fmt.Fprintf(&out, "%s  %s\n", entry.Sum([]byte(p[name])), encodePath(name))
		}
		return out.String()
	}
	var in []string
	octets := 0
	for name, text := range p {
		if strings.HasPrefix(name, payload) {
			in, octets = append(in, name), octets+len(text)
		}
	}
	p[infoFile] = fmt.Sprintf("Source-Organization: Tern Quay Surgery\nPayload-Oxum: %d.%d\nHoldproof-From: 2026-11-02\nHoldproof-To: 2026-11-08\nHoldproof-Steriliser: all machines\n", octets, len(in))
	p[manifest] = list(in)
	p[tagManifest] = list([]string{bagFile, infoFile, manifest})
	return p
}

// info adds to bag-info.txt, and makes the tag manifest fit.
func (p parts) info(more string) {
	p[infoFile] += more
	p[tagManifest] = strings.Replace(p[tagManifest], firstSum(p[tagManifest], infoFile), entry.Sum([]byte(p[infoFile])), 1)
}

func plainBag() parts {
	return parts{bagFile: "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", HowTo: "Look.\n", Cycles: "id,outcome\r\n",
		Exports + "a.csv": "0,20.1\n"}.sealed()
}

func (p parts) folder(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range p {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func (p parts) zip(t testing.TB) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range slices.Sorted(maps.Keys(p)) {
		w, err := z.Create("bag/" + name)
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(w, p[name])
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// checked returns what is wrong with a bag.
func checked(b *Bag, err error) []string {
	if err != nil {
		return []string{err.Error()}
	}
	defer b.Close()
	var p Problems
	b.Check(&p, nil)
	return p.List
}

func checkedZip(data []byte) []string {
	return checked(OpenZip(bytes.NewReader(data), int64(len(data))))
}

// Bags by RFC 8493, each kind that is none, and what a bag of records may not have
// beside it. The clauses are those of the RFC. Certainty: read.
var bags = []struct {
	why    string
	change func(parts)
	want   []string // in the sentences, in their order; none: a good bag
}{
	{"as it should be", func(p parts) {}, nil},
	{"2.1.1: line ends of another system", func(p parts) {
		p[bagFile] = strings.ReplaceAll(p[bagFile], "\n", "\r\n")
		p.sealed()
	}, nil},
	{"2.1.3: sums in capitals, other blanks, a star", func(p parts) {
		var out string
		for l := range strings.Lines(p[manifest]) {
			sum, name, _ := strings.Cut(l, "  ")
			out += strings.ToUpper(sum) + " \t *" + name
		}
		p[manifest] = out
		p[tagManifest] = strings.Replace(p[tagManifest], firstSum(p[tagManifest], manifest), entry.Sum([]byte(out)), 1)
	}, nil},
	{"2.1.3: a percent sign in a name", func(p parts) { p[payload+"50%0A.txt"] = "x"; p.sealed() }, nil},
	{"2.2.2: other labels, one of them twice, one in two lines", func(p parts) {
		p.info("Contact-Name: nobody\nContact-Name: nobody else\nExternal-Description: a long\n  one: of two lines\n\tor three\n")
	}, nil},
	{"2.2.2: labels in another case", func(p parts) { p.info("source-organization: Gull Pier\n") }, nil},
	{"2.2.2: a line that goes on from nothing", func(p parts) { p[infoFile] = " x\n" + p[infoFile]; p.info("") }, []string{"has no label"}},
	{"2.2.2: a line without a label", func(p parts) { p.info("nothing\n") }, []string{"has no label"}},
	{"2.2.2: a label twice, in another case", func(p parts) { p.info("payload-oxum: 1.1\n") }, []string{"Payload-Oxum stands there twice"}},
	{"2.1.1: no declaration", func(p parts) { delete(p, bagFile) }, []string{"so this is no bag", "bagit.txt is missing"}},
	{"2.1.1: another version", func(p parts) { p[bagFile] = strings.Replace(p[bagFile], "1.0", "0.97", 1); p.sealed() }, []string{"other than BagIt-Version: 1.0"}},
	{"2.1.1: another encoding", func(p parts) { p[bagFile] = strings.Replace(p[bagFile], "UTF-8", "UTF-16", 1); p.sealed() }, []string{"other than BagIt-Version: 1.0"}},
	{"2.1.1: a third line", func(p parts) { p[bagFile] += "More: x\n"; p.sealed() }, []string{"other than BagIt-Version: 1.0"}},
	{"2.1.3: no manifest", func(p parts) { delete(p, manifest) }, []string{"manifest-sha256.txt cannot be read: it is not there", "no manifest lists it", "no manifest lists it", "no manifest lists it", "manifest-sha256.txt is missing"}},
	{"3: a file that is not listed", func(p parts) { p[payload+"more.txt"] = "x" }, []string{"data/more.txt is in the bag, and no manifest lists it", "in 3 files, there are 26 in 4"}},
	{"3: a listed file that is missing", func(p parts) { delete(p, HowTo) }, []string{"data/HOW-TO-CHECK.txt is missing", "in 3 files, there are 19 in 2"}},
	{"3: a changed file", func(p parts) { p[HowTo] = "Looks.\n" }, []string{"data/HOW-TO-CHECK.txt was changed", "there are 26 in 3"}},
	{"3: a changed file of the same length", func(p parts) { p[HowTo] = "Loot.\n" }, []string{"data/HOW-TO-CHECK.txt was changed"}},
	{"3: a renamed file", func(p parts) { p[payload+"how.txt"] = p[HowTo]; delete(p, HowTo) }, []string{"data/how.txt is in the bag, and no manifest", "data/HOW-TO-CHECK.txt is missing"}},
	{"3: two files exchanged", func(p parts) { p[HowTo], p[Cycles] = p[Cycles], p[HowTo] }, []string{"data/HOW-TO-CHECK.txt was changed", "data/cycles.csv was changed"}},
	{"2.1.3: a bad sum", func(p parts) {
		p[manifest] = strings.Replace(p[manifest], p[manifest][:64], strings.Repeat("0", 64), 1)
	}, []string{"was changed", "manifest-sha256.txt was changed"}},
	{"2.1.3: a sum that is none", func(p parts) { p[manifest] = "x" + p[manifest][1:] }, []string{"line 1: \"x", "no manifest lists it", "manifest-sha256.txt was changed"}},
	{"2.1.3: a line without a name", func(p parts) { p[manifest] += entry.Sum(nil) + "\n" }, []string{"line 4: expected a SHA-256, blanks, a name", "manifest-sha256.txt was changed"}},
	{"2.1.3: a file listed twice", func(p parts) { p[manifest] += p[manifest][:strings.Index(p[manifest], "\n")+1] }, []string{"line 4: the file is listed twice", "manifest-sha256.txt was changed"}},
	{"2.1.3: a name that leads out", func(p parts) { p[manifest] += entry.Sum(nil) + "  data/../../etc/passwd\n" }, []string{"leads out of the bag", "manifest-sha256.txt was changed"}},
	{"2.1.3: a name at the root", func(p parts) { p[manifest] += entry.Sum(nil) + "  /etc/passwd\n" }, []string{"begins at the root", "manifest-sha256.txt was changed"}},
	{"2.1.3: a tag file in the manifest", func(p parts) { p[manifest] += entry.Sum(nil) + "  bagit.txt\n" }, []string{"stands in the one manifest", "manifest-sha256.txt was changed"}},
	{"2.1.3: a line without an end of 10 MB", func(p parts) { p[manifest] = strings.Repeat("0", 10<<20) }, []string{"manifest-sha256.txt cannot be read to its end", "no manifest lists it", "no manifest lists it", "no manifest lists it", "was changed"}},
	{"2.2.1: no tag manifest", func(p parts) { delete(p, tagManifest) }, []string{"tagmanifest-sha256.txt cannot be read", "bag-info.txt is in the bag", "bagit.txt is in the bag", "manifest-sha256.txt is in the bag"}},
	{"2.2.1: a tag manifest without the manifest", func(p parts) { p[tagManifest] = strings.Join(strings.SplitAfter(p[tagManifest], "\n")[:2], "") }, []string{"does not list manifest-sha256.txt", "manifest-sha256.txt is in the bag"}},
	{"2.2.2: a changed bag-info", func(p parts) { p[infoFile] = strings.Replace(p[infoFile], "11-08", "11-05", 1) }, []string{"bag-info.txt was changed"}},
	{"2.2.2: no bag-info", func(p parts) { delete(p, infoFile) }, []string{"bag-info.txt: it is not there", "bag-info.txt is missing"}},
	{"2.2.2: no period", func(p parts) { p[infoFile] = "Payload-Oxum: 1.1\n" }, []string{"the label Holdproof-From is missing", "bag-info.txt was changed"}},
	{"2.2.2: a period that ends before it begins", func(p parts) { p[infoFile] = strings.Replace(p[infoFile], "11-08", "11-01", 1) }, []string{"before it begins", "bag-info.txt was changed"}},
	{"2.2.2: a label twice", func(p parts) { p[infoFile] += "Holdproof-To: 2026-11-09\n" }, []string{"stands there twice", "bag-info.txt was changed"}},
	{"2.2.3: files that lie elsewhere", func(p parts) { p["fetch.txt"] = "http://quay.invalid/x - data/x\n" }, []string{"fetch.txt names files that lie elsewhere", "fetch.txt is in the bag"}},
	{"2.2.4: a tag file that no manifest lists", func(p parts) { p["notes.txt"] = "x" }, []string{"notes.txt is in the bag"}},
	{"2.1.3: a manifest of another algorithm", func(p parts) { p["manifest-md5.txt"] = "x" }, []string{"manifest-md5.txt is in the bag"}},
}

func firstSum(manifest, name string) string {
	for l := range strings.Lines(manifest) {
		if sum, n, _ := strings.Cut(strings.TrimSuffix(l, "\n"), "  "); n == name {
			return sum
		}
	}
	return "none"
}

func TestBags(t *testing.T) {
	for _, c := range bags {
		p := plainBag()
		c.change(p)
		for form, got := range map[string][]string{"folder": checked(Open(p.folder(t))), "zip": checkedZip(p.zip(t))} {
			fits := len(got) == len(c.want)
			for i := 0; fits && i < len(got); i++ {
				fits = strings.Contains(got[i], c.want[i])
			}
			if !fits {
				t.Errorf("%s (%s):\n%s\nexpected\n%s", c.why, form, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
		}
	}
}

// The manifests of a bag that was packed here are those that a bag made by hand has.
func TestPackedBagHolds(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"bag", "bag.zip"} {
		packInto(t, filepath.Join(dir, name))
		b, err := Open(filepath.Join(dir, name))
		if got := checked(b, err); got != nil {
			t.Errorf("%s: %q", name, got)
		}
		if want := info; b.Info.From != want.From || b.Info.To != want.To || b.Info.Surgery != want.Surgery || b.Info.Steriliser != "" || b.Info.Software != want.Software {
			t.Errorf("%s says %+v", name, b.Info)
		}
	}
}

// Names of RFC 8493, 2.1.3, there and back. Certainty: read.
func TestPath(t *testing.T) {
	for name, want := range map[string]string{"data/a b.csv": "data/a b.csv", "data/50%": "data/50%25", "data/a\r\nb": "data/a%0D%0Ab", "data/%0A": "data/%250A", "data/é": "data/é"} {
		if got := encodePath(name); got != want || decodePath(want) != name {
			t.Errorf("%q is written %q and read %q, expected %q", name, got, decodePath(want), want)
		}
	}
	if got := decodePath("a%0d%0ab%41"); got != "a\r\nb%41" {
		t.Errorf("read %q", got)
	}
}

// attack is a ZIP that was made to harm; each is refused with a sentence.
type attack struct {
	why, want string
	make      func(t *testing.T) []byte
}

func withFile(h zip.FileHeader, data string) func(*testing.T) []byte {
	return func(t *testing.T) []byte {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		p := plainBag()
		for _, name := range slices.Sorted(maps.Keys(p)) {
			w, err := z.Create("bag/" + name)
			if err != nil {
				t.Fatal(err)
			}
			io.WriteString(w, p[name])
		}
		h.Method = zip.Store
		w, err := z.CreateHeader(&h)
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(w, data)
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
}

func named(name string) func(*testing.T) []byte { return withFile(zip.FileHeader{Name: name}, "x") }

func raw(h zip.FileHeader, data []byte) func(*testing.T) []byte {
	return func(t *testing.T) []byte {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		w, err := z.CreateRaw(&h)
		if err != nil {
			t.Fatal(err)
		}
		w.Write(data)
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
}

func link() zip.FileHeader {
	h := zip.FileHeader{Name: "bag/data/link"}
	h.SetMode(os.ModeSymlink | 0o777)
	return h
}

var attacks = []attack{
	{"a name that leads out", "leads out of the bag", named("bag/../../out.txt")},
	{"a name that leads out at once", "leads out of the bag", named("../out.txt")},
	{"a name that stays where it is", "leads out of the bag, or to nowhere", named("bag/data/./x")},
	{"a name at the root", "begins at the root", named("/etc/out.txt")},
	{"a drive", "another drive", named("C:/out.txt")},
	{"a stream of a file", "another drive", named("bag/data/a.csv:x")},
	{"backslashes", "a name with a backslash is another file on another system", withFile(zip.FileHeader{Name: `bag\..\out.txt`, NonUTF8: true}, "x")},
	{"a control character", "control character", named("bag/data/a\x1bb")},
	{"a zero byte", "control character", named("bag/data/a\x00b")},
	{"not UTF-8", "not", named("bag/data/a\xff")},
	{"said not to be UTF-8", "not marked as UTF-8", withFile(zip.FileHeader{Name: "bag/data/é", NonUTF8: true}, "x")},
	{"one name twice", "one name on other computers", named("bag/data/cycles.csv")},
	{"one name twice but for case", "one name on other computers", named("bag/DATA/Cycles.csv")},
	{"a very long name", "more than 1024 bytes", named("bag/" + strings.Repeat("x", 2000))},
	{"beside the folder", "is one folder", named("other/data/x")},
	{"beside the folder, without one", "is one folder", named("out.txt")},
	{"a link", "is a link or no file", withFile(link(), "/etc/passwd")},
	{"a method nobody has", "method 12", raw(zip.FileHeader{Name: "bag/x", Method: 12, CompressedSize64: 1, UncompressedSize64: 1}, []byte("x"))},
	{"a password", "locked by a password", raw(zip.FileHeader{Name: "bag/x", Flags: 1, CompressedSize64: 1, UncompressedSize64: 1}, []byte("x"))},
	{"a bomb that says so", "a bomb", raw(zip.FileHeader{Name: "bag/x", Method: zip.Deflate, CompressedSize64: 1, UncompressedSize64: 3 << 30}, []byte("x"))},
	{"a size that cannot be", "says that it has", raw(zip.FileHeader{Name: "bag/x", Method: zip.Deflate, CompressedSize64: 1, UncompressedSize64: 1 << 50}, []byte("x"))},
	{"files over one another", "lie over one another", overlapping},
	{"nothing", "no ZIP", func(*testing.T) []byte { return nil }},
	{"no ZIP", "no ZIP", func(*testing.T) []byte { return []byte("PK\x03\x04 and so on") }},
	{"no file", "holds no file", func(t *testing.T) []byte { return parts{}.zip(t) }},
	{"cut", "no ZIP, or was cut", func(t *testing.T) []byte { z := plainBag().zip(t); return z[:len(z)-30] }},
	{"cut in the middle", "no ZIP, or was cut", func(t *testing.T) []byte { z := plainBag().zip(t); return z[:len(z)/2] }},
	{"its beginning cut", "", func(t *testing.T) []byte { z := plainBag().zip(t); return z[40:] }},
	{"a ZIP in a ZIP", "bagit.txt cannot be read", func(t *testing.T) []byte { return parts{"inner.zip": string(plainBag().zip(t))}.zip(t) }},
	{"a bomb that does not say so", "cannot be read", quietBomb},
	{"less than it says", "cannot be read", func(t *testing.T) []byte {
		return raw(zip.FileHeader{Name: "bag/data/x", Method: zip.Store, CompressedSize64: 1, UncompressedSize64: 2}, []byte("x"))(t)
	}},
}

// overlapping has two entries for the same bytes, as bombs of the better kind do.
func overlapping(t *testing.T) []byte {
	z := raw(zip.FileHeader{Name: "bag/aaaa", CompressedSize64: 6, UncompressedSize64: 6}, []byte("abcdef"))(t)
	at := bytes.Index(z, []byte("PK\x01\x02"))
	end := bytes.Index(z, []byte("PK\x05\x06"))
	central := bytes.Clone(z[at:end])
	other := bytes.Replace(central, []byte("bag/aaaa"), []byte("bag/bbbb"), 1)
	tail := bytes.Clone(z[end:])
	tail[8], tail[10] = 2, 2
	tail[12] = byte(2 * len(central))
	return slices.Concat(z[:end], other, tail)
}

// quietBomb declares fewer bytes than it unpacks to.
func quietBomb(t *testing.T) []byte {
	stream, known := deflated(t, make([]byte, 1<<20))
	return raw(zip.FileHeader{Name: "bag/data/x", Method: zip.Deflate, CRC32: known.CRC32, CompressedSize64: uint64(known.Packed), UncompressedSize64: 10}, stream)(t)
}

func TestAttacks(t *testing.T) {
	for _, a := range attacks {
		before := time.Now()
		got := strings.Join(checkedZip(a.make(t)), "\n")
		if got == "" || !strings.Contains(got, a.want) {
			t.Errorf("%s: found %q, expected %q", a.why, got, a.want)
		}
		if strings.Contains(got, "\x1b") || strings.Contains(got, "\xff") {
			t.Errorf("%s: %q is printed raw", a.why, got)
		}
		if took := time.Since(before); took > 5*time.Second {
			t.Errorf("%s took %s", a.why, took)
		}
	}
}

// A folder may hold neither links nor what is no file, and nothing outside is read.
func TestFolderWithLinks(t *testing.T) {
	secret := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(secret, []byte("Look.\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	dir := plainBag().folder(t)
	how := filepath.Join(dir, "data", "HOW-TO-CHECK.txt")
	if err := os.Remove(how); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(secret, how); err != nil {
		t.Skip(err)
	}
	got := strings.Join(checked(Open(dir)), "\n")
	if !strings.Contains(got, "is a link or no file") || !strings.Contains(got, "data/HOW-TO-CHECK.txt is missing") {
		t.Error(got)
	}
	if err := os.Symlink(t.TempDir(), filepath.Join(dir, "data", "more")); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(checked(Open(dir)), "\n"); !strings.Contains(got, `"data/more" is a link`) {
		t.Error(got)
	}
}

// A ZIP whose list of files alone is too long is not read to its end.
func TestLongDirectory(t *testing.T) {
	z := plainBag().zip(t)
	at := &readAtMost{r: bytes.NewReader(z), left: 100}
	if _, err := zip.NewReader(at, int64(len(z))); err != errDirectory {
		t.Errorf("read with 100 bytes: %v", err)
	}
}
