package parse

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"

	"github.com/gocarina/gocsv"

	"holdproof/parse/cycle"
)

//go:embed words.csv
var wordsCSV []byte

//go:embed units.csv
var unitsCSV []byte

// wordRow is a line of words.csv, unitRow one of units.csv.
type wordRow struct {
	Language string `csv:"language"`
	Role     string `csv:"role"`
	Word     string `csv:"word"`
}

type unitRow struct {
	Quantity string `csv:"quantity"`
	Unit     string `csv:"unit"`
	Spelling string `csv:"spelling"`
	KPa      string `csv:"kpa"`
	Where    string `csv:"where"`
}

// wordTable maps folded words and phrases to their role.
type wordTable struct {
	role    map[string]string
	longest int // words in the longest phrase
}

// unit is a unit of a heading. For a pressure, kPa = value × 10^tens × mul / div.
type unit struct {
	quantity string // temperature, pressure, time, date, reference
	name     string // as the table prints it
	tens     int
	mul, div float64
	short    bool
}

type unitTable struct {
	spelling map[string]unit
	longest  int
}

// words and units are the embedded tables, read once. They never change after, so
// that the same bytes give the same record.
var (
	words = sync.OnceValue(func() *wordTable { return must(readWords(wordsCSV)) })
	units = sync.OnceValue(func() *unitTable { return must(readUnits(unitsCSV)) })
)

// must panics on a table that cannot be read: it was compiled in, and a test reads it.
func must[T any](t T, err error) T {
	if err != nil {
		panic(err)
	}
	return t
}

func tableReader(src []byte) *csv.Reader {
	r := csv.NewReader(bytes.NewReader(src))
	r.Comment = '#'
	return r
}

// readWords reads a table of words. An unknown role, a word of no letters and a
// word that stands twice are errors.
func readWords(src []byte) (*wordTable, error) {
	var rows []wordRow
	if err := gocsv.UnmarshalCSV(tableReader(src), &rows); err != nil {
		return nil, fmt.Errorf("words.csv: %w", err)
	}
	t := &wordTable{role: make(map[string]string, len(rows))}
	for _, w := range rows {
		key := fold(w.Word)
		if key == "" || w.Language == "" || !knownRole[w.Role] {
			return nil, fmt.Errorf("words.csv: %q: language %q and role %q say nothing", w.Word, w.Language, w.Role)
		}
		if before, twice := t.role[key]; twice {
			return nil, fmt.Errorf("words.csv: %q stands for %s and again for %s", w.Word, before, w.Role)
		}
		t.role[key] = w.Role
		t.longest = max(t.longest, strings.Count(key, " ")+1)
	}
	return t, nil
}

func readUnits(src []byte) (*unitTable, error) {
	var rows []unitRow
	if err := gocsv.UnmarshalCSV(tableReader(src), &rows); err != nil {
		return nil, fmt.Errorf("units.csv: %w", err)
	}
	t := &unitTable{spelling: make(map[string]unit, len(rows))}
	for _, row := range rows {
		u := unit{quantity: row.Quantity, name: row.Unit, mul: 1, div: 1, short: row.Where == "short"}
		if row.Quantity == "pressure" {
			if err := u.factor(row.KPa); err != nil {
				return nil, fmt.Errorf("units.csv: %s: %w", row.Unit, err)
			}
		}
		if _, twice := t.spelling[row.Spelling]; twice || fold(row.Spelling) != row.Spelling {
			return nil, fmt.Errorf("units.csv: %q stands twice or is not in plain letters", row.Spelling)
		}
		t.spelling[row.Spelling] = u
		t.longest = max(t.longest, strings.Count(row.Spelling, " ")+1)
	}
	return t, nil
}

