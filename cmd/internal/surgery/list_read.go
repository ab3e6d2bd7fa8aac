package surgery

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/gocarina/gocsv"

	"holdproof/parse"
)

// listRow is a row of a list of duties, every cell as it is written.
type listRow struct {
	Date          string `csv:"date"`
	Time          string `csv:"time"`
	Duty          string `csv:"duty"`
	Steriliser    string `csv:"steriliser"`
	Place         string `csv:"place"`
	Cycle         string `csv:"cycle"`
	Outcome       string `csv:"outcome"`
	Value         string `csv:"value"`
	Times         string `csv:"times"`
	Product       string `csv:"product"`
	Concentration string `csv:"concentration"`
	In            string `csv:"in"`
	Out           string `csv:"out"`
	Sampled       string `csv:"sampled"`
	Control       string `csv:"control"`
	Test          string `csv:"test"`
	Entry         string `csv:"entry"`
	Explains      string `csv:"explains"`
	Text          string `csv:"text"`
	Reason        string `csv:"reason"`
}

// listColumns are the columns in their order, with what stands in them.
var listColumns = [][2]string{
	{"date", "the day it belongs to: 2026-11-02; must be there"},
	{"time", "when it was done: 17:30; may be empty beside in or out, and for a closed day"},
	{"duty", "as listed above; must be there"},
	{"steriliser", "on which machine"},
	{"place", "which chair or line"},
	{"cycle", "which cycle, such as S1/1042"},
	{"outcome", "done, not done, passed or failed"},
	{"value", "the figure, with a decimal point"},
	{"times", "how often; empty: once"},
	{"product", "of a disinfection"},
	{"concentration", "of a disinfection: 3 %"},
	{"in", "when it went in: 17:30, or 2026-11-02 17:30"},
	{"out", "when it came out"},
	{"sampled", "the day on which a water sample was taken"},
	{"control", "of a spore test: grew, did not grow"},
	{"test", "of an engineer's visit: tests owed before return, with a + between"},
	{"entry", "number of the entry that this is the result of, or of a file"},
	{"explains", "what between cycles is explained, such as number-gap"},
	{"text", "in words; no names of patients"},
	{"reason", "why, where one is asked for"},
}

// ListColumns are the columns that a list of duties may have: name and what stands there.
// Those that are not needed may be left out.
func ListColumns() [][2]string { return slices.Clone(listColumns) }

// needed are the columns that a list must have.
var neededColumns = []string{"date", "duty"}

// cells are the cells in the order of listColumns.
func (l listRow) cells() []string {
	return []string{l.Date, l.Time, l.Duty, l.Steriliser, l.Place, l.Cycle, l.Outcome, l.Value, l.Times, l.Product, l.Concentration, l.In, l.Out,
		l.Sampled, l.Control, l.Test, l.Entry, l.Explains, l.Text, l.Reason}
}

// mostList is how large a list may be, bytes (ours): years of a large surgery.
const mostList = 16 << 20

// dutyList is a list of duties that was read.
type dutyList struct {
	file    string
	columns []string // of the heading
	rows    []listRow
	lines   []int // of each row, from 1
}

// place is an error at a column of a row; "" is the whole row.
func (l *dutyList) place(row int, column, want, remedy string) *parse.Error {
	e := &parse.Error{File: l.file, Line: l.lines[row], Want: want, Remedy: remedy, Found: "the row as it is"}
	i := slices.Index(l.columns, column)
	if i < 0 {
		if column != "" {
			e.Found = "no column " + column
		}
		return e
	}
	e.Column = i + 1
	k := slices.IndexFunc(listColumns, func(c [2]string) bool { return c[0] == column })
	e.Found = quoted(l.rows[row].cells()[k])
	return e
}

// quoted shortens what stands in a cell to what fits in a sentence.
func quoted(text string) string {
	if text == "" {
		return "nothing"
	}
	const most = 40
	if r := []rune(text); len(r) > most {
		text = string(r[:most]) + "…"
	}
	return strconv.Quote(text)
}

