package parse

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// cyclesOf shows number, steriliser, first and last line and length of each cycle.
func cyclesOf(in string, o Options) string {
	cycles, bad := readAll("x.csv", in, o)
	var out []string
	for _, c := range cycles {
		n := 0
		if c.Record != nil {
			n = c.Record.Len()
		}
		name := c.Header.Steriliser
		if c.Header.Configured {
			name = "=" + name
		}
		s := fmt.Sprintf("%s/%s %d-%d %d", name, c.Header.Number, c.Header.Source.FirstLine, c.Header.Source.LastLine, n)
		for _, p := range c.Problems {
			s += fmt.Sprintf(" [%d:%d %s]", p.Line, p.Column, p.Found)
		}
		for _, r := range c.Header.Remarks {
			s += fmt.Sprintf(" (%d %s)", r.Line, r.Text)
		}
		out = append(out, s)
	}
	if bad != nil {
		out = append(out, bad.Error())
	}
	return strings.Join(out, "; ")
}

func minutes(day, hour, from, n int, suffix string) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "2026-03-%02dT%02d:%02d:00,20.1%s\n", day, hour, from+i, suffix)
	}
	return b.String()
}

func TestWhereCyclesAreSplit(t *testing.T) {
	const h = "time,chamber [°C]\n"
	const hn = "time,chamber [°C],cycle number\n"
	for _, c := range []struct{ why, in, want string }{
		{"one cycle", h + minutes(11, 8, 0, 3, ""), "/ 2-4 3"},
		{"a pause of 10 min is none", h + minutes(11, 8, 0, 2, "") + minutes(11, 8, 11, 2, ""), "/ 2-5 4"},
		{"a pause of 11 min", h + minutes(11, 8, 0, 2, "") + minutes(11, 8, 12, 2, ""), "/ 2-3 2; / 4-5 2"},
		{"a cycle number column", hn + minutes(11, 8, 0, 2, ",7") + minutes(11, 8, 2, 2, ",8"), "/7 2-3 2; /8 4-5 2"},
		{"a pause within one number", hn + minutes(11, 8, 0, 2, ",7") + minutes(11, 8, 30, 2, ",7"), "/7 2-5 4"},
		{"the number on the first row only", hn + minutes(11, 8, 0, 1, ",7") + minutes(11, 8, 1, 1, ",") + minutes(11, 8, 2, 1, ",8"), "/7 2-3 2; /8 4-4 1"},
		{"newest cycle first", hn + minutes(11, 9, 0, 2, ",8") + minutes(11, 8, 0, 2, ",7"), "/8 2-3 2; /7 4-5 2"},
		{"preamble and heading", "Cycle No,7\n" + h + minutes(11, 8, 0, 2, "") + "Cycle No,8\n" + h + minutes(11, 8, 2, 2, ""), "/7 3-4 2; /8 7-8 2"},
		{"blocks: a pause inside one is a gap", "Cycle No,7\n" + h + minutes(11, 8, 0, 1, "") + minutes(11, 8, 30, 1, "") + "Cycle No,8\n" + h + minutes(11, 9, 2, 2, ""), "/7 3-4 2; /8 7-8 2"},
		{"one preamble, a pause: the number is the first one's", "Cycle No,7\n" + h + minutes(11, 8, 0, 1, "") + minutes(11, 8, 30, 1, ""), "/7 3-3 1; / 4-4 1"},
		{"two files one after the other", h + minutes(11, 8, 0, 2, "") + h + minutes(11, 8, 6, 2, ""), "/ 2-3 2; / 5-6 2"},
		{"two files, the later one first", h + minutes(11, 9, 0, 2, "") + h + minutes(11, 8, 6, 2, ""), "/ 2-3 2; / 5-6 2"},
		{"the heading repeated on each page", h + minutes(11, 8, 0, 2, "") + h + minutes(11, 8, 2, 2, ""), "/ 2-6 4 (4 the headings are repeated among the readings)"},
		{"another heading", h + minutes(11, 8, 0, 2, "") + "time,load [°C],chamber [°C]\n" + minutes(11, 8, 2, 2, ",7"), "/ 2-3 2; / 5-6 2"},
		{"footers, then the next preamble", "Cycle No,7\n" + h + minutes(11, 8, 0, 2, "") + "passed\n\nCycle No,8\n" + h + minutes(11, 8, 2, 2, "") + "passed\n", "/7 3-4 2; /8 9-10 2"},
		{"the summary names its own cycle", "Cycle No,7\n" + h + minutes(11, 8, 0, 2, "") + "Cycle No,7\nOperator,N. N.\n", "/7 3-4 2"},
		{"a new number before readings without a heading", "Cycle No,7\n" + h + minutes(11, 8, 0, 2, "") + "Cycle No,8\n" + minutes(11, 8, 2, 2, ""), "/7 3-4 2; /8 6-7 2"},
		{"a preamble with the other delimiter", "Cycle No;7\n" + h + minutes(11, 8, 0, 1, ""), "/7 3-3 1"},
		{"blanks before quotation marks", "\"time\", \"chamber [°C]\"\n\"2026-03-11T08:14:03\", \"20.1\"\n", "/ 2-2 1"},
		{"a column that counts the readings", hn + minutes(11, 8, 0, 1, ",1") + minutes(11, 8, 1, 1, ",2") + minutes(11, 8, 2, 1, ",3"), `/ 2-4 3 (1 column 3, "cycle number", counts the readings and was not taken for the cycle number; if it is, set sterilisers[].export.columns)`},
		{"a table of phases before the readings", "Phase,Start,Duration,T min [°C]\nHeating,08:00:00,05:00,20.1\n" + h + minutes(11, 8, 0, 2, ""), "/ 4-5 2"},
		{"steriliser column", "time,chamber [°C],steriliser\n" + minutes(11, 8, 0, 2, ",A") + minutes(11, 8, 2, 2, ",B"), "A/ 2-3 2; B/ 4-5 2"},
		{"a column Cycle that names programmes", "time,chamber [°C],cycle\n" + minutes(11, 8, 0, 2, ",134 wrapped"), "/ 2-3 2"},
		{"empty lines and lines of delimiters", h + "\n\n" + minutes(11, 8, 0, 1, "") + ",\n\n" + minutes(11, 8, 1, 1, "") + ",\n", "/ 4-7 2"},
	} {
		if got := cyclesOf(c.in, Options{}); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.why, got, c.want)
		}
	}
}

