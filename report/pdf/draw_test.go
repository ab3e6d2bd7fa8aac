package pdf

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"

	"holdproof/fixtures"
	"holdproof/report/daily"
	"holdproof/report/figure"
	"holdproof/validate"
)

func drawn(t testing.TB, d *day) []byte {
	t.Helper()
	b, err := Draw(d.Day, d.Parts)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// big is a day of 40 cycles on 12 sterilisers with long names, rare letters and a
// recall.
func big(t testing.TB) *day {
	d := newDay(t)
	d.Surgery.Name = "Zahnärztliche Gemeinschaftspraxis Nguyễn, Łukasiewicz-Wójcik und Þórðardóttir am Ștefan-cel-Mare-Platz 𝔖 日本"
	d.Machines = nil
	for i := range 12 {
		d.Machines = append(d.Machines, daily.Machine{ID: fmt.Sprintf("Steriliser-%02d", i+1), Serial: strings.Repeat("X9-", i+1), Type: "B"})
	}
	for i := range 40 {
		in := fixtures.Cycle{Label: "134", Draw: uint64(i), Probes: 1 + i%3}
		if i%9 == 4 {
			in.Hold = 150
		}
		c := d.judge(in, fmt.Sprintf("Steriliser-%02d", i%12+1), strconv.Itoa(1000+i), 8+i/6, i%6*9)
		d.Cycles[i].Load = daily.Load{Contents: "handpieces, ultrasonic tips and a long description of what else was in the chamber that morning", Packs: 12, Packing: "wrapped", By: "Nguyễn Thị Ánh"}
		d.Decisions = append(d.Decisions, daily.Decision{Cycle: c.ID, At: c.Start, Act: "released", By: "Þórður Łukasiewicz", Role: "nurse", Reason: "indicator changed, packs dry and sealed"})
	}
	d.Recalls = []daily.Recall{{Cycle: d.Cycles[4].ID, Opened: "2026-11-02T15:00:00Z", Packs: "12 packs", Used: "pack 3 in chair 1"}}
	return d
}

// closed is a day on which nothing ran, at a surgery of one person.
func closed(t testing.TB) *day {
	d := newDay(t)
	d.Closed = []daily.Closure{{Reason: "Bank holiday", By: "B. Lind"}}
	d.Signing = daily.Signing{Second: "none", Reason: "a surgery of one person"}
	d.Record.Previous = daily.Link{}
	return d
}

// The same Day gives the same bytes, and drawing changes neither the Day nor the
// fonts, which the drawing library would write into.
func TestSameDaySameBytes(t *testing.T) {
	regularBefore, monoBefore := bytes.Clone(goregular.TTF), bytes.Clone(gomono.TTF)
	d := monday(t)
	before, err := d.Day.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	first := drawn(t, d)
	for range 3 {
		if !bytes.Equal(first, drawn(t, monday(t))) {
			t.Fatal("two drawings of one Day differ")
		}
	}
	if !bytes.Equal(regularBefore, goregular.TTF) || !bytes.Equal(monoBefore, gomono.TTF) {
		t.Error("a font was written into")
	}
	if after, err := d.Day.Marshal(); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the Day was changed (%v)", err)
	}
	d.Remarks = append(d.Remarks, "one word more")
	if bytes.Equal(first, drawn(t, d)) {
		t.Error("another Day gives the same bytes")
	}
}

// A record is refused when the parts are not those of the Day.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		why    string
		change func(*day)
		say    string
	}{
		{"a source is missing", func(d *day) { delete(d.Parts.Sources, d.Day.Sources[0].SHA256) }, "the bytes of export-S1.csv are missing"},
		{"a source is another", func(d *day) { d.Parts.Sources[d.Day.Sources[0].SHA256] = []byte("x") }, "are not those that were judged"},
		{"a source is another of the same length", func(d *day) {
			b := bytes.Clone(d.Parts.Sources[d.Day.Sources[0].SHA256])
			b[0] ^= 1
			d.Parts.Sources[d.Day.Sources[0].SHA256] = b
		}, "are not those that were judged"},
		{"a source has another length", func(d *day) { d.Day.Sources[0].Bytes++ }, "are not those that were judged"},
		{"a figure of another verdict", func(d *day) {
			id := d.Cycles[1].ID
			f := d.Figures[id]
			f.Verdict = validate.Verdict{}
			d.Figures[id] = f
		}, "is of a cycle that is not proven, the day says conforms"},
		{"a Day that contradicts itself", func(d *day) { d.Cycles[2].Outcome = "conforms" }, `its findings come to "failed"`},
		{"the zero Day", func(d *day) { d.Day = daily.Day{} }, "version 0"},
	} {
		d := monday(t)
		c.change(d)
		b, err := Draw(d.Day, d.Parts)
		if err == nil || !strings.Contains(err.Error(), c.say) || b != nil {
			t.Errorf("%s: %v, expected a word of %q and no bytes", c.why, err, c.say)
		}
	}
	d := monday(t)
	d.Parts.Figures = map[string]figure.Cycle{}
	if _, err := Draw(d.Day, d.Parts); err != nil {
		t.Errorf("without readings the record is still drawn: %v", err)
	}
}

