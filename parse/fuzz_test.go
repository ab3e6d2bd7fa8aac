package parse

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// shapes are the beginnings of exports of every shape, and what is refused.
func shapes(tb testing.TB) []string {
	tb.Helper()
	files, err := filepath.Glob(filepath.Join(exportsDir, "*.csv"))
	if err != nil || len(files) == 0 {
		tb.Fatalf("no exports in %s: %v", exportsDir, err)
	}
	var all []string
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			tb.Fatal(err)
		}
		if name := filepath.Base(f); name[0] == 'c' || name[0] == 'd' || strings.HasSuffix(name, "1.csv") || name < "a05" {
			all = append(all, string(text[:min(len(text), 600)]))
		}
	}
	for _, c := range refused {
		all = append(all, strings.NewReplacer(cellMark, "", lineMark, "").Replace(c.in))
	}
	return append(all,
		"Cycle No,7\n"+head+row0+row1+"passed\nCycle No,8\n"+head+later,
		"Datum;Uhrzeit;Kammer °C;Druck bar ü\r\n03/04/2026;8:14:03 PM;20,1;0,01\r\n25/04/2026;8:14:03 PM;20,1;0,01\r\n",
		"Start\t2026-10-25 01:59:59\rElapsed mm:ss\tT [K]\tP [inHg]\r59:59\t300\t29.9\r60:00\t300\t29.9\r",
		"\"time\",\"chamber\n°C\",\"alarm, if any\"\n\"2026-03-11T08:14:03Z\",\"20.1\",\"none\"\n\"2026-03-11T08:14:04Z\",\"20.1\",\"a \"\"b\"\"\"\n",
		","+strings.Repeat("<", 3000)+"\xffh\n"+strings.Repeat("fehler", 500)+":x\n",
		"Time;Chamber temp;Pressure\n;°C;kPa abs\n2 Nov 2026 08:14:03;20,1;101\nTime;Chamber temp;Pressure\n;°C;kPa abs\n2. listopada 2026, 08:14:04;20,1;101\n",
		"Start: Mon 2 Nov 2026 08:14:03\nelapsed s,chamber [°C]\n0,20\n1,20\n",
		"unit,time,chamber [°C]\nA,2-Nov-26 08:14:03,20\nB,2-Nov-26 08:14:03,20\nA,2-Nov-26 08:14:04,20\nB,2-Nov-26 08:14:04,20\nA,2-Nov-26 08:14:05,20\n",
		"time,chamber [°C],unit,cycle\n2026-10-25T01:59:59,20,A,1\n2026-10-25T01:00:00,20,A,1\n2026-10-25T01:00:00,20,B,2\n",
	)
}

// fuzzOptions reach every hint.
var fuzzOptions = []Options{
	{},
	{Zone: london, Sterilisers: []Steriliser{{ID: "A", Serial: "0417", Hints: Hints{SteriliserColumn: "unit", DateOrder: "mdy", Columns: []ColumnHint{{"P1", "pressure", "bar"}, {"Tc", "chamber temperature", "degC"}, {"When", "time", ""}}}},
		{ID: "B", Hints: Hints{SteriliserColumn: "unit", Decimal: ",", Pressure: "gauge"}}}},
	{Only: "A", Sterilisers: []Steriliser{{ID: "A", Hints: Hints{DateOrder: "dmy", Pressure: "absolute"}}}},
}

// For any bytes: no panic; every error points inside the file and says what to do;
// every record has its lines inside the file; the same bytes give the same answer.
func FuzzRead(f *testing.F) {
	for i, s := range shapes(f) {
		f.Add([]byte(s), uint8(i))
	}
	f.Fuzz(func(t *testing.T, in []byte, which uint8) {
		if len(in) > 1<<16 {
			return
		}
		o := fuzzOptions[int(which)%len(fuzzOptions)]
		first := examine(t, in, o)
		if second := examine(t, in, o); first != second {
			t.Errorf("the same bytes read differently:\n%s\n%s", first, second)
		}
	})
}

func examine(t *testing.T, in []byte, o Options) string {
	lines := bytes.Count(in, []byte("\n")) + bytes.Count(in, []byte("\r")) + 1
	inside := func(e *Error) {
		if e.File != "x.csv" || e.Line < 0 || e.Line > lines || e.Column < 0 || e.Column > mostColumns+1 || (e.Column > 0 && e.Line == 0) {
			t.Errorf("%d lines, and the error points at %s:%d:%d: %v", lines, e.File, e.Line, e.Column, e)
		}
		if e.Found == "" || e.Want == "" || !strings.HasSuffix(e.Remedy, ".") {
			t.Errorf("an error that does not help: %+v", e)
		}
	}
	var b strings.Builder
	r, err := Open("x.csv", bytes.NewReader(in), o)
	if err != nil {
		inside(asError(err))
		return err.Error()
	}
	for n := 0; ; n++ {
		if n > lines {
			t.Fatalf("more cycles than lines")
		}
		c, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			inside(asError(err))
			fmt.Fprintln(&b, err)
			continue
		}
		for _, p := range c.Problems {
			inside(p)
		}
		if (c.Record == nil) != (len(c.Problems) > 0) {
			t.Errorf("a cycle is read or has a problem: %v %v", c.Record, c.Problems)
		}
		if c.Record != nil {
			for _, l := range c.Record.Readings().Lines {
				if l < 1 || l > lines {
					t.Errorf("a reading on line %d of %d", l, lines)
				}
			}
			fmt.Fprintln(&b, c.Record.Header(), c.Record.Readings().Seconds, c.Record.Readings().Channels)
		}
		fmt.Fprintln(&b, c.Header, c.Problems)
	}
	fmt.Fprintf(&b, "%+v %s\n", r.Understood(), r.SHA256())
	return b.String()
}
