package pdffile

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
)

// file assembles a PDF from the texts of its objects, numbered from 1; the first is the
// catalog.
func file(objects ...string) []byte {
	var b bytes.Buffer
	b.WriteString("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
	places := []int{}
	for i, o := range objects {
		places = append(places, b.Len())
		fmt.Fprintf(&b, "%d 0 obj\n%s\nendobj\n", i+1, o)
	}
	table := b.Len()
	fmt.Fprintf(&b, "xref\n0 %d\n0000000000 65535 f \n", len(objects)+1)
	for _, p := range places {
		fmt.Fprintf(&b, "%010d 00000 n \n", p)
	}
	fmt.Fprintf(&b, "trailer\n<< /Size %d /Root 1 0 R /ID [<00> <00>] >>\nstartxref\n%d\n%%%%EOF\n", len(objects)+1, table)
	return b.Bytes()
}

const (
	catalog = "<< /Type /Catalog /Pages 2 0 R >>"
	tree    = "<< /Type /Pages /Kids [3 0 R] /Count 1 >>"
	leaf    = "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 100 100] /Resources << >> /Contents 4 0 R >>"
	content = "<< /Length 3 >>\nstream\nq Q\nendstream"
)

func small() []byte { return file(catalog, tree, leaf, content) }

func TestValues(t *testing.T) {
	for _, row := range []struct {
		text string
		want Value
	}{
		{"null", nil},
		{"true", true},
		{"-17", Integer(-17)},
		{"+.5", Real("+.5")},
		{"12 0 R", Ref(12)},
		{"/a#20b#2Fc", Name("a b/c")},
		{"/", Name("")},
		{`(a\(b\)(c)\n\101\7\
d)`, String("a(b)(c)\nA\ad")},
		{"(a\r\nb\rc)", String("a\nb\nc")},
		{"<4a4B>", String("JK")},
		{"[1 2 0 R(x)/y 3 0]", Array{Integer(1), Ref(2), String("x"), Name("y"), Integer(3), Integer(0)}},
	} {
		f, err := Read(file(catalog, row.text))
		if err != nil {
			t.Errorf("%s: %v", row.text, err)
			continue
		}
		if got := f.Object(2).Value; !reflect.DeepEqual(got, row.want) {
			t.Errorf("%s: got %#v, want %#v", row.text, got, row.want)
		}
	}
}

func TestReadAndExtend(t *testing.T) {
	f, err := Read(small())
	if err != nil {
		t.Fatal(err)
	}
	if n, root, err := f.Root(); n != 1 || err != nil || f.Dict(root.Get("Pages")).Get("Count") != Value(Integer(1)) {
		t.Fatal(n, err)
	}
	if s := string(f.Object(4).Stream); s != "q Q" {
		t.Errorf("%q", s)
	}
	u := f.Update()
	added := u.Reserve()
	u.Put(added, []byte("(new)"))
	u.PutStream(4, "/Note (longer)", []byte("q Q q Q"))
	out, err := u.Finish([16]byte{0xab})
	if err != nil {
		t.Fatal(err)
	}
	g, err := Read(out)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(out, small()) || len(g.Revisions) != 2 || g.Revisions[1].Start != len(small()) || g.Revisions[1].End != len(out) {
		t.Errorf("%+v", g.Revisions)
	}
	if !reflect.DeepEqual(g.Revisions[1].Numbers, []int{4, 5}) || g.Size() != 6 {
		t.Errorf("%v, size %d", g.Revisions[1].Numbers, g.Size())
	}
	if string(g.Object(4).Stream) != "q Q q Q" || string(g.ObjectAt(0, 4).Stream) != "q Q" || g.ObjectAt(0, 5) != nil {
		t.Error("old and new are mixed up")
	}
	qpdf(t, out)
}

func qpdf(t *testing.T, pdf []byte) {
	t.Helper()
	if _, err := exec.LookPath("qpdf"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("qpdf is not installed")
		}
		t.Skip("qpdf is not installed: this check was not made")
	}
	path := filepath.Join(t.TempDir(), "file.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("qpdf", "--check", path).CombinedOutput(); err != nil || bytes.Contains(out, []byte("WARNING")) {
		t.Errorf("%v %s", err, out)
	}
}

