// Package routine knows what a day, a week and a year of a surgery owe beside the
// sterilising cycles, country by country, and tells what of it was done.
//
// The lines stand in routines.csv, how long records are kept in retention.csv; each has
// its source and how sure that is. The package reads no clock and no logbook: facts go
// in, and the state of every line comes out, whatever the order of the entries.
package routine

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gocarina/gocsv"
)

// Own is the name of the routine of those who have none of the others: common practice,
// to be changed.
const Own = "own"

// Routine is what is owed in one country.
type Routine struct {
	Name  string
	Lines []Line // in the order of the day
}

// Line is one duty.
type Line struct {
	Duty       string // its name, as entries have it
	What       string // a sentence
	When       string // start of day, between patients, end of day, weekly, quarterly, yearly, by use
	Every      Every  // the longest time from one to the next; zero: as it occurs
	Per        string // steriliser, vacuum steriliser, vacuum steriliser with (without) air detector, water line, load, surgery
	BeforeLoad bool   // when it is due, no load before it has passed
	Proof      string // what shows that it was done: note, release, signature
	Unit       string // of its figure, "" if it has none
	Low, High  *float64
	// Low and High are the limits of the figure, ends included, nil if there is none.
	NeedsFigure bool // without a figure it was not shown to be done
	Source      string
	Sure        string // read, second-hand, memory, computed
	LimitSource string // of Low and High, "" if there is none
	LimitSure   string
	Note        string // what else should be known, "" nothing
	Changed     string // why the surgery changed the line, "" if it did not
}

// Every is an interval of the local calendar.
type Every struct{ Days, Months int }

