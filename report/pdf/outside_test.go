package pdf

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// tool runs a program that shares nothing with this one. Where it is not installed
// the test is skipped and says so, and fails where CI=true.
func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}

func save(t *testing.T, b []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "record.pdf")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// The days that every outside check looks at.
var days = []struct {
	name string
	make func(testing.TB) *day
}{{"monday", monday}, {"big", big}, {"closed", closed}, {"empty", func(t testing.TB) *day { return newDay(t) }}}

// qpdf finds no error, and pdffonts every font embedded, a subset, with Unicode.
func TestByOtherReaders(t *testing.T) {
	for _, d := range days {
		t.Run(d.name, func(t *testing.T) {
			path := save(t, drawn(t, d.make(t)))
			if out := tool(t, "qpdf", "--check", path); !strings.Contains(out, "No syntax or stream encoding errors found") || strings.Contains(out, "WARNING") {
				t.Errorf("qpdf: %s", out)
			}
			rows := strings.Split(strings.TrimSpace(tool(t, "pdffonts", path)), "\n")[2:]
			for _, r := range rows {
				if !regexp.MustCompile(`^[A-Z]{6}\+[a-z]+ +CID TrueType +Identity-H +yes yes yes`).MatchString(r) {
					t.Errorf("pdffonts: %s", r)
				}
			}
			if len(rows) < 3 {
				t.Errorf("%d fonts", len(rows))
			}
			if out := tool(t, "mutool", "info", path); strings.Contains(out, "error") || strings.Contains(out, "warning") {
				t.Errorf("mutool: %s", out)
			}
		})
	}
}

// pdfdetach gives every export and day.json back byte for byte.
func TestAttachmentsComeBack(t *testing.T) {
	d := monday(t)
	strange := "binary \x00\xff\r\n" + strings.Repeat("endstream endobj ", 9)
	d.source("Gerät ü.csv", strange)
	d.source("dir/export-S1.csv", "the same name, other bytes")
	path := save(t, drawn(t, d))
	out := t.TempDir()
	tool(t, "pdfdetach", "-saveall", "-o", out, path)
	data, err := d.Day.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]byte{"day.json": data, "export-S1.csv": d.Parts.Sources[d.Day.Sources[0].SHA256], "export-S2.csv": d.Parts.Sources[d.Day.Sources[1].SHA256],
		"Gerät ü.csv": []byte(strange), "export-S1 (2).csv": []byte("the same name, other bytes")}
	files, err := os.ReadDir(out)
	if err != nil || len(files) != len(want) {
		t.Errorf("%d files came back, want %d (%v)", len(files), len(want), err)
	}
	for name, bytes1 := range want {
		got, err := os.ReadFile(filepath.Join(out, name))
		if err != nil || !bytes.Equal(got, bytes1) {
			t.Errorf("%s came back otherwise (%v)", name, err)
		}
	}
}

// pdftotext finds what an inspector looks for, in the order it is read: the day, what
// failed, what is missing, then every cycle with its verdict and figures by number.
func TestTextInReadingOrder(t *testing.T) {
	d := monday(t)
	path := save(t, drawn(t, d))
	got := strings.Join(strings.Fields(tool(t, "pdftotext", "-raw", path, "-")), " ")
	at := 0
	for _, want := range []string{
		"Tern Quay Surgery", "Monday 2 Nov 2026", "Cycles 8: 1 failed 1 not proven 6 conform", "Do not conform", "Failed S1 · 1043", "Held 134 to 137 °C for", "needs 180 s",
		"sent for reprocessing 09:48 by B. Lind (lead): held too short; run again as S1 · 1044.", "Not proven S2 · 89", "no decision is recorded",
		"Missing S2: steam penetration test. Signed without it: the indicator pack was out of stock.", "S1 TQ-0417 B, 18 L 6 1041–1047 1047 Yes", "S2 TQ-0988 B, 18 L 2 88–89 No",
		"Cycles in the order of their numbers",
		"Conforms S1 · 1041", "0.064 kPa/min, at most 0.13", "Conforms S1 · 1042", "Failed S1 · 1043", "Do not use this load. Repack it and run it again.", "2 min 34 s, needs 3 min", "Failed holding-time", "Source: EN 285", "second-hand",
		"Conforms S1 · 1044", "Conforms S1 · 1046", "Conforms S1 · 1047", "Conforms S2 · 88", "Not proven S2 · 89", "record-complete",
		"Number 1045 of S1 is missing.", "Duties of the day", "Water lines flushed", "Limits the cycles were held against", "at most 0.13 kPa/min", "channel-spread programme 134 at most 2 K EN 285, cl. 8.3; HTM 2010 memory", "Exports, attached", d.Day.Sources[0].SHA256, "It does not show that an item is sterile.", "the hash of the file of the record before when this one was made",
	} {
		i := strings.Index(got[at:], want)
		if i < 0 {
			t.Fatalf("%q is not found after %q", want, got[max(0, at-60):at])
		}
		at += i
	}
	for _, c := range d.Cycles {
		for _, figure := range []string{seconds(c.Measured.Hold), down(c.Measured.TemperatureMin), up(c.Measured.TemperatureMax), needed(c)} {
			if !strings.Contains(got, figure) {
				t.Errorf("%s: the figure %s is not found", c.Name(), figure)
			}
		}
	}
}

