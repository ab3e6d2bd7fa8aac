package surgery

import (
	"testing"

	"holdproof/fixtures"
)

func TestSelfCheckAgrees(t *testing.T) {
	values, err := SelfCheck()
	if err != nil {
		t.Fatal(err)
	}
	computed := 0
	for _, v := range values {
		if !v.Agrees {
			t.Errorf("%s, %s: %s, published %s %s (%s) %s", v.Quantity, v.Input, v.Figure, v.Published, v.Unit, v.Source, v.Problem)
		}
		if !v.Carried {
			computed++
		}
	}
	if computed < 100 {
		t.Errorf("only %d values were computed", computed)
	}
}

// Each printed figure, moved by two of its last digits, must be found to differ; so
// must a row that nobody knows how to compute.
func TestSelfCheckCanFail(t *testing.T) {
	rows, err := fixtures.Published()
	if err != nil {
		t.Fatal(err)
	}
	data := table{}
	for _, r := range rows {
		data[r.Quantity] = append(data[r.Quantity], r)
	}
	moved := 0
	for _, r := range rows {
		if formulas[r.Quantity] == nil || upper[r.Quantity] {
			continue
		}
		allow, printed, err := allowance(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, by := range []float64{4, -4} {
			wrong := r
			wrong.Printed, wrong.Allow = number(printed+by*allow), number(allow)
			if c := compute(wrong, data); c.Agrees {
				t.Errorf("%s, %s: %s was taken for %s", r.Quantity, r.Input, c.Figure, wrong.Printed)
			}
		}
		moved++
	}
	if moved < 100 {
		t.Errorf("only %d figures were moved", moved)
	}
	if c := compute(fixtures.Row{Quantity: "no such quantity", Printed: "1"}, data); c.Agrees || c.Problem == "" {
		t.Errorf("a value without a formula: %+v", c)
	}
	root := data["Merkle tree root"][0]
	root.Printed = "7" + root.Printed[1:]
	if compute(root, data).Agrees {
		t.Error("another root was taken for the published one")
	}
}

func TestSaturatedSteam(t *testing.T) {
	ambient := 100.0
	site := Site{AmbientKPa: &ambient}
	for _, c := range []struct {
		in           string
		celsius, kPa float64
	}{
		{"134C", 134, 304.199}, {"134 °C", 134, 304.199}, {"134 degC", 134, 304.199}, {"273.2F", 134, 304.199}, {"407.15K", 134, 304.199},
		{"304.199kPa", 134, 304.199}, {"3.04199 bar", 134, 304.199}, {"3,04199bar", 134, 304.199}, {"3041.99mbar abs", 134, 304.199},
		{"204.199 kPa gauge", 134, 304.199}, {"2.04199barg", 134, 304.199}, {"29.617psig", 134, 304.199}, {"44.1204 psia", 134, 304.199},
	} {
		s, err := SaturatedSteam(site, c.in)
		if err != nil || abs(s.TemperatureC-c.celsius) > 0.001 || abs(s.PressureKPa-c.kPa) > 0.01 {
			t.Errorf("%s: %.4f °C, %.4f kPa, %v", c.in, s.TemperatureC, s.PressureKPa, err)
		}
	}
	for _, in := range []string{"", "134", "C", "1e3C", "0x10C", "NaNC", "134X", "3 barx", "-1bar", "400C", "1.2.3C", "304 kPa abs gauge"} {
		if s, err := SaturatedSteam(site, in); err == nil {
			t.Errorf("%q was read as %v", in, s)
		}
	}
}

func abs(x float64) float64 { return max(x, -x) }
