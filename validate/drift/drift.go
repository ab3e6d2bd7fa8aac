// Package drift holds control charts: small pure functions that tell a slow change of
// a machine from the noise of its cycles. Numbers go in and numbers come out, in the
// unit of the data; what is drawn from them is decided elsewhere.
//
// Formulas and worked examples: NIST/SEMATECH e-Handbook of Statistical Methods,
// section 6.3.2 (doi 10.18434/M32189).
package drift

import (
	"errors"
	"fmt"
	"math"
)

// EWMA returns the exponentially weighted moving averages of x, one a value:
// z = λ x + (1 - λ) z before, with start before the first.
//
// Range: 0 < lambda ≤ 1. Error: any other weight, a number that is not finite.
// Checked against: e-Handbook 6.3.2.4, its 20 averages to the two printed decimals.
func EWMA(x []float64, lambda, start float64) ([]float64, error) {
	if !(0 < lambda && lambda <= 1) { // written so that NaN fails
		return nil, fmt.Errorf("found weight %v, expected above 0 and up to 1", lambda)
	}
	if err := finite(append([]float64{start}, x...)); err != nil {
		return nil, err
	}
	out := make([]float64, len(x))
	z := start
	for i, v := range x {
		z = lambda*v + (1-lambda)*z
		out[i] = z
	}
	return out, nil
}

// EWMALimits returns the control limits of [EWMA] far from its start: centre ± width
// standard deviations s of the data times √(λ/(2 - λ)). The usual width is 3.
//
// Error: a weight outside 0 < lambda ≤ 1, s or width not above 0, a number that is not
// finite. Checked against: e-Handbook 6.3.2.4, limits to 1e-4.
func EWMALimits(lambda, centre, s, width float64) (low, high float64, err error) {
	if err := finite([]float64{centre, s, width}); err != nil {
		return 0, 0, err
	}
	if !(0 < lambda && lambda <= 1) || s <= 0 || width <= 0 {
		return 0, 0, fmt.Errorf("found weight %v, deviation %v, width %v, expected a weight above 0 and up to 1 and the others above 0", lambda, s, width)
	}
	d := width * s * math.Sqrt(lambda/(2-lambda))
	return centre - d, centre + d, nil
}

// CUSUM is a tabular cumulative sum chart, in the unit of the data.
type CUSUM struct {
	Target float64 // where the data should lie
	K      float64 // the allowance: half of the shift that matters; not below 0
	H      float64 // the decision limit; above 0
}

// Sums are the two one-sided sums, one a value, both 0 or more.
type Sums struct {
	Hi []float64 // grows while the data lie above Target + K
	Lo []float64 // grows while the data lie below Target - K
	// First are the indices of the first values with a sum above H, -1 if there is none.
	FirstHi, FirstLo int
}

// Run lays the chart over x; both sums are 0 before the first value and are not put
// back after a signal.
//
// Error: a number that is not finite, K below 0, H not above 0. Checked against:
// e-Handbook 6.3.2.3, the sums S_hi from group 13 on to the two printed decimals, and
// the group of its first signal.
func (c CUSUM) Run(x []float64) (Sums, error) {
	if err := finite(append([]float64{c.Target, c.K, c.H}, x...)); err != nil {
		return Sums{}, err
	}
	if c.K < 0 || c.H <= 0 {
		return Sums{}, fmt.Errorf("found allowance %v and limit %v, expected 0 or more and above 0", c.K, c.H)
	}
	s := Sums{Hi: make([]float64, len(x)), Lo: make([]float64, len(x)), FirstHi: -1, FirstLo: -1}
	hi, lo := 0.0, 0.0
	for i, v := range x {
		hi, lo = c.next(hi, lo, v)
		s.Hi[i], s.Lo[i] = hi, lo
		if hi > c.H && s.FirstHi < 0 {
			s.FirstHi = i
		}
		if lo > c.H && s.FirstLo < 0 {
			s.FirstLo = i
		}
	}
	return s, nil
}

// next returns both sums after one more value.
func (c CUSUM) next(hi, lo, v float64) (float64, float64) {
	return max(0, hi+v-c.Target-c.K), max(0, lo+c.Target-c.K-v)
}

// Individuals is a chart of single values and of their moving ranges.
type Individuals struct {
	Mean        float64
	MovingRange float64 // mean of the differences between neighbours, without sign
	Low, High   float64 // Mean ∓ 3 MovingRange / d2
}

// d2 is the expected range of two values of a normal distribution of standard
// deviation 1: 2/√π, printed as 1.128 in tables of control chart factors (memory), and
// used with these digits.
const d2 = 1.128

// IndividualsOf returns the chart of x.
//
// Error: fewer than two values, a number that is not finite. Checked against:
// e-Handbook 6.3.2.2, mean, mean moving range and limits to the printed digits.
func IndividualsOf(x []float64) (Individuals, error) {
	if len(x) < 2 {
		return Individuals{}, errors.New("found fewer than two values, expected at least two")
	}
	if err := finite(x); err != nil {
		return Individuals{}, err
	}
	var c Individuals
	for i, v := range x {
		c.Mean += v / float64(len(x))
		if i > 0 {
			c.MovingRange += math.Abs(v-x[i-1]) / float64(len(x)-1)
		}
	}
	d := 3 * c.MovingRange / d2
	c.Low, c.High = c.Mean-d, c.Mean+d
	return c, nil
}

// Sigma is the standard deviation that the moving ranges speak of: that of neighbours,
// which a slow drift does not widen.
func (c Individuals) Sigma() float64 { return c.MovingRange / d2 }

func finite(x []float64) error {
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("found %v as number %d, expected a finite number", v, i+1)
		}
	}
	return nil
}