// String returns the printed form, such as 7 days.
func (e Every) String() string {
	n, word := e.Days, "day"
	if e.Months > 0 {
		n, word = e.Months, "month"
	}
	switch n {
	case 0:
		return "as it occurs"
	case 1:
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// after is the day one interval later; the last of a month stays one where the month
// is shorter.
func (e Every) after(day time.Time) time.Time {
	if e.Months == 0 {
		return day.AddDate(0, 0, e.Days)
	}
	first := time.Date(day.Year(), day.Month()+time.Month(e.Months), 1, 0, 0, 0, 0, time.UTC)
	last := first.AddDate(0, 1, -1).Day()
	return first.AddDate(0, 0, min(day.Day(), last)-1)
}

// Retention is how long records are kept somewhere: shown, and never acted on.
type Retention struct {
	Routine      string // the routine it goes with, "" none
	Jurisdiction string
	Of           string // all, water lines
	Years        int
	Least        string // at least, for example
	From         string // what the years count from
	Source       string
	Sure         string
}

//go:embed routines.csv
var routinesCSV []byte

//go:embed retention.csv
var retentionCSV []byte

// builtIn are the tables of the program. That they can be read is a test's business; a
// program that cannot read its own table must not run.
var builtIn = sync.OnceValues(func() ([]Routine, []Retention) {
	rs, err := readRoutines(routinesCSV)
	if err != nil {
		panic(err)
	}
	ks, err := readRetention(retentionCSV)
	if err != nil {
		panic(err)
	}
	return rs, ks
})

// Names are the names of the routines, in order of the alphabet.
func Names() []string {
	rs, _ := builtIn()
	var names []string
	for _, r := range rs {
		names = append(names, r.Name)
	}
	slices.Sort(names)
	return names
}

// Named returns a routine, a fresh copy at each call; false if there is none.
func Named(name string) (Routine, bool) {
	rs, _ := builtIn()
	for _, r := range rs {
		if r.Name == name {
			return r.clone(), true
		}
	}
	return Routine{}, false
}

func (r Routine) clone() Routine {
	out := Routine{r.Name, slices.Clone(r.Lines)}
	for i, l := range out.Lines {
		out.Lines[i].Low, out.Lines[i].High = fresh(l.Low), fresh(l.High)
	}
	return out
}

func fresh(v *float64) *float64 {
	if v == nil {
		return nil
	}
	w := *v
	return &w
}

// Retentions returns all rows on how long records are kept.
func Retentions() []Retention {
	_, ks := builtIn()
	return slices.Clone(ks)
}

type lineRow struct {
	Routine     string `csv:"routine"`
	Duty        string `csv:"duty"`
	When        string `csv:"when"`
	Every       string `csv:"every"`
	Per         string `csv:"per"`
	BeforeLoad  string `csv:"before_first_load"`
	Proof       string `csv:"proof"`
	Unit        string `csv:"unit"`
	Low         string `csv:"low"`
	High        string `csv:"high"`
	Needs       string `csv:"needs"`
	What        string `csv:"what"`
	Source      string `csv:"source"`
	Sure        string `csv:"sure"`
	LimitSource string `csv:"limit_source"`
	LimitSure   string `csv:"limit_sure"`
	Note        string `csv:"note"`
}

// The words that a column may hold.
var (
	whens  = []string{"start of day", "between patients", "end of day", "weekly", "quarterly", "yearly", "by use"}
	pers   = []string{perSteriliser, perVacuum, perWithDetector, perWithoutDetector, perWaterLine, perLoad, perSurgery}
	proofs = []string{"note", "release", "signature"}
	sures  = []string{"read", "second-hand", "memory", "computed"}
	yesNo  = []string{"no", "yes"}
	needs  = []string{"", "figure"}
)

// For what a line is.
const (
	perSteriliser      = "steriliser"
	perVacuum          = "vacuum steriliser"
	perWithDetector    = "vacuum steriliser with air detector"
	perWithoutDetector = "vacuum steriliser without air detector"
	perWaterLine       = "water line"
	perLoad            = "load"
	perSurgery         = "surgery"
)

func table(src []byte) *csv.Reader {
	r := csv.NewReader(bytes.NewReader(src))
	r.Comment = '#'
	return r
}

// readRoutines reads the table of routines. A word that no column knows, a line that
// stands twice and a number that is none are errors with the routine and the duty.
func readRoutines(src []byte) ([]Routine, error) {
	var rows []lineRow
	if err := gocsv.UnmarshalCSV(table(src), &rows); err != nil {
		return nil, fmt.Errorf("routines.csv: %w", err)
	}
	var out []Routine
	seen := map[string]bool{}
	for _, row := range rows {
		l, err := row.line()
		key := row.Routine + "\x00" + row.Duty + "\x00" + row.Per
		switch {
		case err != nil:
			return nil, fmt.Errorf("routines.csv: %s, %s: %w", row.Routine, row.Duty, err)
		case row.Routine == "":
			return nil, fmt.Errorf("routines.csv: %s: found no routine, expected its name", row.Duty)
		case seen[key]:
			return nil, fmt.Errorf("routines.csv: %s, %s: found twice for each %s", row.Routine, row.Duty, row.Per)
		}
		seen[key] = true
		i := slices.IndexFunc(out, func(r Routine) bool { return r.Name == row.Routine })
		if i < 0 {
			i = len(out)
			out = append(out, Routine{Name: row.Routine})
		}
		out[i].Lines = append(out[i].Lines, l)
	}
	return out, nil
}

func (row lineRow) line() (Line, error) {
	l := Line{Duty: row.Duty, What: row.What, When: row.When, Per: row.Per, BeforeLoad: row.BeforeLoad == "yes",
		Proof: row.Proof, Unit: row.Unit, NeedsFigure: row.Needs == "figure", Source: row.Source, Sure: row.Sure,
		LimitSource: row.LimitSource, LimitSure: row.LimitSure, Note: row.Note}
	for _, w := range []struct {
		column, word string
		of           []string
	}{{"when", row.When, whens}, {"per", row.Per, pers}, {"before_first_load", row.BeforeLoad, yesNo}, {"proof", row.Proof, proofs},
		{"needs", row.Needs, needs}, {"sure", row.Sure, sures}, {"limit_sure", row.LimitSure, append([]string{""}, sures...)}} {
		if !slices.Contains(w.of, w.word) {
			return Line{}, fmt.Errorf("%s: found %q, expected one of %s", w.column, w.word, strings.Join(w.of, ", "))
		}
	}
	for _, w := range [][2]string{{"duty", row.Duty}, {"what", row.What}, {"source", row.Source}} {
		if strings.TrimSpace(w[1]) == "" {
			return Line{}, fmt.Errorf("%s: found nothing, expected words", w[0])
		}
	}
	var err error
	if l.Every, err = every(row.Every); err != nil {
		return Line{}, err
	}
	if (l.Every == Every{}) != (row.When == "between patients" || row.When == "by use") {
		return Line{}, fmt.Errorf("every: found %q, which does not go with %s", row.Every, row.When)
	}
	if l.Low, err = limit("low", row.Low); err != nil {
		return Line{}, err
	}
	if l.High, err = limit("high", row.High); err != nil {
		return Line{}, err
	}
	limited := l.Low != nil || l.High != nil
	if limited != (row.LimitSource != "") || limited != (row.LimitSure != "") || (limited || l.NeedsFigure) && row.Unit == "" {
		return Line{}, fmt.Errorf("found a limit without unit or source, or a source without limit, expected all of them or none")
	}
	return l, nil
}

// every reads an interval such as 7 days.
func every(text string) (Every, error) {
	if text == "" {
		return Every{}, nil
	}
	number, unit, _ := strings.Cut(text, " ")
	n, err := strconv.Atoi(number)
	if err == nil && 1 <= n && n <= 120 {
		switch strings.TrimSuffix(unit, "s") {
		case "day":
			return Every{Days: n}, nil
		case "month":
			return Every{Months: n}, nil
		}
	}
	return Every{}, fmt.Errorf("every: found %q, expected days or months such as 7 days, at most 120", text)
}

func limit(column, text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return nil, fmt.Errorf("%s: found %q, expected a number of 0 or more", column, text)
	}
	return &v, nil
}

type retentionRow struct {
	Routine      string `csv:"routine"`
	Jurisdiction string `csv:"jurisdiction"`
	Of           string `csv:"of"`
	Years        string `csv:"years"`
	Least        string `csv:"least"`
	From         string `csv:"from"`
	Source       string `csv:"source"`
	Sure         string `csv:"sure"`
}

func readRetention(src []byte) ([]Retention, error) {
	var rows []retentionRow
	if err := gocsv.UnmarshalCSV(table(src), &rows); err != nil {
		return nil, fmt.Errorf("retention.csv: %w", err)
	}
	var out []Retention
	for _, r := range rows {
		years, err := strconv.Atoi(r.Years)
		if err != nil || years < 1 || r.Jurisdiction == "" || r.From == "" || r.Source == "" || !slices.Contains(sures, r.Sure) ||
			!slices.Contains([]string{"all", "water lines"}, r.Of) || !slices.Contains([]string{"at least", "for example"}, r.Least) {
			return nil, fmt.Errorf("retention.csv: %q: a column is empty or holds a word it does not know", r.Jurisdiction)
		}
		out = append(out, Retention{r.Routine, r.Jurisdiction, r.Of, years, r.Least, r.From, r.Source, r.Sure})
	}
	return out, nil
}
