package steam

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"

	"holdproof/parse/cycle"
)

// script prints saturation pressures in MPa, one a line, for 60.0 to 150.0 °C.
const script = `
from iapws.iapws97 import _PSat_T, _TSat_P
for i in range(0, 901):
    t = 273.15 + 60 + i / 10
    p = _PSat_T(t)
    print(repr(t), repr(p), repr(_TSat_P(p)))
`

// Source: the Python package iapws as Debian ships it (python3-iapws), written by
// other people from the same release. Certainty: read, on the machine that runs the
// test. Both directions agree to what double precision leaves.
func TestAgainstPythonIAPWS(t *testing.T) {
	out, err := exec.Command("/usr/bin/python3", "-c", script).CombinedOutput()
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("python3-iapws is needed here: %v\n%s", err, out)
		}
		t.Skipf("python3-iapws is not installed, so saturation was not compared with it: %v", err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) != 901 {
		t.Fatalf("%d lines, want 901", len(lines))
	}
	for _, l := range lines {
		var k, mpa, back float64
		if _, err := fmt.Sscan(l, &k, &mpa, &back); err != nil {
			t.Fatalf("%q: %v", l, err)
		}
		p, err := Pressure(cycle.Kelvin(k))
		if err != nil || math.Abs(float64(p)/1000/mpa-1) > 1e-12 {
			t.Errorf("at %v K: %v kPa, %v, want %v", k, p, err, 1000*mpa)
		}
		got, err := Temperature(cycle.Kilopascal(1000 * mpa))
		if err != nil || math.Abs(float64(got)-back) > 1e-9 {
			t.Errorf("at %v MPa: %v K, %v, want %v", mpa, got, err, back)
		}
	}
}
