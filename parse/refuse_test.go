package parse

import (
	"strings"
	"testing"
)

// A ▶ in the input marks the cell where the error must point, a ▷ the line; no
// line and no column is typed by hand. Without a mark the whole file is meant.
const (
	cellMark = "▶"
	lineMark = "▷"
)

// unmark takes the mark out and returns the place it stood at.
func unmark(t *testing.T, in string, comma string) (text string, line, column int) {
	t.Helper()
	for _, m := range []string{cellMark, lineMark} {
		before, after, ok := strings.Cut(in, m)
		if !ok {
			continue
		}
		line = strings.Count(before, "\n") + 1
		if m == cellMark {
			column = strings.Count(before[strings.LastIndex(before, "\n")+1:], comma) + 1
		}
		if strings.ContainsAny(after, cellMark+lineMark) {
			t.Fatalf("two marks in %q", in)
		}
		return before + after, line, column
	}
	return in, 0, 0
}

const (
	head  = "time,chamber temperature [°C],pressure [kPa abs]\n"
	row0  = "2026-03-11T08:14:03,20.1,101.3\n"
	row1  = "2026-03-11T08:14:04,20.2,101.3\n"
	row2  = "2026-03-11T08:14:05,20.3,101.3\n"
	later = "2026-03-11T09:14:05,20.3,101.3\n2026-03-11T09:14:06,20.3,101.3\n"
)

func hinted1(h Hints) Options {
	return Options{Sterilisers: []Steriliser{{ID: "S1", Serial: "TQ-0417", Hints: h}}}
}