var objectAt = regexp.MustCompile(`(?m)^([0-9]+) 0 obj\n`)

// What PDF/A-3b adds to what the drawing library writes, read in the bytes
// (ISO 19005-3; clauses from memory).
func TestStructure(t *testing.T) {
	b := drawn(t, monday(t))
	if !bytes.HasPrefix(b, []byte("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")) || !bytes.HasSuffix(b, []byte("%%EOF\n")) {
		t.Error("header, comment or end are not as they should be")
	}
	start := regexp.MustCompile(`startxref\n([0-9]+)\n%%EOF\n$`).FindSubmatch(b)
	at, err := strconv.Atoi(string(start[1]))
	if err != nil || !bytes.HasPrefix(b[at:], []byte("xref\n0 ")) {
		t.Fatalf("startxref points to %q", b[at:at+8])
	}
	if n := bytes.Count(b, []byte("startxref")); n != 1 {
		t.Errorf("%d tables of cross-references, want 1 that a signature can add to", n)
	}
	rows := regexp.MustCompile(`(?m)^[0-9]{10} 00000 n $`).FindAll(b[at:], -1)
	for i, row := range rows {
		offset, _ := strconv.Atoi(string(row[:10]))
		if want := fmt.Sprintf("%d 0 obj\n", i+1); !bytes.HasPrefix(b[offset:], []byte(want)) {
			t.Errorf("object %d does not stand at %d", i+1, offset)
		}
	}
	if n := len(objectAt.FindAll(b, -1)); n != len(rows) || n < 30 {
		t.Errorf("%d objects, %d rows", n, len(rows))
	}
	trailer := b[at:]
	if !regexp.MustCompile(fmt.Sprintf(`trailer\n<< /Size %d /Root [0-9]+ 0 R /Info [0-9]+ 0 R /ID \[<([0-9a-f]{32})> <[0-9a-f]{32}>\] >>`, len(rows)+1)).Match(trailer) {
		t.Errorf("trailer %s", trailer[bytes.Index(trailer, []byte("trailer")):])
	}
	for _, want := range []string{"/OutputIntents [", "/S /GTS_PDFA1", "/N 3", "/Metadata ", "<pdfaid:part>3</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance>",
		"/AF [", "/EmbeddedFiles << /Names [", "/AFRelationship /Data", "/AFRelationship /Source", "/Subtype /text#2Fcsv", "/Subtype /application#2Fjson",
		"/F (day.json) /UF (day.json)", "/F (export-S1.csv) /UF (export-S1.csv)", "/Lang (en-GB)", "/CreationDate (D:20261102181000+00'00')", "<xmp:CreateDate>2026-11-02T18:10:00+00:00</xmp:CreateDate>",
		"/Title (Tern Quay Surgery, Monday 2 Nov 2026: day record)", "Tern Quay Surgery, Monday 2 Nov 2026: day record</rdf:li>"} {
		if !bytes.Contains(b, []byte(want)) {
			t.Errorf("%s is missing", want)
		}
	}
	for _, never := range []string{"/JavaScript", "/JS", "/AA", "/OpenAction", "/Encrypt", "/LZWDecode", "/SMask", "/Group", "/ca ", "/CA ", "/AcroForm", "/Annots", "/ObjStm", "/XRef", "/Launch", "/URI", "/CIDSet"} {
		if bytes.Contains(dictionaries(b), []byte(never)) {
			t.Errorf("%s stands in it", never)
		}
	}
	fonts := bytes.Count(b, []byte("/Type /FontDescriptor"))
	if fonts < 3 || bytes.Count(b, []byte("/FontFile2 ")) != fonts || bytes.Count(b, []byte("/ToUnicode ")) != fonts {
		t.Errorf("%d fonts, not all embedded with a map to Unicode", fonts)
	}
	if names := regexp.MustCompile(`/(?:BaseFont|FontName) /[^\s/<>]+`).FindAll(b, -1); slices.ContainsFunc(names, func(n []byte) bool { return !regexp.MustCompile(`/[A-Z]{6}\+[a-z]+$`).Match(n) }) {
		t.Errorf("not all fonts are named as subsets: %q", names)
	}
}