func TestWhoseRecord(t *testing.T) {
	const h = "time,chamber [°C]\n"
	row := minutes(11, 8, 0, 1, "")
	two := Options{Sterilisers: []Steriliser{{ID: "S1", Serial: "TQ-0417"}, {ID: "S2", Serial: "TQ-0418"}}}
	one := Options{Sterilisers: two.Sterilisers[:1]}
	only := Options{Sterilisers: two.Sterilisers, Only: "S2"}
	for _, c := range []struct {
		why, in string
		o       Options
		want    string
	}{
		{"nobody is named or configured", h + row, Options{}, "/ 2-2 1"},
		{"the only one configured", h + row, one, "=S1/ 2-2 1"},
		{"one of two is named by serial", "Serial No: tq-0418\n" + h + row, two, "=S2/ 3-3 1"},
		{"one of two is named by id", "Autoclave,S1\n" + h + row, two, "=S1/ 3-3 1"},
		{"none of two is named", h + row, two, "/ 2-2 1"},
		{"a text that is not configured", "Autoclave,Nr 7\n" + h + row, one, "Nr 7/ 3-3 1"},
		{"asked for", h + row, only, "=S2/ 2-2 1"},
		{"asked for, and the record names a text", "Serial No,0009\n" + h + row, only, `=S2/ 3-3 1 (3 the record names the steriliser "0009"; it was read as one of S2)`},
		{"pairs on one line", "Serial No,TQ-0418,Cycle No,73\n" + h + row, two, "=S2/73 3-3 1"},
		{"a column names them in turn", "time,chamber [°C],unit\n" + minutes(11, 8, 0, 1, ",S2") + minutes(11, 8, 1, 1, ",TQ-0417"), two, "=S2/ 2-2 1; =S1/ 3-3 1"},
	} {
		if got := cyclesOf(c.in, c.o); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.why, got, c.want)
		}
	}
}