// readList reads a list of duties: a heading with known columns, in any order, each once,
// and rows of as many cells. Nothing is filled in, and nothing is converted here.
//
// Error: a [parse.Error] with line and column.
func readList(file string, src []byte) (*dutyList, error) {
	bad := func(line, column int, found, want, remedy string) error {
		return &parse.Error{File: file, Line: line, Column: column, Found: found, Want: want, Remedy: remedy}
	}
	if len(src) > mostList {
		return nil, bad(0, 0, fmt.Sprintf("%d bytes", len(src)), fmt.Sprintf("%d at most", mostList), "Divide the list.")
	}
	src = bytes.TrimPrefix(src, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(src) {
		line := 1
		for rest := src; len(rest) > 0; {
			r, n := utf8.DecodeRune(rest)
			if r == utf8.RuneError && n == 1 {
				break
			}
			if r == '\n' {
				line++
			}
			rest = rest[n:]
		}
		return nil, bad(line, 0, "bytes that are no UTF-8", "text in UTF-8", "Save the list again as CSV UTF-8.")
	}
	c := csv.NewReader(bytes.NewReader(src))
	c.Comma, c.FieldsPerRecord = separator(src), -1
	in := &listReader{csv: c, list: &dutyList{file: file}}
	var rows []listRow
	if err := gocsv.UnmarshalCSV(in, &rows); err != nil || in.err != nil {
		if in.err == nil {
			in.err = err
		}
		return nil, in.placed(file)
	}
	in.list.rows = rows
	if len(rows) == 0 {
		return nil, bad(1, 0, "a heading and no rows", "at least one row", "Write one row for each duty.")
	}
	return in.list, nil
}

// separator is what stands between the cells of the heading: the one of comma, semicolon
// and tab that is there most often.
func separator(src []byte) rune {
	heading, _, _ := bytes.Cut(src, []byte("\n"))
	best := ','
	for _, s := range ";\t" {
		if bytes.Count(heading, []byte(string(s))) > bytes.Count(heading, []byte(string(best))) {
			best = s
		}
	}
	return best
}

// listReader hands gocsv the heading and the rows, and keeps where each row began.
type listReader struct {
	csv  *csv.Reader
	list *dutyList
	err  error
}

// Read is not used by gocsv.UnmarshalCSV.
func (r *listReader) Read() ([]string, error) { return r.csv.Read() }

// ReadAll reads the whole list. Rows of empty cells, as spreadsheets leave them, say
// nothing and are passed over.
func (r *listReader) ReadAll() ([][]string, error) {
	heading, err := r.csv.Read()
	if err == io.EOF {
		err = &parse.Error{Line: 1, Found: "nothing", Want: "a heading such as date,time,duty", Remedy: "Write the names of the columns in the first line."}
	}
	if err == nil {
		err = r.heading(heading)
	}
	out := [][]string{r.list.columns}
	for err == nil {
		var cells []string
		if cells, err = r.csv.Read(); err != nil {
			break
		}
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if !slices.ContainsFunc(cells, func(c string) bool { return c != "" }) {
			continue
		}
		line, _ := r.csv.FieldPos(0)
		if len(cells) != len(heading) {
			err = &parse.Error{Line: line, Found: fmt.Sprintf("%d cells", len(cells)), Want: fmt.Sprintf("%d, as the heading has", len(heading)),
				Remedy: "Put a text that holds the separator in quotes, or add the cell that is missing."}
			break
		}
		out, r.list.lines = append(out, cells), append(r.list.lines, line)
	}
	if err != io.EOF {
		r.err = err
	}
	return out, r.err
}

// heading checks the names of the columns.
func (r *listReader) heading(cells []string) error {
	var names []string
	for _, c := range listColumns {
		names = append(names, c[0])
	}
	line, _ := r.csv.FieldPos(0)
	for i, cell := range cells {
		name := strings.ToLower(strings.TrimSpace(cell))
		e := &parse.Error{Line: line, Column: i + 1, Found: quoted(strings.TrimSpace(cell))}
		switch {
		case !slices.Contains(names, name):
			e.Want, e.Remedy = "one of "+Alternatives(names), "Take the column out, or correct its name."
			if near := Nearest(name, names); near != "" {
				e.Remedy = fmt.Sprintf("Did you mean %q?", near)
			}
			return e
		case slices.Contains(r.list.columns, name):
			e.Want, e.Remedy = "each column once", "Take one of the two out."
			return e
		}
		r.list.columns = append(r.list.columns, name)
	}
	for _, need := range neededColumns {
		if !slices.Contains(r.list.columns, need) {
			return &parse.Error{Line: line, Found: "no column " + need, Want: "the columns " + strings.Join(neededColumns, " and "), Remedy: "Add the column to the heading and to every row."}
		}
	}
	return nil
}

// placed is the error of the list with its file; that of encoding/csv in the one form of
// all errors.
func (r *listReader) placed(file string) error {
	var ours *parse.Error
	var theirs *csv.ParseError
	switch {
	case errors.As(r.err, &ours):
		ours.File = file
		return ours
	case errors.As(r.err, &theirs):
		return &parse.Error{File: file, Line: theirs.Line, Found: "a quotation mark that opens or closes nothing", Want: "text in quotes, with each mark inside it written twice",
			Remedy: "Look at the quotation marks of this row."}
	}
	return &parse.Error{File: file, Line: 1, Found: r.err.Error(), Want: "a table with a heading", Remedy: "Save the list again as CSV."}
}

var (
	listClock  = regexp.MustCompile(`^\d{2}:\d{2}$`)
	listMoment = regexp.MustCompile(`^\d{4}-\d{2}-\d{2} \d{2}:\d{2}$`)
	listFigure = regexp.MustCompile(`^-?\d{1,12}(\.\d{1,9})?$`)
	listCount  = regexp.MustCompile(`^\d{1,9}$`)
)

// figures reads the cells that hold numbers.
func (l listRow) figures(n *Noting) (column, want, remedy string) {
	for _, c := range []struct{ column, text string }{{"value", l.Value}, {"times", l.Times}, {"entry", l.Entry}} {
		switch {
		case c.text == "":
		case c.column == "value" && !listFigure.MatchString(c.text):
			return c.column, "a figure such as 134.2", "Write digits with a decimal point and no unit."
		case c.column != "value" && !listCount.MatchString(c.text):
			return c.column, "a whole number such as 3", "Write it in digits."
		}
	}
	if l.Value != "" {
		v, _ := strconv.ParseFloat(l.Value, 64) // its form was looked at
		n.Value = &v
	}
	n.Times, _ = strconv.Atoi(l.Times)
	if l.Times != "" && n.Times == 0 {
		return "times", "how often it was done, 1 or more", "Take the row out if it was not done."
	}
	return "", "", ""
}

// noting is what a row says. Column is that of the error.
func (l listRow) noting(zone *time.Location) (n Noting, column, want, remedy string) {
	day, err := time.ParseInLocation(time.DateOnly, l.Date, zone)
	if err != nil || day.Format(time.DateOnly) != l.Date {
		return n, "date", "a day such as 2026-11-02", "Write year, month and day with dashes."
	}
	n = Noting{Duty: l.Duty, Day: l.Date, Steriliser: l.Steriliser, Place: l.Place, Cycle: l.Cycle, Outcome: l.Outcome, Product: l.Product, Strength: l.Concentration,
		Sampled: l.Sampled, Control: l.Control, Explains: l.Explains, Text: l.Text, Reason: l.Reason, row: l.sum()}
	for _, c := range []struct {
		column, text string
		to           *time.Time
	}{{"time", l.Time, &n.At}, {"in", l.In, &n.From}, {"out", l.Out, &n.To}} {
		text := c.text
		switch {
		case text == "":
			continue
		case listClock.MatchString(text):
			text = l.Date + " " + text
		case !listMoment.MatchString(text):
			text = ""
		}
		if *c.to, err = time.ParseInLocation("2006-01-02 15:04", text, zone); err != nil {
			return n, c.column, "a time such as 17:30, or 2026-11-02 17:30", "Write hours and minutes with two digits each."
		}
	}
	if column, want, remedy = l.figures(&n); want != "" {
		return n, column, want, remedy
	}
	duty, _ := dutyNamed(l.Duty)
	if entry, _ := strconv.ParseInt(l.Entry, 10, 64); duty.asks(asksFile) {
		n.File = entry
	} else {
		n.Of = entry
	}
	for _, t := range strings.Split(l.Test, "+") {
		if t = strings.TrimSpace(t); t != "" {
			n.Tests = append(n.Tests, t)
		}
	}
	switch {
	case !n.At.IsZero() || l.Duty == dutyClosed:
	case !n.To.IsZero():
		n.At = n.To
	case !n.From.IsZero():
		n.At = n.From
	default:
		return n, "time", "the time at which it was done, such as 17:30", "Write the time; nothing is filled in."
	}
	return n, "", "", ""
}
