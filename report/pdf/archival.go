package pdf

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"encoding/hex"
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
)

// attachment is a file inside the file.
type attachment struct {
	name, mime, relation, about string
	data                        []byte
}

// unique returns the last part of a file's name, with a number if it is taken.
func unique(name string, taken map[string]bool) string {
	name = path.Base(strings.ReplaceAll(name, `\`, "/"))
	if name == "." || name == "/" {
		name = "export"
	}
	ext := path.Ext(name)
	out := name
	for n := 2; taken[out]; n++ {
		out = fmt.Sprintf("%s (%d)%s", strings.TrimSuffix(name, ext), n, ext)
	}
	taken[out] = true
	return out
}

func mimeOf(name string) string {
	switch strings.ToLower(path.Ext(name)) {
	case ".csv":
		return "text/csv"
	case ".txt", ".log", ".tsv":
		return "text/plain"
	}
	return "application/octet-stream"
}

// archival turns what the drawing library wrote into a file that ISO 19005 allows.
// It adds what is missing: a comment after the header, an identifier, metadata, an
// output intent with its profile, a ToUnicode map of the letters used, dates with
// their zone, and the attached files. Clauses are those of ISO 19005-1 and -3
// (memory).
type archival struct {
	*file
	part    part
	made    time.Time
	title   string
	program string
	used    [faces]map[rune]bool
	files   []attachment
	zip     *zlib.Writer
}

func (a archival) finish() ([]byte, error) {
	if err := a.fonts(); err != nil {
		return nil, err
	}
	if err := a.repack(); err != nil {
		return nil, err
	}
	catalog := "<< /Type /Catalog /Pages 1 0 R /Lang (en-GB) /ViewerPreferences << /DisplayDocTitle true >>"
	catalog += fmt.Sprintf(" /Metadata %d 0 R", a.add(stream("/Type /Metadata /Subtype /XML", a.metadata())))
	icc := a.add(a.packed("/N 3", profile()))
	intent := a.add(fmt.Appendf(nil, "<< /Type /OutputIntent /S /GTS_PDFA1 /OutputConditionIdentifier (sRGB IEC61966-2.1) /Info (sRGB IEC61966-2.1) /DestOutputProfile %d 0 R >>", icc))
	catalog += fmt.Sprintf(" /OutputIntents [%d 0 R]", intent)
	if len(a.files) > 0 {
		catalog += a.attach()
	}
	a.objects[a.root] = []byte(catalog + " >>")
	a.objects[a.info] = fmt.Appendf(nil, "<< /Title %s /Creator %s /Producer %s /CreationDate (%s) /ModDate (%s) >>",
		textString(a.title), textString(a.program), textString(a.program), pdfDate(a.made), pdfDate(a.made))
	version := "1.7"
	if a.part == part1 {
		version = "1.4"
	}
	return a.write(version), nil
}

// packed is a compressed stream.
func (a archival) packed(dict string, data []byte) object {
	var b bytes.Buffer
	a.zip.Reset(&b)          // one writer for all, since each holds a megabyte
	_, _ = a.zip.Write(data) // a bytes.Buffer never fails
	_ = a.zip.Close()
	return stream(dict+" /Filter /FlateDecode", b.Bytes())
}

var length1 = regexp.MustCompile(`/Length1 [0-9]+`)

var streamAt = regexp.MustCompile(`(?s)^<<(.*?)/Length ([0-9]+)(.*?)>>\nstream\n`)

// repack compresses the streams of the drawing library anew: it packs pages not at
// all here, and fonts for speed.
func (a archival) repack() error {
	for i, body := range a.objects {
		m := streamAt.FindSubmatchIndex(body)
		if m == nil {
			continue
		}
		n, err := strconv.Atoi(string(body[m[4]:m[5]]))
		if err != nil || m[1]+n > len(body) {
			return fmt.Errorf("drawing a record: object %d has no such length", i)
		}
		data := body[m[1] : m[1]+n]
		dict := string(body[m[2]:m[3]]) + string(body[m[6]:m[7]])
		if strings.Contains(dict, "/FlateDecode") {
			if n < 2000 { // a map of letters to glyphs, all but empty: nothing to win
				continue
			}
			r, err := zlib.NewReader(bytes.NewReader(data))
			if err != nil {
				return fmt.Errorf("drawing a record: object %d: %w", i, err)
			}
			if data, err = io.ReadAll(r); err != nil {
				return fmt.Errorf("drawing a record: object %d: %w", i, err)
			}
			dict = strings.Replace(dict, "/Filter /FlateDecode", "", 1)
		}
		if strings.Contains(dict, "/Length1 ") {
			if data, err = slim(data); err != nil {
				return err
			}
			dict = length1.ReplaceAllString(dict, fmt.Sprintf("/Length1 %d", len(data)))
		}
		a.objects[i] = a.packed(strings.Join(strings.Fields(dict), " "), data)
	}
	return nil
}

// attach adds the files and returns what the catalog says of them (ISO 19005-3,
// 6.8, and annex E: AFRelationship; memory).
func (a archival) attach() string {
	names := map[string]int{}
	var refs []string
	for _, f := range a.files {
		mime := strings.ReplaceAll(f.mime, "/", "#2F")
		data := a.add(a.packed(fmt.Sprintf("/Type /EmbeddedFile /Subtype /%s /Params << /Size %d /ModDate (%s) >>", mime, len(f.data), pdfDate(a.made)), f.data))
		spec := a.add(fmt.Appendf(nil, "<< /Type /Filespec /F %s /UF %s /Desc (%s) /AFRelationship /%s /EF << /F %d 0 R /UF %d 0 R >> >>",
			plainName(f.name), textString(f.name), f.about, f.relation, data, data))
		names[utf16Text(f.name)] = spec
		refs = append(refs, fmt.Sprintf("%d 0 R", spec))
	}
	var tree []string
	for _, n := range slices.Sorted(maps.Keys(names)) { // a name tree is sorted by its bytes
		tree = append(tree, fmt.Sprintf("<%s> %d 0 R", hex.EncodeToString([]byte(n)), names[n]))
	}
	return fmt.Sprintf(" /AF [%s] /Names << /EmbeddedFiles << /Names [%s] >> >>", strings.Join(refs, " "), strings.Join(tree, " "))
}

// textString writes a text string: in ASCII as it is, else as UTF-16 in hex.
func textString(s string) string {
	for _, r := range s {
		if r < ' ' || r > '~' {
			return "<" + hex.EncodeToString([]byte(utf16Text(s))) + ">"
		}
	}
	return "(" + strings.NewReplacer(`\`, `\\`, "(", `\(`, ")", `\)`).Replace(s) + ")"
}

func utf16Text(s string) string {
	b := []byte{0xFE, 0xFF}
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u>>8), byte(u))
	}
	return string(b)
}

// plainName is the name for readers that know no Unicode.
func plainName(s string) string {
	return textString(strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '_'
		}
		return r
	}, s))
}

func pdfDate(t time.Time) string {
	_, offset := t.Zone()
	sign := '+'
	if offset < 0 {
		sign, offset = '-', -offset
	}
	return fmt.Sprintf("D:%s%c%02d'%02d'", t.Format("20060102150405"), sign, offset/3600, offset/60%60)
}

// metadata is the XMP packet; it says the same as the information dictionary
// (ISO 19005-1, 6.7.3; memory).
func (a archival) metadata() []byte {
	esc := func(s string) string {
		var b strings.Builder
		_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder never fails
		return b.String()
	}
	made := a.made.Format("2006-01-02T15:04:05-07:00")
	return []byte("<?xpacket begin=\"\uFEFF\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n" +
		`<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">` + "\n" +
		`<rdf:Description rdf:about="" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/"><pdfaid:part>` + strconv.Itoa(int(a.part)) + `</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance></rdf:Description>` + "\n" +
		`<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:title><rdf:Alt><rdf:li xml:lang="x-default">` + esc(a.title) + `</rdf:li></rdf:Alt></dc:title></rdf:Description>` + "\n" +
		`<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/"><xmp:CreatorTool>` + esc(a.program) + `</xmp:CreatorTool><xmp:CreateDate>` + made + `</xmp:CreateDate><xmp:ModifyDate>` + made + `</xmp:ModifyDate></rdf:Description>` + "\n" +
		`<rdf:Description rdf:about="" xmlns:pdf="http://ns.adobe.com/pdf/1.3/"><pdf:Producer>` + esc(a.program) + `</pdf:Producer></rdf:Description>` + "\n" +
		"</rdf:RDF></x:xmpmeta>\n<?xpacket end=\"w\"?>")
}

var (
	baseFont   = regexp.MustCompile(`/BaseFont /utf8([a-z]+)`)
	fontName   = regexp.MustCompile(`/FontName /utf8[a-z]+`)
	descendant = regexp.MustCompile(`/DescendantFonts \[([0-9]+) 0 R\]`)
	toUnicode  = regexp.MustCompile(`/ToUnicode ([0-9]+) 0 R`)
	descriptor = regexp.MustCompile(`/FontDescriptor ([0-9]+) 0 R`)
)

// fonts gives every font the name of a subset and a map from its letters back to
// Unicode; a 1b file also the set of its characters (ISO 19005-1, 6.3.5; memory).
func (a archival) fonts() error {
	for i, body := range a.objects {
		m := baseFont.FindSubmatch(body)
		if m == nil || !bytes.Contains(body, []byte("/Subtype /Type0")) {
			continue
		}
		f := slices.IndexFunc(faceInfo[:], func(in struct {
			name string
			ttf  []byte
			next face
		}) bool {
			return in.name == string(m[1])
		})
		if f < 0 {
			return fmt.Errorf("drawing a record: font %s is none of ours", m[1])
		}
		if err := a.font(i, slices.Sorted(maps.Keys(a.used[f])), string(m[1])); err != nil {
			return err
		}
	}
	return nil
}

func (a archival) font(at int, used []rune, name string) error {
	sum := sha256.Sum256([]byte(name + string(used)))
	tag := make([]byte, 6)
	for i := range tag {
		tag[i] = 'A' + sum[i]%26
	}
	full := fmt.Appendf(nil, "/BaseFont /%s+%s", tag, name)
	cid, err := number(descendant, a.objects[at])
	if err != nil {
		return err
	}
	cmap, err := number(toUnicode, a.objects[at])
	if err != nil {
		return err
	}
	desc, err := number(descriptor, a.objects[cid])
	if err != nil {
		return err
	}
	a.objects[at] = baseFont.ReplaceAll(a.objects[at], full)
	a.objects[cid] = baseFont.ReplaceAll(a.objects[cid], full)
	a.objects[cmap] = a.packed("", unicodeMap(used))
	renamed := fmt.Appendf(nil, "/FontName /%s+%s", tag, name)
	if a.part == part1 {
		renamed = fmt.Appendf(renamed, " /CIDSet %d 0 R", a.add(a.packed("", characterSet(used))))
	}
	a.objects[desc] = fontName.ReplaceAll(a.objects[desc], renamed)
	return nil
}

// unicodeMap is the ToUnicode map: the library writes letters by their number in
// Unicode, so that each stands for itself.
func unicodeMap(used []rune) []byte {
	var b bytes.Buffer
	b.WriteString("/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n" +
		"/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n" +
		"/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n")
	for part := range slices.Chunk(used, 100) { // at most a hundred in one list
		fmt.Fprintf(&b, "%d beginbfchar\n", len(part))
		for _, r := range part {
			fmt.Fprintf(&b, "<%04X> <%04X>\n", r, r)
		}
		b.WriteString("endbfchar\n")
	}
	b.WriteString("endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n")
	return b.Bytes()
}

// characterSet has a bit for every character of the subset, the highest bit of the
// first byte for character 0, which every font has.
func characterSet(used []rune) []byte {
	bits := []byte{0x80}
	for _, r := range used {
		for len(bits) <= int(r/8) {
			bits = append(bits, 0)
		}
		bits[r/8] |= 0x80 >> (r % 8)
	}
	return bits
}
