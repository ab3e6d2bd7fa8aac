package parse

import (
	_ "embed"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/gocarina/gocsv"
)

//go:embed months.csv
var monthsCSV []byte

type monthRow struct {
	Language string `csv:"language"`
	Month    string `csv:"month"`
	Name     string `csv:"name"`
}

// months maps folded names to months, 1 to 12.
var months = sync.OnceValue(func() map[string]int { return must(readMonths(monthsCSV)) })

func readMonths(src []byte) (map[string]int, error) {
	var rows []monthRow
	if err := gocsv.UnmarshalCSV(tableReader(src), &rows); err != nil {
		return nil, fmt.Errorf("months.csv: %w", err)
	}
	out := make(map[string]int, len(rows))
	for _, r := range rows {
		n, err := strconv.Atoi(r.Month)
		key := fold(r.Name)
		if err != nil || n < 1 || n > 12 || key == "" || r.Language == "" || out[key] != 0 {
			return nil, fmt.Errorf("months.csv: %q as month %q of %q says nothing, or stands twice", r.Name, r.Month, r.Language)
		}
		out[key] = n
	}
	return out, nil
}

// longestMonth is the longest name that is looked up, in bytes.
const longestMonth = 24

// namedDate reads a date that begins a text and names its month: 2 Nov 2026, 02-Nov-26,
// 2. November 2026, 2026-Nov-02. It returns where the date ends, 0 if there is none. A
// month that comes first is left alone, as is a name that no language of the table has.
func namedDate(s string) (d date, end int) {
	first, at := leading(s)
	if at == 0 {
		return date{}, 0
	}
	from := between(s, at)
	if from == at || from == len(s) || s[from] < utf8.RuneSelf && !unicode.IsLetter(rune(s[from])) {
		return date{}, 0 // by far the most dates end here
	}
	to := from
	for to < len(s) && to-from < longestMonth {
		r, size := utf8.DecodeRuneInString(s[to:])
		if !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) {
			break
		}
		to += size
	}
	month := months()[fold(s[from:to])]
	behind := between(s, to)
	last, n := leading(s[behind:])
	if month == 0 || behind == to || n == 0 {
		return date{}, 0
	}
	end = behind + n
	switch {
	case at <= 2 && (n == 4 || n == 2):
		return date{a: first, b: month, c: last, order: dmy, short: n == 2}, end
	case at == 4 && n <= 2:
		return date{a: first, b: month, c: last, order: ymd}, end
	}
	return date{}, 0
}

// leading reads the digits that begin a text, at most four.
func leading(s string) (value, n int) {
	for n < len(s) && '0' <= s[n] && s[n] <= '9' {
		n++
	}
	if n == 0 || n > 4 {
		return 0, 0
	}
	return digits(s[:n]), n
}

// between passes over what may stand between the parts of a date.
func between(s string, at int) int {
	for at < len(s) && strings.IndexByte(" -./", s[at]) >= 0 {
		at++
	}
	return at
}
