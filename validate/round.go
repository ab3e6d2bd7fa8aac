package validate

import (
	"math"
	"strconv"
)

// AtLeast writes x for a comparison with a lower limit, with so many digits after
// the point, rounded down: 179.96 with one digit is 179.9. A printed figure is
// never better than the figure. The 1e-9 that every comparison allows is allowed
// here too, so that 180 left as 179.9999999999 by a conversion stays 180.0.
//
// Range: 0 to 9 digits. NaN prints as NaN.
func AtLeast(x float64, digits int) string { return rounded(math.Floor, x, limitTolerance, digits) }

// AtMost is [AtLeast] for an upper limit: rounded up, 0.1304 with three digits is 0.131.
func AtMost(x float64, digits int) string { return rounded(math.Ceil, x, -limitTolerance, digits) }

func rounded(to func(float64) float64, x, allow float64, digits int) string {
	scale := math.Pow10(min(max(digits, 0), 9))
	y := to((x+allow)*scale) / scale
	if y == 0 {
		y = 0 // never -0
	}
	return strconv.FormatFloat(y, 'f', min(max(digits, 0), 9), 64)
}

// plain writes a limit as short as it is: 180, 0.13.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// lasted writes a length of time in s for a comparison with a lower limit, and in
// minutes beside it where that is how people say it.
func lasted(s float64) string { return AtLeast(s, 1) + " s" + minutes(s) }

// needs writes a required length of time.
func needs(s float64) string { return plain(s) + " s" + minutes(s) }

func minutes(s float64) string {
	whole := int64(math.Floor(s + limitTolerance))
	if whole < 60 || whole > 1e6 {
		return ""
	}
	out := " (" + strconv.FormatInt(whole/60, 10) + " min"
	if whole%60 != 0 {
		out += " " + strconv.FormatInt(whole%60, 10) + " s"
	}
	return out + ")"
}