// The map back to Unicode names the letters that were used, each as itself.
func TestMapToUnicode(t *testing.T) {
	b := drawn(t, monday(t))
	refs := regexp.MustCompile(`/ToUnicode ([0-9]+) 0 R`).FindAllSubmatch(b, -1)
	for _, m := range refs {
		at := bytes.Index(b, append(append([]byte("\n"), m[1]...), " 0 obj\n"...))
		body := b[at:]
		r, err := zlib.NewReader(bytes.NewReader(body[bytes.Index(body, []byte("stream\n"))+7:]))
		if err != nil {
			t.Fatal(err)
		}
		cmap, err := io.ReadAll(r)
		if err != nil || !bytes.Contains(cmap, []byte("beginbfchar\n")) || !bytes.Contains(cmap, []byte("<0030> <0030>\n")) || bytes.Contains(cmap, []byte("<FFFF> <")) {
			t.Errorf("a map of %v: %s", err, cmap)
		}
	}
	if len(refs) < 3 {
		t.Errorf("%d maps", len(refs))
	}
}

// dictionaries is the file without its streams.
func dictionaries(b []byte) []byte {
	return regexp.MustCompile(`(?s)stream\n.*?\nendstream`).ReplaceAll(b, nil)
}

// The twin that a PDF/A-1b validator knows has neither attachments nor a later version.
func TestTwin(t *testing.T) {
	d := monday(t)
	b, err := draw(d.Day, d.Parts, part1)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(b, []byte("%PDF-1.4\n")) || bytes.Contains(b, []byte("/EmbeddedFile")) || bytes.Contains(b, []byte("/AF ")) || !bytes.Contains(b, []byte("/CIDSet ")) || !bytes.Contains(b, []byte("<pdfaid:part>1<")) {
		t.Error("the twin is not a PDF/A-1b")
	}
}

// Two exports of one name keep both, and day.json stays the record's own.
func TestNamesOfAttachments(t *testing.T) {
	taken := map[string]bool{"day.json": true}
	var got []string
	for _, n := range []string{"a.csv", "dir/a.csv", `C:\dir\a.csv`, "day.json", "..", "", "plain"} {
		got = append(got, unique(n, taken))
	}
	if want := []string{"a.csv", "a (2).csv", "a (3).csv", "day (2).json", "..", "export", "plain"}; !slices.Equal(got, want) {
		t.Errorf("names %q, want %q", got, want)
	}
	if got := textString(`a(b)\c`); got != `(a\(b\)\\c)` {
		t.Errorf("a string is written %s", got)
	}
	if got := textString("ä"); got != "<feff00e4>" {
		t.Errorf("a string is written %s", got)
	}
	if got := plainName("Gerät/1.csv"); got != "(Ger_t/1.csv)" {
		t.Errorf("a plain name is written %s", got)
	}
}