// Two machines in one file, each with hints of its own: the column that names the
// machine is a hint as well.
func TestHintsOfSeveralMachines(t *testing.T) {
	hints := func(unit string) Hints {
		return Hints{SteriliserColumn: "Box", Columns: []ColumnHint{{"Tc", "chamber temperature", unit}, {"When", "time", ""}}}
	}
	o := Options{Sterilisers: []Steriliser{{ID: "S1", Hints: hints("degC")}, {ID: "S2", Hints: hints("degF")}}}
	in := "When,Tc,Box\n2026-03-11T08:00:00,100,S1\n2026-03-11T08:00:01,100,S1\n2026-03-11T08:00:02,212,S2\n"
	in += "2026-03-11T08:00:03,212,S3\n" // nobody's hints: the heading Tc says nothing
	cycles, bad := readAll("x.csv", in, o)
	if len(cycles) == 3 && len(cycles[2].Problems) == 1 && strings.Contains(cycles[2].Problems[0].Remedy, `names the steriliser "S3"`) {
		cycles = cycles[:2]
	}
	if bad != nil || len(cycles) != 2 || cycles[0].Record == nil || cycles[1].Record == nil {
		t.Fatalf("%v %v", cycles, bad)
	}
	for i, c := range cycles {
		if got := c.Record.Readings().Channels[0].Celsius[0]; got != 100 {
			t.Errorf("cycle %d: %v °C, want 100", i, got)
		}
	}
}

func TestUnreadableCells(t *testing.T) {
	cells := []string{"", "NaN", "1e400", "0x1p7", "1_34", "--", "=1+1", "E04", "134,2", "1 34"}
	for _, column := range []int{2, 3, 4, 5} {
		for _, cell := range cells {
			row := []string{"2026-03-11T08:14:04", "20.1", "20.1", "20.1", "101.3"}
			row[column-1] = `"` + cell + `"`
			in := "time,chamber [°C],load [°C],jacket [°C],pressure [kPa abs]\n2026-03-11T08:14:03,20.1,20.1,20.1,101.3\n" + strings.Join(row, ",") + "\n"
			cycles, bad := readAll("x.csv", in, Options{})
			if bad != nil || len(cycles) != 1 || cycles[0].Record == nil {
				t.Fatalf("%q in column %d: %v %v", cell, column, cycles, bad)
			}
			r := cycles[0].Record.Readings()
			v := r.Pressure.KPa[1]
			if column < 5 {
				v = float64(r.Channels[column-2].Celsius[1])
			}
			if !math.IsNaN(v) {
				t.Errorf("%q in column %d reads as %v", cell, column, v)
			}
			u := cycles[0].Record.Header().Unreadable
			if column == 4 { // a jacket is not judged
				if len(u) != 0 {
					t.Errorf("%q under jacket: %v", cell, u)
				}
				continue
			}
			if len(u) != 1 || u[0].Line != 3 || u[0].Column != column || u[0].Text != cell {
				t.Errorf("%q in column %d: %v", cell, column, u)
			}
		}
	}
	cycles, _ := readAll("x.csv", head+"2026-03-11T08:14:03,999.9,101.3\n", Options{})
	if got := cycles[0].Record.Readings().Channels[0].Celsius[0]; got != 999.9 {
		t.Errorf("999.9 is a number: %v", got)
	}
}

