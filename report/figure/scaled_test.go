package figure

import (
	"bytes"
	"strings"
	"testing"

	"holdproof/validate"
)

// The scaled figure carries its numbers, whether it is drawn from the record or from the
// sketch of it. The cycles are invented.
func TestScaledCarriesItsNumbers(t *testing.T) {
	for _, c := range []struct {
		name  string
		cycle Cycle
		words []string
	}{
		{"load", invented(t, 214, nil), []string{">134 to 137 °C<", ">100 °C<", ">20 °C<", ">held 3 min "}},
		{"leak test", leakTest(t, 0.05), []string{">100 kPa<", ">0 kPa<", ">measured "}},
	} {
		whole := ScaledSVG(c.cycle, 84, 32)
		s, ok := SketchOf(c.cycle)
		if !ok {
			t.Fatalf("no sketch of the %s", c.name)
		}
		v := c.cycle.Verdict
		drawn, err := SketchScaledSVG(Sketched{Sketch: s, ID: "S1-1", Name: "S1 · 1", Outcome: "conforms", Kind: v.Kind, HoldFrom: v.Measured.HoldFrom, HoldTo: v.Measured.HoldTo}, 84, 32)
		if err != nil {
			t.Fatal(err)
		}
		for _, word := range c.words {
			for from, svg := range map[string][]byte{"record": whole, "sketch": drawn} {
				if !strings.Contains(string(svg), word) {
					t.Errorf("%s, drawn from the %s: no %q in\n%s", c.name, from, word, svg)
				}
			}
		}
		if a, b := bytes.Count(whole, []byte("<text")), bytes.Count(drawn, []byte("<text")); a != b {
			t.Errorf("%s: %d words of the record, %d of its sketch", c.name, a, b)
		}
	}
	if _, err := SketchScaledSVG(Sketched{Sketch: Sketch{Curve: "?"}, HoldFrom: validate.Known(1)}, 84, 32); err == nil {
		t.Error("a curve that is none is drawn")
	}
}
