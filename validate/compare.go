package validate

import "math"

// Every comparison with a limit allows limitTolerance of its unit, in favour of
// equality: 134.0 °C that a conversion left as 133.9999999999 is at 134 °C, and
// neither above nor below it. NaN is never at, above or below anything.

func atLeast(x, limit float64) bool { return x >= limit-limitTolerance }
func atMost(x, limit float64) bool  { return x <= limit+limitTolerance }
func above(x, limit float64) bool   { return x > limit+limitTolerance }
func below(x, limit float64) bool   { return x < limit-limitTolerance }

// widen moves lo and hi apart to include x. In the inner loops it takes the place of min
// and max, which cost several times as much to be right about NaN and -0.
func widen(lo, hi *float64, x float64) {
	if x < *lo {
		*lo = x
	}
	if x > *hi {
		*hi = x
	}
}

// median returns the middle value, the mean of the two middle ones of an even
// number, and false if there is none. It may change the order of xs.
func median(xs []float64) (float64, bool) {
	if len(xs) == 0 {
		return 0, false
	}
	n := len(xs)
	hi := nth(xs, n/2)
	if n%2 == 1 {
		return hi, true
	}
	lo := math.Inf(-1)
	for _, x := range xs[:n/2] {
		lo = max(lo, x)
	}
	return (lo + hi) / 2, true
}

// nth returns the k-th smallest of xs, counted from 0, and leaves nothing larger
// before it (quickselect, median of three).
func nth(xs []float64, k int) float64 {
	lo, hi := 0, len(xs)-1
	for lo < hi {
		pivot := middle(xs[lo], xs[lo+(hi-lo)/2], xs[hi])
		i, j := lo, hi
		for i <= j {
			for xs[i] < pivot {
				i++
			}
			for xs[j] > pivot {
				j--
			}
			if i <= j {
				xs[i], xs[j] = xs[j], xs[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return xs[k]
		}
	}
	return xs[k]
}

func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