// Each row replaces text in a small file and says what is wrong then. ▶ marks where the
// error must point; it is no part of the file.
func TestRefused(t *testing.T) {
	good := string(small())
	for _, row := range []struct{ why, old, new, want string }{
		{"an old version", "%PDF-1.7", "▶%PDF-2.0", "does not begin with"},
		{"something before the header", "%PDF", "▶ %PDF", "does not begin with"},
		{"a comment inside", "/Pages 2 0 R", "▶%x\n/Pages 2 0 R", "a name or >>"},
		{"a key twice", "/Count 1", "/Count 1 /Count▶ 2", "twice"},
		{"an array that does not end", "[3 0 R] /Count 1 ", "[3 0 R /Count 1 ▶", "expected a value"},
		{"a string that does not end", "/Count 1", "/Count ▶(1", "does not end"},
		{"another generation", "/Pages 2 0 R", "/Pages 2 ▶1 R", "a name or >>"},
		{"a length that is too small", "/Length 3", "/Length 2", "does not end where"},
		{"a length of 2 GB", "/Length 3", "/Length 2147483648", "/Length"},
		{"a length of many digits", "/Length 3", "/Length ▶9999999999999999999", "is no number"},
		{"a negative length", "/Length 3", "/Length -3", "/Length"},
		{"a length elsewhere", "/Length 3", "/Length 1 0 R", "/Length"},
		{"encrypted", "/Root", "/Encrypt 4 0 R /Root", "encrypted"},
		{"a table as a stream", "/Root", "/XRefStm 9 /Root", "XRefStm"},
		{"an earlier table that is none", "/Root", "/Prev ▶15 /Root", "no classical"},
		{"a table before itself", "/Root", "/Prev ▶9999 /Root", "an earlier table"},
		{"a wrong size", "/Size 5", "/Size 6", "/Size is not 5"},
		{"a free object", "0000000015 00000 n", "▶0000000015 00000 f", "neither in use"},
		{"a wrong place", "0000000015", "0000000016", "something else stands before"},
		{"more entries than room", "xref\n0 5", "xref\n0 5000\n▶", "announces"},
		{"a trailing byte", "%%EOF\n", "%%EOF\n▶.", "bytes follow the end"},
		{"no end", "%%EOF\n", "%%EO\n▶", "EOF"},
		{"a real number of two points", "/Count 1", "/Count ▶1.2.3", "is no number"},
		{"a name with half an escape", "/Count 1", "/Count /a▶#4", "two hexadecimal digits"},
		{"an odd hexadecimal string", "/Count 1", "/Count ▶<123>", "odd number"},
	} {
		bad := strings.Replace(good, row.old, row.new, 1)
		if bad == good {
			t.Fatalf("%s: nothing changed", row.why)
		}
		at := strings.Index(bad, "▶")
		bad = strings.Replace(bad, "▶", "", 1)
		bad = settle(bad)
		_, err := Read([]byte(bad))
		e, ok := err.(*Error)
		if !ok || !strings.Contains(e.Reason, row.want) {
			t.Errorf("%s: got %v, want an error about %q", row.why, err, row.want)
			continue
		}
		if at >= 0 && row.want != "announces" && row.want != "EOF" && row.want != "no classical" && e.Offset != at {
			t.Errorf("%s: points to byte %d, expected %d: %v", row.why, e.Offset, at, err)
		}
	}
}

// settle puts places right that a replacement has moved, so only the fault is left.
func settle(s string) string {
	table := strings.Index(s, "xref\n0 ")
	head, tail := s[:table], s[table:]
	for i := range 4 {
		was := strings.Index(string(small()), fmt.Sprintf("%d 0 obj", i+1))
		is := strings.Index(head, fmt.Sprintf("%d 0 obj", i+1))
		tail = strings.Replace(tail, fmt.Sprintf("%010d 00000 n", was), fmt.Sprintf("%010d 00000 n", is), 1)
	}
	was := strings.Index(string(small()), "xref\n0 ")
	return head + strings.Replace(tail, fmt.Sprintf("startxref\n%d\n", was), fmt.Sprintf("startxref\n%d\n", table), 1)
}