// factor reads what one of a unit is in kPa: 100, 1/10, 101.325/760. Powers of ten
// are kept apart, so that they can be applied to the digits as written.
func (u *unit) factor(text string) (err error) {
	mul, div, fraction := strings.Cut(text, "/")
	if u.mul, err = strconv.ParseFloat(mul, 64); err != nil {
		return err
	}
	if fraction {
		if u.div, err = strconv.ParseFloat(div, 64); err != nil {
			return err
		}
	}
	for k := 1; k <= 6; k++ {
		switch {
		case u.mul == powers[k] && u.div == 1:
			u.mul, u.tens = 1, k
		case u.div == powers[k] && u.mul == 1:
			u.div, u.tens = 1, -k
		}
	}
	return nil
}

// match returns the role of the longest phrase that starts at tokens[i], and its
// number of tokens; 0 if there is none.
func (t *wordTable) match(tokens []string, i int) (string, int) {
	for n := min(t.longest, len(tokens)-i); n > 0; n-- {
		key := tokens[i]
		if n > 1 {
			key = strings.Join(tokens[i:i+n], " ")
		}
		if role, ok := t.role[key]; ok {
			return role, n
		}
	}
	return "", 0
}

// compound takes a German compound apart, such as kammertemperatur, and returns
// the roles of its two halves.
func (t *wordTable) compound(token string) (first, second string, ok bool) {
	if len(token) > 60 { // no word; the search costs the square of the length
		return "", "", false
	}
	for i := 3; i+3 <= len(token); i++ {
		second, ok = t.role[token[i:]]
		if !ok {
			continue
		}
		for _, link := range []string{"", "s", "n", "en", "es"} {
			if head, linked := strings.CutSuffix(token[:i], link); linked && len(head) > 2 {
				if first, ok = t.role[head]; ok {
					return first, second, true
				}
			}
		}
	}
	return "", "", false
}

// spelled finds a unit by its spelling, with the reference that is written behind
// it: kPa, bar abs, psig, mbar(a).
func (t *unitTable) spelled(text string) (unit, cycle.Reference, bool) {
	tokens := strings.Fields(fold(text))
	u, n, ref := t.at(tokens, 0)
	if n == 0 || n != len(tokens) {
		return unit{}, 0, false
	}
	return u, ref, u.quantity != "reference"
}

// at finds the longest unit that starts at tokens[i] and the reference behind it.
// n counts the tokens of both.
func (t *unitTable) at(tokens []string, i int) (u unit, n int, ref cycle.Reference) {
	for n = min(t.longest, len(tokens)-i); n > 0; n-- {
		key := strings.Join(tokens[i:i+n], " ")
		var ok bool
		if u, ok = t.spelling[key]; ok {
			break
		}
		if u, ref, ok = t.glued(key); ok {
			return u, n, ref
		}
	}
	if n == 0 || u.quantity != "pressure" || i+n >= len(tokens) {
		return u, n, 0
	}
	if ref = referenceOf(tokens[i+n]); ref != 0 {
		n++
	}
	return u, n, ref
}

// glued finds a pressure unit with one letter for the reference behind it: bara, psig.
func (t *unitTable) glued(key string) (unit, cycle.Reference, bool) {
	if len(key) < 3 {
		return unit{}, 0, false
	}
	cut := len(key) - 1
	u, ok := t.spelling[key[:cut]]
	if !ok || u.quantity != "pressure" {
		return unit{}, 0, false
	}
	ref := referenceOf(key[cut:])
	return u, ref, ref != 0
}

// referenceOf returns what a word behind a pressure unit says.
func referenceOf(token string) cycle.Reference {
	if u, ok := units().spelling[token]; ok && u.quantity == "reference" {
		return referenceNamed(u.name)
	}
	switch words().role[token] {
	case "absolute":
		return cycle.Absolute
	case "gauge":
		return cycle.Gauge
	}
	return cycle.ReferenceUnsaid
}

func referenceNamed(name string) cycle.Reference {
	for _, r := range []cycle.Reference{cycle.Absolute, cycle.Gauge} {
		if r.String() == name {
			return r
		}
	}
	return cycle.ReferenceUnsaid
}
