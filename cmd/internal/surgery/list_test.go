package surgery

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"holdproof/parse"
	"holdproof/report/logbook/entry"
)

// listed writes a list and notes it.
func listed(t testing.TB, r *Records, who, text string) (ListNoted, error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "duties.csv")
	if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return r.NoteList(t.Context(), NoteList{File: file, By: as(who)})
}

// markedCell takes the mark out of a text and returns its line and the number of its cell.
// Texts here have no line end within quotes before the mark.
func markedCell(t testing.TB, in string) (text string, line, column int) {
	t.Helper()
	before, after, found := strings.Cut(in, "▶")
	if !found {
		t.Fatalf("no mark in %q", in)
	}
	last := before[strings.LastIndex(before, "\n")+1:]
	return before + after, strings.Count(before, "\n") + 1, strings.Count(last, ",") + strings.Count(last, ";") + 1
}

// In each list ▶ marks the cell that the error must name. A mark at the beginning of a
// line with a ! stands for the whole line.
var refusedLists = []struct{ why, in, says, remedy string }{
	{"no list", "▶!", "found nothing, expected a heading", "first line"},
	{"an unknown column", "date,time,▶dutty\n", `found "dutty", expected one of date, time`, `Did you mean "duty"?`},
	{"a column twice", "date,duty,▶Date\n", "each column once", "Take one"},
	{"no column of duties", "▶!date,time\n", "no column duty", "Add the column"},
	{"no rows", "▶!date,time,duty\n", "no rows", "one row"},
	{"a cell too few", "date,time,duty\n▶!2026-11-02,08:00\n", "found 2 cells, expected 3", "quotes"},
	{"a separator within a text", "date,duty,text\n▶!2026-11-02,closed day,dark, cold\n", "found 4 cells, expected 3", "in quotes"},
	{"an open quotation mark", "date,duty,text\n▶!2026-11-02,closed day,it was \"dark\n", "quotation mark", "quotation marks"},
	{"bytes that are no text", "date,duty\n▶!2026-11-02,closed d\xffy\n", "no UTF-8", "UTF-8"},
	{"a day of another form", "date,time,duty\n▶2.11.2026,08:00,cycle counter\n", `found "2.11.2026", expected a day such as 2026-11-02`, "dashes"},
	{"no such day", "date,time,duty\n▶2026-02-30,08:00,cycle counter\n", "expected a day", "dashes"},
	{"an hour of one digit", "date,time,duty\n2026-11-02,▶8:00,cycle counter\n", "expected a time such as 17:30", "two digits"},
	{"no such time", "date,time,duty\n2026-11-02,▶25:00,cycle counter\n", "expected a time", ""},
	{"no time", "date,time,duty,outcome\n2026-11-02,▶,hands and surfaces,done\n", "found nothing, expected the time", "nothing is filled in"},
	{"a decimal comma", "date;time;duty;value\n2026-11-02;08:00;cycle counter;▶12,0\n", "expected a figure such as", "decimal point"},
	{"a figure of another base", "date,time,duty,value\n2026-11-02,08:00,cycle counter,▶0x10\n", "expected a figure", ""},
	{"no number", "date,time,duty,value\n2026-11-02,08:00,cycle counter,▶NaN\n", "expected a figure", ""},
	{"half a time", "date,time,duty,place,outcome,times\n2026-11-02,08:00,suction rinsed,chair 1,done,▶1.5\n", "a whole number", ""},
	{"not once", "date,time,duty,place,outcome,times\n2026-11-02,08:00,suction rinsed,chair 1,done,▶0\n", "how often", "Take the row out"},
	{"a row twice", "date,time,duty,outcome\n2026-11-02,08:00,hands and surfaces,done\n▶!2026-11-02,08:00,hands and surfaces, done\n", "another row than that of line 2", "times"},
	{"an unknown duty", "date,time,duty,value\n2026-11-02,08:00,▶cycle countre,12\n", "is no duty", `Did you mean "cycle counter"?`},
	{"an unknown machine", "date,time,duty,steriliser,value\n2026-11-02,08:00,cycle counter,▶S7,12\n", `no steriliser "S7"`, "the column steriliser"},
	{"an outcome of another duty", "date,time,duty,outcome\n2026-11-02,08:00,hands and surfaces,▶passed\n", "needs an outcome", "the column outcome: done or not done"},
	{"no place", "date,time,duty,place,outcome\n2026-11-02,08:00,suction rinsed,▶,done\n", "needs a place", "the column place"},
	{"no figure", "date,time,duty,value\n2026-11-02,08:00,cycle counter,▶\n", "needs a figure", "the column value"},
	{"it lies ahead", "date,time,duty,outcome\n2026-11-02,▶23:00,hands and surfaces,done\n", "lies ahead", ""},
	{"a patient", "date,time,duty,outcome,text\n2026-11-02,08:00,hands and surfaces,done,▶after Mrs Miller\n", "looks like a person's name", "--yes"},
	{"no product", "date,time,duty,place,outcome,product,concentration,in\n2026-11-02,08:00,water lines disinfected,chair 1,done,▶,3 %,07:00\n", "needs a product", "the column product"},
	{"a strength that is none", "date,time,duty,place,outcome,product,concentration,in\n2026-11-02,08:00,water lines disinfected,chair 1,done,line rinse,▶strong,07:00\n", "no concentration", ""},
	{"out before in", "date,duty,place,outcome,product,concentration,in,out\n2026-11-02,water lines disinfected,chair 1,done,line rinse,3 %,07:00,▶06:00\n", "not after an in time", ""},
}

