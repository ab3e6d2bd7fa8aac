package archive

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"net/url"
	"slices"
	"strings"
	"time"
	"unicode"

	"holdproof/report/daily"
	"holdproof/report/figure"
	"holdproof/validate"
)

// DayFile is the name of a day's page, seen from the first page of a bag.
func DayFile(date string) string { return "days/" + date + ".html" }

// exportFile is that of a kept export.
func exportFile(sha256 string) string { return "exports/" + sha256 + ".csv" }

// Overview is what the first page of a bag shows. Times are RFC 3339 with the surgery's
// offset, days are dates.
type Overview struct {
	Surgery  daily.Surgery
	Program  string // version of the program that made it
	From, To string // first and last day
	Machine  string // the one steriliser it is about, "" for all
	Made     string // time of the log's last entry
	LogSize  int64  // entries in the log
	LogRoot  string // its RFC 6962 root, base64 as in checkpoint.txt
	Ends     string // of which days of the period nothing is known, "" where the log reaches to its end
	Days     []OverviewDay
	Replies  []daily.Reply // to the twelve questions
}

// OverviewDay is a day of the period, in the order of the calendar.
type OverviewDay struct {
	Date    string
	Page    bool   // a page of it is in the bag
	State   string // such as signed, open, closed, nothing recorded
	Closed  string // why the surgery was closed, "" if it was not
	Tallies []daily.Tally
	Records []string // names of its signed records, the oldest first
}

// Cycles is how many cycles the day has.
func (d OverviewDay) Cycles() int {
	n := 0
	for _, t := range d.Tallies {
		n += t.Cycles
	}
	return n
}

// Weekday is the short name of the day of the week, "" for a place in a calendar that is
// not of the period.
func (d OverviewDay) Weekday() string {
	if t, err := time.Parse(time.DateOnly, d.Date); err == nil {
		return t.Format("Mon")
	}
	return ""
}

// DayPage is what the page of one day shows.
type DayPage struct {
	Day daily.Day
	// Figures holds, by cycle id, the figure of each as SVG, as report/figure draws it:
	// it stands in the page as it is. A cycle without one is shown without, and the page
	// says so.
	Figures  map[string][]byte
	State    string   // such as signed, open, closed
	Records  []string // names of its signed records, the oldest first
	Previous string   // date of the day before that has a page, "" for none
	Next     string
}

//go:embed page
var pageFiles embed.FS

// pages are the templates; that they can be read is the business of a test.
var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"mark": mark, "marks": marks, "failed": func(o validate.Outcome) bool { return o == validate.Failed },
	"day": dayWords, "moment": moment, "clock": clock, "plural": plural, "sentence": sentence, "capital": capital,
	"dayfile": DayFile, "export": exportFile, "number": func(i int) int { return i + 1 }, "join": strings.Join,
	"dom": func(date string) string { return strings.TrimPrefix(date[len(date)-2:], "0") },
}).ParseFS(pageFiles, "page/*.html"))

var pageStyle = func() template.CSS {
	css, err := pageFiles.ReadFile("page/bag.css")
	if err != nil {
		panic(err) // it is embedded
	}
	return template.CSS(string(css) + figure.Stylesheet())
}()

// WriteIndex writes the first page of a bag: the period at a glance, the answers to the
// twelve questions, and every day. The same Overview gives the same bytes.
//
// Error: the writer's.
func WriteIndex(w io.Writer, x Overview) error {
	p := overviewPage{Overview: x, Style: pageStyle, Months: months(x.Days), there: map[string]bool{}}
	for _, d := range x.Days {
		p.there[d.Date] = d.Page
	}
	return pages.ExecuteTemplate(w, "index.html", p)
}

// overviewPage is what the template of the first page is given.
type overviewPage struct {
	Overview
	Style  template.CSS
	Months []overviewMonth
	there  map[string]bool // days that have a page
}

// WriteDay writes the page of one day. Nothing of it is kept, so that the days of ten
// years can be written one after another. The same DayPage gives the same bytes.
//
// Error: the writer's.
func WriteDay(w io.Writer, p DayPage) error {
	return pages.ExecuteTemplate(w, "day.html", dayPage{p, pageStyle, citedBy(p.Day)})
}

// Small is the figure of a cycle, "" if there is none.
func (p DayPage) Small(id string) template.HTML { return template.HTML(p.Figures[id]) }

