package validate

import (
	"fmt"
	"math"
)

// ConformanceBelow returns the probability that the measured quantity is at most
// limit, given the measured value y and its standard uncertainty u > 0, in one unit.
//
// Formula: JCGM 106:2012, one-sided upper limit, normal distribution: Φ((limit - y)/u).
// Error: a value that is not finite, u not above 0. Checked against: its two worked
// examples (memory, recomputed), to the three printed digits.
func ConformanceBelow(limit, y, u float64) (float64, error) {
	if !(u > 0) || math.IsInf(u, 0) || math.IsNaN(limit-y) || math.IsInf(limit-y, 0) {
		return 0, fmt.Errorf("found limit %v, value %v, uncertainty %v, expected finite numbers and an uncertainty above 0", limit, y, u)
	}
	return math.Erfc((y-limit)/u/math.Sqrt2) / 2, nil
}

// ConformanceAbove is [ConformanceBelow] for a one-sided lower limit: the probability
// that the measured quantity is at least limit.
func ConformanceAbove(limit, y, u float64) (float64, error) {
	return ConformanceBelow(-limit, -y, u)
}

// Guard returns the limits moved inwards by the expanded uncertainty U (k = 2): a
// reading within them conforms with a probability of false acceptance below 2.5 %
// (ILAC-G8:09/2019, guarded acceptance, w = U).
func Guard(low, high, expanded float64) (float64, float64) {
	return low + expanded, high - expanded
}
