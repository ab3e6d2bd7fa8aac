package parse

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		text string
		dec  byte
		want string // "" is no number
	}{
		{"134.2", '.', "134.2"}, {"134,2", ',', "134.2"}, {" 134.2 ", '.', "134.2"}, {"-0.01", '.', "-0.01"}, {"+3", '.', "3"},
		{"−12.5", '.', "-12.5"}, {"\u00a0134.2", '.', "134.2"}, {"007", '.', "7"}, {".5", '.', "0.5"}, {"999.9", '.', "999.9"},
		{"123456789.123456789", '.', "123456789.123456789"}, {"0.1234567890123456789", '.', "0.1234567890123456789"},
		{"134,2", '.', ""}, {"134.2", ',', ""}, {"", '.', ""}, {" ", '.', ""}, {"-", '.', ""}, {"--", '.', ""}, {"5.", '.', ""}, {".", '.', ""},
		{"NaN", '.', ""}, {"nan", '.', ""}, {"Inf", '.', ""}, {"1e400", '.', ""}, {"1e2", '.', ""}, {"0x1p7", '.', ""}, {"1_34", '.', ""},
		{"=1+1", '.', ""}, {"1.2.3", '.', ""}, {"1 014", '.', ""}, {"1'014", '.', ""}, {"134.2 °C", '.', ""}, {"٣", '.', ""}, {"+-1", '.', ""},
		{strings.Repeat("1", 41), '.', ""}, {"#", '.', ""}, {"E04", '.', ""},
	} {
		got, ok := number(c.text, c.dec)
		if c.want == "" {
			if ok || !math.IsNaN(got) {
				t.Errorf("%q with %q: %v, want no number", c.text, c.dec, got)
			}
			continue
		}
		want, err := strconv.ParseFloat(c.want, 64)
		if err != nil {
			t.Fatal(err)
		}
		if !ok || got != want {
			t.Errorf("%q with %q: %v, want %v", c.text, c.dec, got, want)
		}
	}
}

// A power of ten moves the decimal sign of what is written and rounds once.
func TestPowersOfTen(t *testing.T) {
	for _, c := range []struct {
		text string
		tens int
		want float64
	}{{"1.013", 2, 101.3}, {"1013", -1, 101.3}, {"0.1013", 3, 101.3}, {"101300", -3, 101.3}, {"-0.01", 2, -1}, {"3", 2, 300}, {"0.00000000000000001", 2, 1e-15}} {
		if got, ok := scaled(c.text, '.', c.tens); !ok || got != c.want {
			t.Errorf("%s × 10^%d = %v, want %v", c.text, c.tens, got, c.want)
		}
	}
}

// For any text: what number takes is what strconv reads, to the last bit; what it
// refuses is NaN; and the other decimal sign never gives another value.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"134.2", "-0,01", "NaN", "1e400", "0x1p7", "1_34", "--", "999.9", "=1+1", "12345678901234567890.5", "", " 7 ", "−3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		point, okPoint := number(s, '.')
		comma, okComma := number(s, ',')
		if okPoint {
			want, err := strconv.ParseFloat(trim(s), 64)
			if err != nil || want != point {
				t.Errorf("%q: %v, strconv says %v, %v", s, point, want, err)
			}
		}
		if okPoint != !math.IsNaN(point) || okComma != !math.IsNaN(comma) || math.IsInf(point, 0) {
			t.Errorf("%q: %v %v, %v %v", s, point, okPoint, comma, okComma)
		}
		if okPoint && okComma && point != comma {
			t.Errorf("%q: %v with a point, %v with a comma", s, point, comma)
		}
	})
}