// On every page stand its number, the record, the hash of the one before, and the log.
func TestFootOfEveryPage(t *testing.T) {
	d := big(t)
	path := save(t, drawn(t, d))
	n := pages(t, path)
	if n < 5 {
		t.Fatalf("%d pages", n)
	}
	for i := 1; i <= n; i++ {
		p := strconv.Itoa(i)
		got := strings.Join(strings.Fields(tool(t, "pdftotext", "-raw", "-f", p, "-l", p, path, "-")), " ")
		recall := "Recall open: Steriliser-05 · 1004"
		if i == 1 {
			recall = "Load Steriliser-05 · 1004, recalled 15:00, open."
		}
		for _, want := range []string{recall, fmt.Sprintf("Page %d of %d", i, n), "Record 2026-11-02-r1, revision 1", d.Record.Previous.SHA256, rootWords(d.Record.LogRoot), "812 entries"} {
			if !strings.Contains(got, want) {
				t.Errorf("page %d: %q is missing", i, want)
			}
		}
	}
}

func pages(t *testing.T, path string) int {
	t.Helper()
	m := regexp.MustCompile(`Pages: +([0-9]+)`).FindStringSubmatch(tool(t, "pdfinfo", path))
	if m == nil {
		t.Fatal("pdfinfo says no number of pages")
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// No word leaves the column or runs into the foot, whatever the names.
func TestNothingLeavesThePage(t *testing.T) {
	word := regexp.MustCompile(`<word xMin="([0-9.]+)" yMin="([0-9.]+)" xMax="([0-9.]+)" yMax="([0-9.]+)">(.*)</word>`)
	for _, d := range days {
		t.Run(d.name, func(t *testing.T) {
			out := tool(t, "pdftotext", "-bbox", save(t, drawn(t, d.make(t))), "-")
			words := word.FindAllStringSubmatch(out, -1)
			if len(words) < 50 {
				t.Fatalf("%d words", len(words))
			}
			for _, m := range words {
				var v [4]float64
				for i := range v {
					v[i], _ = strconv.ParseFloat(m[i+1], 64)
					v[i] *= mm
				}
				if v[0] < left-0.5 || v[2] > left+column+0.5 || v[1] < top-8 || v[3] > pageH-6 {
					t.Errorf("%q at %.1f mm", m[5], v)
				}
			}
		})
	}
}

// A validator of another house finds a PDF/A-1b in the twin that the same code
// draws, and says of the PDF/A-3b only what part 3 allows beyond part 1.
// Debian: libpdfbox2-java, libactivation-java, libjaxb-api-java, a JRE.
func TestArchivalByAnotherValidator(t *testing.T) {
	var jars []string
	for _, j := range []string{"preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "javax.activation", "jaxb-api"} {
		path := "/usr/share/java/" + j + ".jar"
		if _, err := os.Stat(path); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is missing", path)
			}
			t.Skipf("%s is missing", path)
		}
		jars = append(jars, path)
	}
	validator := []string{"-cp", strings.Join(jars, ":"), "org.apache.pdfbox.preflight.Validator_A1b"}
	for _, d := range days[:3] {
		t.Run(d.name, func(t *testing.T) {
			v := d.make(t)
			b, err := draw(v.Day, v.Parts, part1)
			if err != nil {
				t.Fatal(err)
			}
			if out := tool(t, "java", append(validator, save(t, b))...); !strings.Contains(out, "is a valid PDF/A-1b file") {
				t.Error(out)
			}
		})
	}
	out, err := exec.Command("java", append(validator, save(t, drawn(t, monday(t))))...).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "not a valid") {
		t.Fatalf("the validator takes a PDF/A-3b for a 1b: %s", out)
	}
	for _, line := range strings.Split(string(out), "\n") {
		if regexp.MustCompile(`^[0-9]`).MatchString(line) && !strings.Contains(line, "EmbeddedFile") && !strings.Contains(line, "CIDSet") && !strings.Contains(line, "part must be 1") {
			t.Errorf("more than part 3 allows: %s", line)
		}
	}
}

// At most 40 kB a page without attachments, signed twice.
func TestSizeOfAPage(t *testing.T) {
	for _, d := range days {
		v := d.make(t)
		b, err := draw(v.Day, v.Parts, part1) // the twin has no attachments
		if err != nil {
			t.Fatal(err)
		}
		n := pages(t, save(t, b))
		t.Logf("%s: %d pages, %d bytes, %.1f kB a page", d.name, n, len(b), float64(len(b))/1000/float64(n))
		const signed = 16 // kB, two signatures with what they show
		if kb := float64(len(b)) / 1000; kb+signed > 40*float64(n) {
			t.Errorf("%s: %.0f kB on %d pages", d.name, kb, n)
		}
	}
}