// One text in every encoding and with every line end reads the same.
func TestEncodings(t *testing.T) {
	plain := "Programme: Séchage 134\nUhrzeit;Kammer [°C];Druck [bar abs]\n" + "2026-03-11 08:14:03;20,1;1,013\n2026-03-11 08:14:04;20,1;1,013\n" + "Fin: “prévu”\n"
	want := ""
	for _, end := range []string{"\n", "\r\n", "\r"} {
		text := strings.ReplaceAll(plain, "\n", end)
		w1252, err := charmap.Windows1252.NewEncoder().String(text)
		if err != nil {
			t.Fatal(err)
		}
		le, _ := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(text)
		be, _ := unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewEncoder().String(text)
		for name, in := range map[string]string{"UTF-8": text, "UTF-8 BOM": "\uFEFF" + text, "Windows-1252": w1252,
			"UTF-16 LE": le, "UTF-16 BE": be, "UTF-16 LE without BOM": le[2:], "UTF-16 BE without BOM": be[2:]} {
			cycles, bad := readAll("x.csv", in, Options{})
			if bad != nil || len(cycles) != 1 || cycles[0].Record == nil {
				t.Errorf("%s, %q: %v %v", name, end, cycles, bad)
				continue
			}
			got := fmt.Sprint(cycles[0].Record.Header(), cycles[0].Record.Readings().Channels, *cycles[0].Record.Readings().Pressure)
			if want == "" {
				want = got
			}
			if got != want {
				t.Errorf("%s, %q:\n%s\nwant\n%s", name, end, got, want)
			}
		}
	}
}

// Windows-1252 that shows itself only after megabytes of ASCII.
func TestALateByte(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,chamber degC\n")
	at := time.Date(2026, 3, 11, 8, 0, 0, 0, time.UTC)
	for i := range 60000 {
		fmt.Fprintf(&b, "%s,20.1\n", at.Add(time.Duration(i)*time.Second).Format("2006-01-02T15:04:05"))
	}
	b.WriteString("D\xe9faut 3\n")
	cycles, bad := readAll("x.csv", b.String(), Options{})
	if bad != nil || len(cycles) != 1 || cycles[0].Record == nil || statements(cycles[0].Record.Header()) != "60002 Défaut 3 2" {
		t.Errorf("%v %v", bad, statements(cycles[0].Header))
	}
}

func TestUnderstood(t *testing.T) {
	in := "Datum;Uhrzeit;Kammer [°C];Druck [bar]\n25/03/2026;08:14:03;20,1;1,013\n"
	r, err := Open("x.csv", strings.NewReader(in), hinted1(Hints{Pressure: "absolute"}))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Next(); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Next(); err != io.EOF {
		t.Fatal(err)
	}
	u := r.Understood()
	got := fmt.Sprint(u.Encoding, "|", u.Delimiter, "|", u.Decimal, "|", u.HeadingLine, "|", u.DateOrder, "|", u.Steriliser, "|", u.Times, "|", u.Splits)
	want := "UTF-8|semicolon|,|1|dmy|S1|date and time of day in the zone of the site|[{2 heading}]"
	if got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
	if c := u.Columns[3]; c.Is != "pressure" || c.Unit != "bar" || c.Reference != "absolute" || !strings.Contains(c.Why, "configuration") {
		t.Errorf("%+v", c)
	}
	sum := sha256.Sum256([]byte(in))
	if r.SHA256() != hex.EncodeToString(sum[:]) {
		t.Errorf("SHA-256 %s", r.SHA256())
	}
}

// changing hands out other bytes on a second pass, growing more of them.
type changing struct {
	*bytes.Reader
	more *bytes.Reader
}

func (c *changing) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	if err == io.EOF && c.more != nil {
		return c.more.Read(p)
	}
	return n, err
}

