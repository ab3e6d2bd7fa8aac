package desk

import (
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

// A figure has the digits that people read, and more only where they decide.
func TestFiguresOfAFinding(t *testing.T) {
	f := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		of   surgery.ShownFinding
		want string
	}{
		{surgery.ShownFinding{Measured: f(154.214), Low: f(180), Uncertainty: f(2.215), Unit: "s"}, "measured 154.2 s, at least 180, uncertainty 2.3 s"},
		{surgery.ShownFinding{Measured: f(472.341), Unit: "s"}, "measured 472.3 s"},
		{surgery.ShownFinding{Measured: f(135.452), High: f(137), Uncertainty: f(0.5), Unit: "°C"}, "measured 135.5 °C, at most 137, uncertainty 0.5 °C"},
		{surgery.ShownFinding{Measured: f(-0.128), Low: f(-2), High: f(2), Uncertainty: f(0.8), Unit: "K"}, "measured -0.2 K, limits -2 to 2, uncertainty 0.8 K"},
		{surgery.ShownFinding{Measured: f(0.0524), High: f(0.13), Uncertainty: f(0.001), Unit: "kPa/min"}, "measured 0.053 kPa/min, at most 0.13, uncertainty 0.001 kPa/min"},
		// One digit would say 182.4 less 2.4, which is not below 180, and hide what it was.
		{surgery.ShownFinding{Measured: f(182.36), Low: f(180), Uncertainty: f(2.31), Unit: "s"}, "measured 182.36 s, at least 180, uncertainty 2.31 s"},
		{surgery.ShownFinding{Measured: f(136.97), High: f(137), Uncertainty: f(0.01), Unit: "°C"}, "measured 136.97 °C, at most 137, uncertainty 0.01 °C"},
		{surgery.ShownFinding{Measured: f(3), Low: f(1)}, "measured 3, at least 1"},
		{surgery.ShownFinding{}, ""},
	} {
		if got := findingFigures(c.of); got != c.want {
			t.Errorf("%q, expected %q", got, c.want)
		}
	}
}

// What was checked stands in words, the outcome once and beside its mark.
func TestFindingInWords(t *testing.T) {
	s := newSite(t).full()
	text := s.as("mara").get("/cycle/" + s.key("S1", "1045")).text()
	for _, want := range []string{"failed : Held 134 to 137 °C for 162.1 s", "Holding time: measured 162.1 s, at least 180, uncertainty 4.2 s."} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q: %s", want, text)
		}
	}
	for _, raw := range []string{"holding-time", "162.153", "frozen-channel"} {
		if strings.Contains(text, raw) {
			t.Errorf("the page says %q", raw)
		}
	}
}
