package surgery

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Fault is a value of the configuration that cannot be.
type Fault struct {
	Key    string // such as site.timezone or sterilisers[2].type, lists from 1
	Found  string
	Want   string
	Remedy string // a sentence
}

// faults collects while a configuration is walked.
type faults []Fault

func (f *faults) add(key, found, want, remedy string) {
	*f = append(*f, Fault{Key: key, Found: found, Want: want, Remedy: remedy})
}

// oneOf refuses a text that is none of the allowed; "" is not given and passes.
func (f *faults) oneOf(key, value string, allowed ...string) {
	if value == "" || slices.Contains(allowed, value) {
		return
	}
	remedy := "Write one of them."
	if near := Nearest(value, allowed); near != "" {
		remedy = fmt.Sprintf("Did you mean %q?", near)
	}
	f.add(key, fmt.Sprintf("%q", value), Alternatives(allowed), remedy)
}

// within refuses a number outside (lo, hi], or [lo, hi] with from; nil passes.
func (f *faults) within(key string, value *float64, lo, hi float64, unit string) {
	if value == nil || lo <= *value && *value <= hi { // written so that NaN fails
		return
	}
	f.add(key, number(*value), fmt.Sprintf("a number from %s to %s %s", number(lo), number(hi), unit),
		"Correct the figure, or take the line out.")
}

// above refuses a number that is not above 0 and at most hi.
func (f *faults) above(key string, value, hi float64, unit string) {
	if 0 < value && value <= hi { // written so that NaN fails
		return
	}
	found := number(value)
	if value == 0 {
		found = "nothing or 0"
	}
	f.add(key, found, fmt.Sprintf("a number above 0 and up to %s", strings.TrimSpace(number(hi)+" "+unit)),
		"Write the figure of the report that this comes from.")
}

// needed refuses an empty text.
func (f *faults) needed(key, value, want string) {
	if strings.TrimSpace(value) == "" {
		f.add(key, "nothing", want, "Add the line.")
	}
}

// once refuses a name that stood in the list before; "" passes.
func (f *faults) once(key, value string, seen map[string]string) {
	if value == "" {
		return
	}
	folded := strings.ToLower(value)
	if first, there := seen[folded]; there {
		f.add(key, fmt.Sprintf("%q, which %s has too", value, first), "a name of its own", "Change one of the two.")
		return
	}
	seen[folded] = key
}

// number writes a figure that somebody typed, or that a sum of such came to: without an
// exponent, and without what a sum of binary fractions leaves behind the ninth decimal.
func number(v float64) string {
	if math.Abs(v) < 1e12 {
		v = math.Round(v*1e9)/1e9 + 0 // never -0
	}
	if math.Abs(v) >= 1e21 || math.IsNaN(v) {
		return fmt.Sprint(v)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// Alternatives joins what is allowed for a sentence: "a, b or c".
func Alternatives(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " or " + list[len(list)-1]
}

// Nearest returns the allowed word that a mistyped one is closest to, "" if none is
// closer than half its length.
func Nearest(word string, allowed []string) string {
	if len(allowed) == 0 || len(word) > 100 || strings.Trim(word, "0123456789") == "" {
		return "" // another number is another thing and no slip of the hand
	}
	near := slices.MinFunc(allowed, func(a, b string) int {
		return cmp.Compare(distance(word, a), distance(word, b))
	})
	if 2*distance(word, near) > len(near) {
		return ""
	}
	return near
}

// distance is the number of letters to insert, remove or change between two words,
// letter case aside (Levenshtein).
func distance(a, b string) int {
	x, y := []rune(strings.ToLower(a)), []rune(strings.ToLower(b))
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diagonal := row[0]
		row[0] = i + 1
		for j := range y {
			change := diagonal
			if x[i] != y[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(y)]
}