func TestRefusedLists(t *testing.T) {
	r, _ := staffed(t, rinse)
	for _, c := range refusedLists {
		whole := strings.Contains(c.in, "▶!")
		text, line, column := markedCell(t, strings.Replace(c.in, "▶!", "▶", 1))
		if whole {
			column = 0
		}
		before := tip(t, r)
		_, err := listed(t, r, "tom", text)
		var bad *ListError
		if !errors.As(err, &bad) {
			t.Errorf("%s: %v", c.why, err)
			continue
		}
		p := bad.Places[0]
		if p.Line != line || p.Column != column || !strings.HasSuffix(p.File, "duties.csv") || !strings.Contains(p.line(), c.says) || !strings.Contains(p.Remedy, c.remedy) || p.Remedy == "" {
			t.Errorf("%s: at %d:%d, want %d:%d\n%s\n%s", c.why, p.Line, p.Column, line, column, p.line(), p.Remedy)
		}
		if tip(t, r) != before {
			t.Errorf("%s: something was kept", c.why)
		}
	}
}

// tip is the number of entries.
func tip(t testing.TB, r *Records) int64 {
	t.Helper()
	c, err := r.book.Checkpoint(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return c.Size
}

// A day of duties kept elsewhere: semicolons, a byte order mark, columns in another
// order, a line end within a text, empty rows. The result of a spore test may stand
// behind its beginning.
const goodList = "\ufeffduty;Time;Date;place;steriliser;outcome;value;times;product;concentration;in;out;text\r\n" +
	"water lines flushed;07:10;2026-11-02;chair 1;;done;2;;;;;;\r\n" +
	"water lines rinsed;12:00;2026-11-02;chair 1;;done;25;11;;;;;\r\n" +
	";;;;;;;;;;;;\r\n" +
	"water lines disinfected;;2026-11-02;chair 1;;done;;;Line rinse;3 %;17:00;17:12;\"the left\nand the right one\"\r\n" +
	"water lines disinfected;;2026-11-02;chair 2;;;;;Line rinse;3 %;17:00;17:04;\r\n" +
	"clock checked;08:00;2026-11-02;;S1;;-12.5;;;;;;\r\n"

func TestList(t *testing.T) {
	r, _ := staffed(t, rinse)
	done, err := listed(t, r, "tom", goodList)
	if err != nil {
		t.Fatal(err)
	}
	if len(done.Notes) != 5 || done.Again != 0 {
		t.Fatalf("%+v", done)
	}
	for i, want := range []struct {
		line    int
		duty    string
		at      string
		outcome string
	}{{2, "water lines flushed", "07:10", "done"}, {3, "water lines rinsed", "12:00", "done"}, {5, dutyDisinfected, "17:12", "done"}, {7, dutyDisinfected, "17:04", "failed"}, {8, dutyClock, "08:00", ""}} {
		n := done.Notes[i]
		e := entryOf[entry.Note](t, r, n.Entry)
		if n.Line != want.line || e.Said.Duty != want.duty || e.At.Format("15:04") != want.at || e.Said.Outcome != want.outcome || e.By != "tom" || dataOf(e.Said).Row == "" {
			t.Errorf("line %d: %+v", n.Line, e)
		}
	}
	if d := dataOf(entryOf[entry.Note](t, r, done.Notes[1].Entry).Said); d.Times != 11 {
		t.Errorf("%+v", d)
	}

	// The same again adds nothing, also after one of them was put right and one taken back,
	// and in other words of the same rows.
	for _, c := range []Correcting{{Entry: done.Notes[0].Entry, Note: Noting{Text: "again"}, By: as("tom"), Reason: "more to say"}, {Entry: done.Notes[4].Entry, Withdraw: true, By: as("tom"), Reason: "another clock"}} {
		if _, err := r.Correct(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	before := tip(t, r)
	again, err := listed(t, r, "tom", strings.ReplaceAll(goodList, "\r\n", "\n"))
	if err != nil || len(again.Notes) != 0 || again.Again != 5 || tip(t, r) != before {
		t.Errorf("%+v %v", again, err)
	}
	more, err := listed(t, r, "tom", goodList+"hands and surfaces;17:30;2026-11-02;;;done;;3;;;;;\r\n")
	if err != nil || len(more.Notes) != 1 || more.Again != 5 {
		t.Errorf("%+v %v", more, err)
	}
	sound(t, r)
}

// Of a list with one bad row nothing is kept, and all bad rows are named; a row may be
// the result of one before it.
func TestListAllOrNone(t *testing.T) {
	r, at := staffed(t)
	at.set(evening.Add(72 * time.Hour))
	list := "date,time,duty,steriliser,outcome,value,in,control,text\n" +
		"2026-11-02,,spore test started,S1,,48,17:00,,\n" +
		"2026-11-04,17:00,spore test read,S1,passed,,,grew,\n"
	before := tip(t, r)
	_, err := listed(t, r, "tom", list+"2026-11-04,17:05,spore test read,S1,passed,,,grew,\n2026-11-04,17:06,cycle counter,S1,,,,,\n")
	var bad *ListError
	if !errors.As(err, &bad) || len(bad.Places) != 2 || bad.Places[0].Line != 4 || bad.Places[1].Line != 5 || tip(t, r) != before || !strings.Contains(err.Error(), "Nothing of the list was noted") {
		t.Fatalf("%v", err)
	}
	done, err := listed(t, r, "tom", list)
	if err != nil || len(done.Notes) != 2 {
		t.Errorf("%+v %v", done, err)
	}
	_, err = listed(t, r, "tom", "date,time,duty,steriliser,text\n2026-11-02,08:00,out of service,S1,x\n2026-11-02,08:01,back in service,S1,x\n")
	if !errors.As(err, &bad) || !strings.Contains(err.Error(), "tom may not put a steriliser back in service") {
		t.Errorf("%v", err)
	}
	_, err = listed(t, r, "nobody", list)
	refusedFor(t, err, "nobody has the id", "")
}

// FuzzList: whatever the bytes, a list is read or refused with a place in it and a
// remedy; a row that is read has as many cells as its heading, a known form of day and
// time, and a time that it names itself.
func FuzzList(f *testing.F) {
	f.Add([]byte(goodList))
	for _, c := range refusedLists {
		f.Add([]byte(strings.NewReplacer("▶!", "", "▶", "").Replace(c.in)))
	}
	f.Add([]byte("date\tduty\n2026-11-02\tclosed day\n"))
	f.Add([]byte("date,duty\n\"2026-11-02\",\"closed \"\"day\"\"\"\n\n\n"))
	f.Fuzz(func(t *testing.T, src []byte) {
		list, err := readList("duties.csv", src)
		if err != nil {
			var p *parse.Error
			if !errors.As(err, &p) || p.File != "duties.csv" || p.Found == "" || p.Want == "" || p.Remedy == "" || p.Line < 1 || p.Line > strings.Count(string(src), "\n")+2 || p.Column < 0 {
				t.Fatalf("refused as %+v", err)
			}
			return
		}
		if len(list.rows) == 0 || len(list.rows) != len(list.lines) || !utf8.Valid(src) {
			t.Fatalf("%d rows, %d lines", len(list.rows), len(list.lines))
		}
		for i, row := range list.rows {
			if i > 0 && list.lines[i] <= list.lines[i-1] {
				t.Fatalf("row %d stands at line %d, the one before at %d", i, list.lines[i], list.lines[i-1])
			}
			n, column, want, remedy := row.noting(time.UTC)
			switch {
			case want != "":
				if e := list.place(i, column, want, remedy); remedy == "" || e.Error() == "" || e.Line != list.lines[i] {
					t.Fatalf("%+v", e)
				}
			case n.Day != row.Date || n.At.IsZero() && row.Duty != dutyClosed || row.Value == "" != (n.Value == nil) || n.row != row.sum():
				t.Fatalf("%+v is read as %+v", row, n)
			}
		}
	})
}