// What is refused: a file at once or a cycle among others. want and remedy are
// words that must stand in the sentences.
var refused = []struct {
	why, in       string
	options       Options
	found, want   string
	remedy, key   string
	good, bad     int  // cycles read, cycles refused
	file          bool // the file, not a cycle, is refused
	comma         string
	startKnown    bool
	otherProblems int // beside the one that is marked
}{
	{why: "nothing in it", in: "", found: "empty", want: "table with readings", remedy: "Export the cycle again", file: true},
	{why: "blanks only", in: " \r\n\t\r\n", found: "empty", want: "table with readings", remedy: "Export the cycle again", file: true},
	{why: "a heading and nothing else", in: lineMark + head, found: "headings without readings", want: "readings under", remedy: "holds no reading", file: true},
	{why: "no heading", in: row0 + row1, found: "no line with the headings", want: "Time;Chamber", remedy: "CSV with headings", key: keyColumns, file: true},
	{why: "a letter", in: "Dear colleague,\nthe cycle was fine.\n", found: "no line with the headings", want: "Time;Chamber", remedy: "CSV with headings", key: keyColumns, file: true},
	{why: "a PDF", in: lineMark + "%PDF-1.4\n1 0 obj\n", found: "PDF", want: "CSV export", remedy: "export as CSV", file: true},
	{why: "a Zip", in: lineMark + "PK\x03\x04\x14\x00\x00\x00", found: "Zip", want: "CSV export", remedy: "export as CSV", file: true},
	{why: "bytes", in: lineMark + "\x7f\x01\x00\x00\x02\x00\x03\n\x00", found: "byte 0", want: "table as text", remedy: "not a CSV export", file: true},
	{why: "a zero byte among the readings", in: head + row0 + lineMark + "2026-03-11T08:14:04,20\x00,101.3\n", found: "byte 0", want: "table as text", remedy: "damaged", file: true},
	{why: "UTF-16 with half a character", in: lineMark + "\xff\xfet\x00i\x00m\x00e\x00\x00\xd8,\x00", found: "not UTF-16 LE", want: "text, in UTF-16 LE", remedy: "damaged", file: true},
	{why: "no time", in: lineMark + "chamber temperature [°C],pressure [kPa abs]\n20.1,101.3\n", found: "without a time", want: "Time", remedy: "name it in holdproof.yaml", key: keyColumns, file: true},
	{why: "no temperature", in: lineMark + "time,pressure [kPa abs]\n2026-03-11T08:14:03,101.3\n", found: "without a temperature", want: "Chamber temperature", remedy: "name it in holdproof.yaml", key: keyColumns, file: true},
	{why: "two pressures", in: "time,chamber [°C],pressure [kPa abs],▶pressure 2 [kPa abs]\n", found: "pressure 2", want: "column 3", remedy: "which of the two", key: keyColumns, file: true},
	{why: "one heading twice", in: "time,chamber [°C],▶chamber [°C],pressure [kPa abs]\n", found: "twice", want: "column 2", remedy: "different names", file: true},
	{why: "two times", in: "time,▶clock,chamber [°C]\n", found: "clock", want: "column 1", remedy: "which of the two", key: keyColumns, file: true},
	{why: "a pressure without unit", in: "time,chamber [°C],▶pressure\n", found: "pressure", want: "Pressure [kPa abs]", remedy: "unit of this column", key: keyColumns, file: true},
	{why: "a temperature without unit and no unit anywhere", in: "time,▶chamber temperature\n", found: "chamber temperature", want: "[°C]", remedy: "unit of this column", key: keyColumns, file: true},
	{why: "a temperature without unit beside one in °F", in: "time,chamber temperature [°F],▶load temperature,pressure [psia]\n", found: "load", want: "[°C]", remedy: "unit of this column", key: keyColumns, file: true},
	{why: "heading and configuration say different references", in: "time,chamber [°C],▶pressure [kPa abs]\n", options: hinted1(Hints{Pressure: "gauge"}),
		found: "absolute", want: "pressure: gauge", remedy: "contradict", key: "sterilisers[].export.pressure", file: true},
	{why: "heading and configuration say different units", in: "time,▶chamber [°C],pressure [kPa abs]\n", options: hinted1(Hints{Columns: []ColumnHint{{"chamber", "chamber temperature", "degF"}}}),
		found: "chamber", want: "degF", remedy: "contradict", key: keyColumns, file: true},
	{why: "the configuration makes a pressure of a temperature", in: "time,▶chamber [°C],pressure [kPa abs]\n", options: hinted1(Hints{Columns: []ColumnHint{{"chamber [°C]", "pressure", ""}}}),
		found: "chamber", want: "pressure", remedy: "contradict", key: keyColumns, file: true},
	{why: "an unknown configured unit", in: "time,▶Tc,pressure [kPa abs]\n", options: hinted1(Hints{Columns: []ColumnHint{{"Tc", "chamber temperature", "furlong"}}}),
		found: "furlong", want: "degC", remedy: "unit", key: keyColumns, file: true},
	{why: "the other decimal sign than configured", in: lineMark + "time;chamber [°C];pressure [kPa abs]\n2026-03-11T08:14:03;20.1;101.3\n", options: hinted1(Hints{Decimal: ","}), comma: ";",
		found: "other decimal sign", want: "configuration", remedy: "decimal sign", key: "sterilisers[].export.decimal", file: true},
	{why: "day and month", in: "date,time,chamber [°C]\n▶03/04/2026,09:00:00,20.1\n03/04/2026,09:00:01,20.2\n", found: "03/04/2026", want: "day and month", remedy: "holdproof.yaml", key: keyDateOrder, file: true},
	{why: "day and month of a preamble", in: "Date,▶03/04/2026\ntime,chamber [°C]\n09:00:00,20.1\n09:00:01,20.2\n", found: "03/04/2026", want: "day and month", remedy: "holdproof.yaml", key: keyDateOrder, file: true},
	{why: "the other order than configured", in: "date,time,chamber [°C]\n▶25/04/2026,09:00:00,20.1\n", options: hinted1(Hints{DateOrder: "mdy"}), found: "25/04/2026", want: "order mdy", remedy: "correct the order of day", key: keyDateOrder, file: true},
	{why: "two orders in one file", in: "date,time,chamber [°C]\n04/25/2026,09:00:00,20.1\n▶25/04/2026,09:00:01,20.1\n", found: "25/04/2026", want: "order mdy", remedy: "apart", bad: 1, startKnown: true},
	{why: "a year of two digits may stand first", in: "date,time,chamber [°C]\n▶25/04/26,09:00:00,20.1\n", found: "25/04/26", want: "day and month", remedy: "holdproof.yaml", key: keyDateOrder, file: true},
	{why: "dates before the settings of a steriliser nobody configured", in: "Serial No,Z9\ndate,time,chamber [°C]\n▶03/04/2026,09:00:00,20.1\n", options: hinted1(Hints{DateOrder: "mdy"}), found: "03/04/2026", want: "day and month", remedy: `names the steriliser "Z9"`, key: keyDateOrder, file: true},
	{why: "a blank time", in: head + row0 + "▶,20.2,101.3\n" + row2, found: "nothing", want: "a time such as", remedy: "Export the cycle again", bad: 1, startKnown: true},
	{why: "a time that is none", in: head + row0 + "▶2026-03-11T08:61:04,20.2,101.3\n" + row2, found: "08:61:04", want: "a time such as", remedy: "Export the cycle again", bad: 1, startKnown: true},
	{why: "a day that is none", in: head + row0 + "▶2026-02-30T08:14:04,20.2,101.3\n", found: "2026-02-30", want: "a time such as", remedy: "Export the cycle again", bad: 1, startKnown: true},
	{why: "a word for a time among the readings", in: head + row0 + "▶never,20.2,101.3\n" + row2, found: "never", want: "a time such as", remedy: "Export the cycle again", bad: 1, startKnown: true},
	{why: "the clock runs backwards", in: head + row1 + "▶2026-03-11T08:14:03,20.1,101.3\n" + row2, found: "1 s before", want: "after the reading above", remedy: "oldest reading first", bad: 1, startKnown: true},
	{why: "newest reading first", in: head + row2 + "▶" + row1 + row0, found: "1 s before", want: "after the reading above", remedy: "oldest reading first", bad: 1, startKnown: true},
	{why: "six readings under one stamp", in: head + strings.Repeat(row0, 5) + "▶" + row0 + row1, found: "6 readings under one time stamp", want: "at most 5", remedy: "seconds of each reading", bad: 1, startKnown: true},
	{why: "one stamp for all readings", in: head + lineMark + row0 + row0 + row0, found: "3 readings under one time stamp", want: "for each reading", remedy: "seconds of each reading", bad: 1, startKnown: true},
	{why: "a cell too few", in: head + row0 + "2026-03-11T08:14:04,▶20.2\n" + row2, found: "2 cells", want: "3 cells", remedy: "a cell is missing", bad: 1, startKnown: true},
	{why: "a cell too many", in: head + row0 + "2026-03-11T08:14:04,20.2,101.3,▶7\n" + row2, found: "4 cells", want: "3 cells", remedy: "semicolons", bad: 1, startKnown: true},
	{why: "decimal commas between commas", in: head + "2026-03-11T08:14:04,20,2,▶101,3\n", found: "5 cells", want: "3 cells", remedy: "semicolons", bad: 1},
	{why: "cut off in a row", in: head + row0 + row1 + lineMark + "2026-03-11T08:1", found: "ends in its middle", want: "3 cells", remedy: "cut off", bad: 1, startKnown: true},
	{why: "cut off in a number", in: head + row0 + row1 + lineMark + "2026-03-11T08:14:05,20", found: "ends in its middle", want: "3 cells", remedy: "cut off", bad: 1, startKnown: true},
	{why: "a quote left open", in: head + row0 + lineMark + "2026-03-11T08:14:04,\"20.2,101.3\n" + row2, found: "still open", want: "in quotation marks from end to end", remedy: "Export the cycle again", bad: 1, startKnown: true},
	{why: "a quote in a cell", in: head + row0 + lineMark + "2026-03-11T08:14:04,20\"2,101.3\n" + row2, found: "opens or closes no cell", want: "in quotation marks", remedy: "Export the cycle again", bad: 1, startKnown: true},
	{why: "elapsed without a start", in: "elapsed [s],chamber [°C]\n▶0,20.1\n1,20.2\n", found: "without a date", want: "Start: 2026-11-02", remedy: "date and time of its start", bad: 1},
	{why: "a time of day without a date", in: "time,chamber [°C]\n▶08:14:03,20.1\n08:14:04,20.2\n", found: "without a date", want: "Date: 2026-11-02", remedy: "with its date", bad: 1},
	{why: "midnight or the start", in: "Date: 2026-03-11\ntime,chamber [°C]\n▶00:00:00,20.1\n00:00:01,20.2\n", found: "00:00:00", want: "the start of the cycle", remedy: "may be midnight", bad: 1},
	{why: "another steriliser than asked for", in: "Serial No,TQ-0418\n" + head + lineMark + row0 + row1, options: Options{Only: "S1", Sterilisers: []Steriliser{{ID: "S1"}, {ID: "S2", Serial: "TQ-0418"}}},
		found: "TQ-0418", want: "S1", remedy: "the one that the record names", bad: 1, startKnown: true},
	{why: "a bad cycle between two good ones", in: head + row0 + row1 + strings.Replace(later, "2026-03-11T09:14:06", "▶2026-03-11T09:14:66", 1) + strings.ReplaceAll(later, "T09", "T11"), found: "09:14:66", want: "a time such as", remedy: "Export", good: 2, bad: 1, startKnown: true},
	{why: "a bad heading among good ones", in: "Cycle No,1\n" + head + row0 + row1 + "Cycle No,2\ntime,chamber temperature [°C],▶pressure\n" + later + "Cycle No,3\n" + head + strings.ReplaceAll(later, "T09", "T11"), found: "pressure", want: "kPa abs", remedy: "unit", key: keyColumns, good: 2, bad: 1},
	{why: "a cycle that is announced only", in: head + row0 + row1 + lineMark + "Cycle No,1043\nProgramme,134\n", found: "1043", want: "readings below", remedy: "Export that cycle again", good: 1, file: true},
	{why: "elapsed times that start anew", in: "Start: 2026-03-11 08:14:03\ncycle number,elapsed [s],chamber [°C]\n1,0,20.1\n1,1,20.2\n2,▶0,20.1\n2,1,20.2\n", found: "new start", want: "start of this cycle", remedy: "on its own", good: 1, bad: 1},
}

