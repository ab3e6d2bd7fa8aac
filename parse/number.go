package parse

import (
	"math"
	"strconv"
	"strings"
)

// powers of ten that a float64 holds exactly (IEEE 754 binary64: up to 10^22).
var powers = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// number reads a number as recorders print it: a sign or none, digits, and the
// decimal sign dec ('.' or ',') with digits behind it. No exponent, no thousands,
// no hexadecimal, no NaN or Inf, no other decimal sign, no word.
//
// The value is the float64 nearest to what is written. At most 40 characters are read.
func number(text string, dec byte) (float64, bool) { return scaled(text, dec, 0) }

// scaled reads a number times a power of ten, from -6 to 6, with one rounding for
// both: 1.013 bar is the same float64 as 101.3 kPa.
func scaled(text string, dec byte, tens int) (float64, bool) {
	text = trim(text)
	s := text
	negative := false
	if len(s) > 0 && (s[0] == '-' || s[0] == '+') {
		negative = s[0] == '-'
		s = s[1:]
	}
	if len(s) == 0 || len(s) > 40 {
		return math.NaN(), false
	}
	var mantissa uint64
	digits, fraction, point := 0, 0, -1
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case '0' <= c && c <= '9':
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
			if point >= 0 {
				fraction++
			}
		case c == dec && point < 0:
			point = i
		default:
			return math.NaN(), false
		}
	}
	if digits == 0 || point == len(s)-1 {
		return math.NaN(), false
	}
	var v float64
	if digits <= 15 {
		// Both are exact in float64, so the quotient or product is rounded once.
		if k := fraction - tens; k >= 0 {
			v = float64(mantissa) / powers[k]
		} else {
			v = float64(mantissa) * powers[-k]
		}
	} else {
		var err error
		if v, err = strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64); err != nil {
			return math.NaN(), false
		}
		if tens < 0 {
			v /= powers[-tens]
		} else {
			v *= powers[tens]
		}
	}
	if negative {
		v = -v
	}
	return v, true
}

// trim removes blanks at both ends, no-break spaces among them, and writes a
// typographic minus as a plain one.
func trim(s string) string {
	for len(s) > 0 && (s[0] == ' ' || s[0] == '\t' || s[0] == '\n') {
		s = s[1:]
	}
	for len(s) > 0 && (s[len(s)-1] == ' ' || s[len(s)-1] == '\t' || s[len(s)-1] == '\n') {
		s = s[:len(s)-1]
	}
	if len(s) == 0 || (s[0] < 0x80 && s[len(s)-1] < 0x80) {
		return s
	}
	s = strings.TrimSpace(s)
	if rest, ok := strings.CutPrefix(s, "−"); ok {
		return "-" + rest
	}
	return s
}