func TestAFileThatChanges(t *testing.T) {
	src := &changing{bytes.NewReader([]byte(head + row0 + row1)), bytes.NewReader([]byte(row2))}
	r, err := Open("x.csv", src, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if c, err := r.Next(); err != nil || c.Record == nil {
		t.Fatal(c, err)
	}
	if _, err := r.Next(); err == nil || !strings.Contains(err.Error(), "changed while it was read") {
		t.Errorf("got %v", err)
	}
}

// swapped hands out another file of the same size from the second rewind on.
type swapped struct {
	*strings.Reader
	other   string
	rewinds int
}

func (s *swapped) Seek(offset int64, whence int) (int64, error) {
	if offset == 0 && whence == io.SeekStart {
		if s.rewinds++; s.rewinds == 2 {
			s.Reader = strings.NewReader(s.other)
		}
	}
	return s.Reader.Seek(offset, whence)
}

// The dates need a second pass over the file, and that one sees other bytes.
func TestAFileThatChangesBetweenPasses(t *testing.T) {
	in := "time,chamber [°C]\n03/04/2026 08:00:00,20\n03/04/2026 08:00:01,20\n"
	src := &swapped{Reader: strings.NewReader(in), other: strings.Replace(in, "03/04/2026 08:00:01", "25/04/2026 08:00:01", 1)}
	r, err := Open("x.csv", src, Options{})
	for err == nil {
		_, err = r.Next()
	}
	if !strings.Contains(err.Error(), "changed while it was read") {
		t.Errorf("got %v", err)
	}
}

// endless is a file that repeats one piece after a start, without being held.
type endless struct {
	start, piece string
	size, at     int64
}

func (e *endless) Read(p []byte) (int, error) {
	if e.at >= e.size {
		return 0, io.EOF
	}
	n := 0
	for n < len(p) && e.at < e.size {
		var c int
		if e.at < int64(len(e.start)) {
			c = copy(p[n:], e.start[e.at:])
		} else {
			c = copy(p[n:], e.piece[(e.at-int64(len(e.start)))%int64(len(e.piece)):])
		}
		n += c
		e.at += int64(c)
	}
	return n, nil
}

func (e *endless) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekCurrent:
		offset += e.at
	case io.SeekEnd:
		offset += e.size
	}
	e.at = offset
	return offset, nil
}

// Large bad files are refused in bounded memory.
func TestLargeBadFiles(t *testing.T) {
	for _, c := range []struct {
		why         string
		in          io.ReadSeeker
		found, want string
		line        int
	}{
		{"100 MB in one line", &endless{"", "abcdefgh;", 100 << 20, 0}, "longer than 1 MiB", "one line for each reading", 1},
		{"100 MB in one line of numbers after a heading", &endless{head, "1,2,3,4,5,", 100 << 20, 0}, "longer than 1 MiB", "one line", 2},
		{"a quote that stays open for 100 MB", &endless{head + "2026-03-11T08:14:03,\"", "20.1,101.3\n", 100 << 20, 0}, "longer than 1 MiB", "one line", 0},
		{"10,000 columns", strings.NewReader("time,chamber [°C]" + strings.Repeat(",load [°C]", 9998) + "\n"), "10000 columns", "at most 500", 1},
		{"100 MB of lines without a heading", &endless{"", "one;two;three\n", 100 << 20, 0}, "no line with the headings", "Time;Chamber", 0},
		{"100 MB of zeros", &endless{"", "\x00", 100 << 20, 0}, "byte 0", "text", 1},
		{"40 temperatures", strings.NewReader("time" + strings.Repeat(",X [°C]", 1) + func() string {
			s := ""
			for i := range 40 {
				s += fmt.Sprintf(",T%d [°C]", i)
			}
			return s
		}() + "\n"), "41 columns of temperatures", "at most 32", 1},
	} {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		r, err := Open("x.csv", c.in, Options{})
		if err == nil {
			var cy Cycle
			cy, err = r.Next()
			if err == nil && len(cy.Problems) > 0 {
				err = cy.Problems[len(cy.Problems)-1]
			}
		}
		runtime.ReadMemStats(&after)
		if err == nil {
			t.Errorf("%s: not refused", c.why)
			continue
		}
		e := asError(err)
		if !strings.Contains(e.Found, c.found) || !strings.Contains(e.Want, c.want) || (c.line > 0 && e.Line != c.line) {
			t.Errorf("%s: %v", c.why, e)
		}
		if held := int64(after.HeapSys) - int64(before.HeapSys); held > 64<<20 {
			t.Errorf("%s: %d MB more heap", c.why, held>>20)
		}
	}
}

func TestTooManyReadings(t *testing.T) {
	var b strings.Builder
	b.WriteString("Start: 2026-03-11 08:00:00\ntime [s],chamber [°C]\n")
	for i := range mostReadings + 1 {
		fmt.Fprintf(&b, "%d,20\n", i)
	}
	cycles, bad := readAll("x.csv", b.String(), Options{})
	if bad != nil || len(cycles) != 1 || len(cycles[0].Problems) != 1 || cycles[0].Problems[0].Line != mostReadings+3 {
		t.Errorf("%v %v", cycles, bad)
	}
}