func TestRefused(t *testing.T) {
	for _, c := range refused {
		t.Run(c.why, func(t *testing.T) {
			comma := c.comma
			if comma == "" {
				comma = ","
			}
			text, line, column := unmark(t, c.in, comma)
			cycles, bad := readAll("monday.csv", text, c.options)
			var all []*Error
			good, refused := 0, 0
			for _, cy := range cycles {
				all = append(all, cy.Problems...)
				if cy.Record != nil {
					good++
					continue
				}
				refused++
				if c.startKnown == cy.Header.Start.IsZero() {
					t.Errorf("start %v, known: %v", cy.Header.Start, c.startKnown)
				}
			}
			if bad != nil {
				all = append(all, bad)
			}
			if (bad != nil) != c.file || good != c.good || refused != c.bad || len(all) != 1+c.otherProblems {
				t.Fatalf("file refused: %v; %d good, %d bad; problems %v", bad, good, refused, all)
			}
			e := all[0]
			if e.File != "monday.csv" || e.Line != line || e.Column != column {
				t.Errorf("points at %s:%d:%d, want line %d, column %d\n%v", e.File, e.Line, e.Column, line, column, e)
			}
			if !strings.Contains(e.Found, c.found) || !strings.Contains(e.Want, c.want) || !strings.Contains(e.Remedy, c.remedy) || e.Key != c.key {
				t.Errorf("found %q, want %q, remedy %q, key %q", e.Found, e.Want, e.Remedy, e.Key)
			}
			if !strings.Contains(e.Remedy, e.Key) {
				t.Errorf("the remedy does not name %s: %s", e.Key, e.Remedy)
			}
			if !strings.HasSuffix(e.Remedy, ".") || strings.HasSuffix(e.Error(), ".") {
				t.Errorf("the remedy is a sentence, the message is none: %v / %s", e, e.Remedy)
			}
		})
	}
}