// Hostile files cost memory in proportion to their size, and no panic.
func TestHostile(t *testing.T) {
	loop := func() []byte { // two tables, each the earlier one of the other
		b := small()
		table := bytes.LastIndex(b, []byte("xref\n0 "))
		return bytes.Replace(b, []byte("/Root"), fmt.Appendf(nil, "/Prev %d /Root", table), 1)
	}
	for _, row := range []struct {
		why string
		pdf []byte
	}{
		{"an unclosed array a million deep", file(catalog, strings.Repeat("[", 1_000_000))},
		{"dictionaries a million deep", file(catalog, strings.Repeat("<</a", 1_000_000))},
		{"an array of ten million numbers", file(catalog, "["+strings.Repeat("1 ", 10_000_000)+"]")},
		{"a million empty dictionaries", file(catalog, "["+strings.Repeat("<<>>", 1_000_000)+"]")},
		{"a dictionary of a million keys", file(catalog, "<<"+strings.Repeat("/a 1", 1_000_000)+">>")},
		{"brackets in a string a million deep", file(catalog, strings.Repeat("(", 1_000_000))},
		{"a table that is its own earlier one", loop()},
		{"an empty file", nil},
		{"only an end", []byte("startxref\n0\n%%EOF\n")},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Read(row.pdf)
		runtime.ReadMemStats(&after)
		if _, ok := err.(*Error); !ok {
			t.Errorf("%s: %v", row.why, err)
		}
		if grown := int(after.TotalAlloc - before.TotalAlloc); grown > 100<<20 {
			t.Errorf("%s: %d MB taken for %d MB", row.why, grown>>20, len(row.pdf)>>20)
		}
	}
}

// Each table says where it stands itself, the earlier ones too.
func TestEarlierTableSaysWhereItStands(t *testing.T) {
	f, err := Read(small())
	if err != nil {
		t.Fatal(err)
	}
	out, err := f.Update().Finish([16]byte{})
	if err != nil {
		t.Fatal(err)
	}
	i := bytes.Index(out, []byte("startxref\n")) + len("startxref\n")
	out[i]++
	if _, err := Read(out); err == nil || !strings.Contains(err.Error(), "the table stands at") {
		t.Error(err)
	}
}

func TestDepth(t *testing.T) {
	nested := func(n int) []byte { return file(catalog, strings.Repeat("[", n)+strings.Repeat("]", n)) }
	if _, err := Read(nested(maxDepth)); err != nil {
		t.Error(err)
	}
	if _, err := Read(nested(maxDepth + 1)); err == nil || !strings.Contains(err.Error(), "32 deep") {
		t.Error(err)
	}
}

func TestTooManyRevisions(t *testing.T) {
	pdf := small()
	for range maxRevisions - 1 {
		f, err := Read(pdf)
		if err != nil {
			t.Fatal(err)
		}
		u := f.Update()
		u.Put(4, []byte("null"))
		if pdf, err = u.Finish([16]byte{}); err != nil {
			t.Fatal(err)
		}
	}
	f, err := Read(pdf)
	if err != nil || len(f.Revisions) != maxRevisions {
		t.Fatal(err)
	}
	u := f.Update()
	u.Put(4, []byte("null"))
	pdf, _ = u.Finish([16]byte{})
	if _, err := Read(pdf); err == nil || !strings.Contains(err.Error(), "more than 16 times") {
		t.Error(err)
	}
}

func TestUpdateRefuses(t *testing.T) {
	f, err := Read(small())
	if err != nil {
		t.Fatal(err)
	}
	u := f.Update()
	u.Put(4, []byte("null"))
	u.Put(4, []byte("true"))
	if _, err := u.Finish([16]byte{}); err == nil {
		t.Error("an object twice in one revision")
	}
	f, err = Read([]byte(settle(strings.Replace(string(small()), " /ID [<00> <00>]", "", 1))))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Update().Finish([16]byte{}); err == nil {
		t.Error("no /ID")
	}
}

// FuzzRead: whatever the bytes, no panic; what is read can be extended and is then read
// again with one revision more, the bytes before it unchanged.
func FuzzRead(f *testing.F) {
	f.Add(small())
	f.Add(file(catalog, tree, leaf, "[(a\\)b) <4a> /n#20 -1 .5 true null 3 0 R << /k [] >>]"))
	f.Add(file(catalog, strings.Repeat("[", 40)))
	f.Fuzz(func(t *testing.T, b []byte) {
		read, err := Read(b)
		if err != nil {
			if _, ok := err.(*Error); !ok {
				t.Errorf("%T", err)
			}
			return
		}
		read.Root()
		if len(read.Revisions) == maxRevisions {
			return
		}
		u := read.Update()
		u.Put(u.Reserve(), []byte("null"))
		out, err := u.Finish([16]byte{})
		if err != nil {
			return // no usable /ID
		}
		again, err := Read(out)
		if _, hasRoot := read.Revisions[0].Trailer.Get("Root").(Ref); err != nil || !bytes.HasPrefix(out, b) || hasRoot && len(again.Revisions) != len(read.Revisions)+1 {
			t.Errorf("extended it is refused: %v", err)
		}
	})
}