// Odd are the cycles that do not conform, in the order of their numbers.
func (p DayPage) Odd() []daily.Cycle {
	return slices.DeleteFunc(p.Day.InOrder(), func(c daily.Cycle) bool { return c.Conforms() })
}

// Newest is the name of the newest signed record of the day, "" if there is none.
func (p DayPage) Newest() string {
	if len(p.Records) == 0 {
		return ""
	}
	return p.Records[len(p.Records)-1]
}

// Called is what people call a cycle of the day; its id where it is of another.
func (p DayPage) Called(id string) string {
	if c, ok := p.Day.Find(id); ok {
		return c.Name()
	}
	return id
}

type overviewMonth struct {
	Month string // 2026-11
	Name  string
	Weeks [][7]OverviewDay
}

// months lays the days out as a calendar; a day that is not of the period has no date.
func months(days []OverviewDay) []overviewMonth {
	var out []overviewMonth
	for _, d := range days {
		t, err := time.Parse(time.DateOnly, d.Date)
		if err != nil {
			continue
		}
		weekday := (int(t.Weekday()) + 6) % 7 // Monday first
		if len(out) == 0 || out[len(out)-1].Month != d.Date[:7] {
			out = append(out, overviewMonth{Month: d.Date[:7], Name: t.Format("January 2006"), Weeks: make([][7]OverviewDay, 1)})
		} else if weekday == 0 {
			out[len(out)-1].Weeks = append(out[len(out)-1].Weeks, [7]OverviewDay{})
		}
		m := &out[len(out)-1]
		m.Weeks[len(m.Weeks)-1][weekday] = d
	}
	return out
}

// Href is the address of a reference, "" where it leads nowhere in this bag.
func (x overviewPage) Href(r daily.Reference) string {
	switch r.Kind {
	case daily.ToCycle:
		if x.there[r.Day] {
			return DayFile(r.Day) + "#" + url.PathEscape(r.ID)
		}
	case daily.ToDay:
		if x.there[r.ID] {
			return DayFile(r.ID)
		}
	case daily.ToMonth:
		return "#m-" + r.ID
	case daily.ToRecord:
		return "records/" + url.PathEscape(r.ID)
	case daily.ToPerson:
		return "#question-8"
	}
	return ""
}

// marked are the outcomes that have a proof mark.
var marked = []validate.Outcome{validate.NotProven, validate.Conforms, validate.Borderline, validate.Failed, validate.NotAssessed}

// marks draws the proof marks once for a page, to be shown many times.
func marks() template.HTML {
	var b strings.Builder
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" class="marks" aria-hidden="true" focusable="false">`)
	for _, o := range marked {
		whole := string(figure.MarkSVG(o, 3)) // our own drawing
		inner := strings.TrimSuffix(strings.TrimSpace(whole[strings.Index(whole, ">")+1:]), "</svg>")
		fmt.Fprintf(&b, "\n<symbol id=\"%s\" viewBox=\"0 0 3 3\">%s</symbol>", markID(o), strings.TrimSpace(inner))
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

func markID(o validate.Outcome) string { return "mark-" + strings.ReplaceAll(o.String(), " ", "-") }

// marksOf are the proof marks in the order of marked.
var marksOf = func() (out []template.HTML) {
	for _, o := range marked {
		out = append(out, template.HTML(`<svg class="hp-mark" aria-hidden="true" focusable="false"><use href="#`+markID(o)+`"/></svg>`))
	}
	return out
}()

// mark shows the proof mark of an outcome.
func mark(o validate.Outcome) template.HTML {
	return marksOf[max(0, slices.Index(marked, o))] // an outcome that is none is not proven
}

func dayWords(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.Format("2 Jan 2006")
}

func moment(at string) string { return written(at, "2 Jan 2006 15:04") }
func clock(at string) string  { return written(at, "15:04") }

func written(at, as string) string {
	t, err := time.Parse(time.RFC3339, at)
	if err != nil {
		return at
	}
	return t.Format(as)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// capital gives a text its capital, unless it begins with a name such as pH.
func capital(text string) string {
	first := []rune(text)
	if len(first) < 2 || !unicode.IsLower(first[0]) || !unicode.IsLower(first[1]) && first[1] != ' ' {
		return text
	}
	return string(unicode.ToUpper(first[0])) + string(first[1:])
}

// sentence gives a text its full stop.
func sentence(text string) string {
	if text == "" || strings.HasSuffix(text, ".") || strings.HasSuffix(text, "?") {
		return text
	}
	return text + "."
}
