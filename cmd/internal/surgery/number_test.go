package surgery

import "testing"

// A figure reaches a person without an exponent, and without what a sum of binary
// fractions leaves behind.
func TestNumber(t *testing.T) {
	count, most, within := 1500000.0, 134.3, 1.1
	for _, c := range []struct {
		v    float64
		want string
	}{{0, "0"}, {2, "2"}, {0.5, "0.5"}, {-1.25, "-1.25"}, {count, "1500000"}, {most - within, "133.2"}, {0.052000000000000046, "0.052"}, {-1e-12, "0"}, {1e22, "1e+22"}} {
		if got := number(c.v); got != c.want {
			t.Errorf("%v: %s, expected %s", c.v, got, c.want)
		}
	}
}