// A letter that no font has, or that the drawing library cannot write, is printed as
// a stand-in and never left out; one that only the spare face has takes its word there.
func TestLetters(t *testing.T) {
	l := newLetters()
	for _, c := range []struct {
		in   string
		want []run
	}{
		{"Ärger 134 °C ≥", []run{{face: regular, text: "Ärger 134 °C ≥"}}},
		{"Frau Nguyễn hier", []run{{face: regular, text: "Frau"}, {face: spare, text: " Nguyễn"}, {face: regular, text: " hier"}}},
		{"e\u0301tat", []run{{face: regular, text: "état"}}}, // composed
		{"x 𝔖 日", []run{{face: regular, text: "x \uFFFD \uFFFD"}}},
		{"😀", []run{{face: regular, text: "\uFFFD"}}}, // the spare face has it, the library cannot write it
		{"a\tb\nc\x00d", []run{{face: regular, text: "a b c d"}}},
		{"", nil},
	} {
		got := l.runs(regular, c.in)
		same := len(got) == len(c.want)
		for i := range got {
			same = same && got[i].face == c.want[i].face && got[i].text == c.want[i].text && got[i].em > 0
		}
		if !same {
			t.Errorf("%q becomes %+v, want %+v", c.in, got, c.want)
		}
	}
	for f := range faces {
		if _, ok := l.width(f, standIn); !ok {
			t.Errorf("%s has no stand-in", faceInfo[f].name)
		}
	}
}

// The widths this package measures with are those the drawing library prints with.
func TestWidthsAgree(t *testing.T) {
	s := newSheet()
	s.newPage()
	for _, words := range []string{"Do not use this load.", "0O 1lI 134.6 °C · S1", "ÄÖÜß ŁŐ Ж Ω", strings.Repeat("0123456789abcdef", 4)} {
		for _, f := range []face{regular, bold, mono} {
			s.load(f)
			s.pdf.SetFont(faceInfo[f].name, "", 10)
			theirs, ours := s.pdf.GetStringWidth(words), s.letters.em(f, words)*10*mm
			if d := theirs - ours; d > 0.01*theirs || d < -0.01*theirs {
				t.Errorf("%s: %q is %.3f mm there and %.3f here", faceInfo[f].name, words, theirs, ours)
			}
		}
	}
}

// Lines are no wider than they may be, and no letter is lost.
func TestWrap(t *testing.T) {
	s := newSheet()
	for _, words := range []string{"one two three four five six seven", strings.Repeat("long", 40), "a " + strings.Repeat("ễ", 60) + " b", " x  y ", ""} {
		for _, w := range []float64{8, 20, 55} {
			lines := s.wrap(words, text, w)
			for _, l := range lines {
				if s.width(l, text) > w+1e-9 && utf8.RuneCountInString(l) > 1 {
					t.Errorf("%q is wider than %g mm", l, w)
				}
			}
			joined := strings.Join(strings.Fields(strings.Join(lines, "")), "")
			if want := strings.Join(strings.Fields(words), ""); joined != want {
				t.Errorf("%q became %q", want, joined)
			}
		}
	}
}

func TestRounded(t *testing.T) {
	v := func(x float64) *float64 { return &x }
	for _, c := range []struct{ got, want string }{
		{seconds(v(179.96)), "179"}, {seconds(v(180)), "180"}, {seconds(nil), ""},
		{down(v(134.29)), "134.2"}, {down(v(134.3)), "134.3"}, {down(v(134.29999999999998)), "134.3"},
		{up(v(136.91)), "137.0"}, {up(v(136.9)), "136.9"}, {down(v(-0.55)), "−0.6"}, {up(v(-0.01)), "0.0"},
		{rounded(v(-0.11), 1, away), "−0.2"}, {rounded(v(0.11), 1, away), "0.2"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

// Any name of a surgery is drawn without a panic, and into the same bytes twice.
func FuzzNames(f *testing.F) {
	for _, s := range []string{"Tern Quay Surgery", "Nguyễn 𝔖 日本", "{nb}", "\xff", "()\\<>", strings.Repeat("W", 500), "\u202e\u0301\u0000"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		d := closed(t)
		d.Surgery.Name, d.Signing.Reason, d.Remarks = name, name+".", []string{name}
		first, err := Draw(d.Day, d.Parts)
		if err != nil {
			if utf8.ValidString(name) {
				t.Fatal(err)
			}
			return
		}
		if again, err := Draw(d.Day, d.Parts); err != nil || !bytes.Equal(first, again) {
			t.Errorf("%q drawn twice differs (%v)", name, err)
		}
	})
}

func BenchmarkEightCycles(b *testing.B) { bench(b, monday(b)) }
func BenchmarkFortyCycles(b *testing.B) { bench(b, big(b)) }

func bench(b *testing.B, d *day) {
	for b.Loop() {
		if _, err := Draw(d.Day, d.Parts); err != nil {
			b.Fatal(err)
		}
	}
}
