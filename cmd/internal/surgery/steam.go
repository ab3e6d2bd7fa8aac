package surgery

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"holdproof/parse/cycle"
	"holdproof/validate"
	"holdproof/validate/steam"
)

// Steam is one point of the saturation line.
type Steam struct {
	TemperatureC float64
	PressureKPa  float64 // absolute
	GaugeKPa     float64 // above AmbientKPa
	AmbientKPa   float64
	AmbientFrom  string // where that is from, as a person reads it
	Source       validate.Source
}

// steamSource is the formula behind both directions.
var steamSource = validate.Source{Text: "IAPWS R7-97(2012), region 4", Sure: validate.SecondHand}

// psi in kPa, by the definitions of pound, inch and standard gravity.
const psi = 6.894757293168

// standardAir is the pressure at sea level, ISO 2533:1975.
const standardAir = 101.325 // kPa

var steamValue = regexp.MustCompile(`^([+-]?[0-9]{1,9}(?:[.,][0-9]{1,9})?)\s*(\S.*)$`)

// a unit of a pressure, in kPa
var pressureUnits = []struct {
	name string
	kpa  float64
}{
	{"kpa", 1}, {"mbar", 0.1}, {"hpa", 0.1}, {"bar", 100}, {"mpa", 1000}, {"pa", 0.001},
	{"psi", psi}, {"inhg", 3.386388640341}, {"mmhg", 0.133322387415}, {"torr", standardAir / 760}, {"atm", standardAir},
}

// SaturatedSteam looks a value up: a temperature (134C, 273 °F, 407K) or a pressure,
// absolute (3.04bar, 304kPa) or gauge (2.1barg, 30 psig) by the site's ambient.
//
// Errors: a value that cannot be read, or that no saturated steam has.
func SaturatedSteam(site Site, value string) (Steam, error) {
	s := Steam{Source: steamSource}
	var err error
	if s.AmbientKPa, s.AmbientFrom, err = site.ambient(); err != nil {
		return s, err
	}
	refused := fmt.Errorf("found %q, expected a temperature such as 134C, 273F or 407K, or a pressure such as 3.04bar, 304kPa or 2.1barg", value)
	m := steamValue.FindStringSubmatch(strings.TrimSpace(value))
	if m == nil {
		return s, refused
	}
	x, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	if err != nil {
		return s, refused
	}
	unit := strings.ToLower(strings.Join(strings.Fields(m[2]), ""))
	var t cycle.Kelvin
	switch strings.TrimPrefix(strings.TrimPrefix(unit, "°"), "deg") {
	case "c":
		t = cycle.Celsius(x).Kelvin()
	case "f":
		t = cycle.Celsius((x - 32) * 5 / 9).Kelvin()
	case "k":
		t = cycle.Kelvin(x)
	default:
		return s.fromPressure(x, unit, refused)
	}
	p, err := steam.Pressure(t)
	if err != nil {
		return s, err
	}
	s.TemperatureC, s.PressureKPa = float64(t.Celsius()), float64(p)
	s.GaugeKPa = s.PressureKPa - s.AmbientKPa
	return s, nil
}

func (s Steam) fromPressure(x float64, unit string, refused error) (Steam, error) {
	for _, u := range pressureUnits {
		rest, ok := strings.CutPrefix(unit, u.name)
		if !ok {
			continue
		}
		p := cycle.Kilopascal(x * u.kpa)
		switch rest {
		case "", "a", "abs":
		case "g", "gauge":
			p = cycle.GaugeKilopascal(x * u.kpa).Absolute(cycle.Kilopascal(s.AmbientKPa))
		default:
			return s, refused
		}
		t, err := steam.Temperature(p)
		if err != nil {
			return s, err
		}
		s.TemperatureC, s.PressureKPa = float64(t.Celsius()), float64(p)
		s.GaugeKPa = s.PressureKPa - s.AmbientKPa
		return s, nil
	}
	return s, refused
}

// ambient returns the pressure of the air around the site and where it is from.
func (s Site) ambient() (float64, string, error) {
	switch {
	case s.AmbientKPa != nil:
		return *s.AmbientKPa, "ambient_kpa of the site", nil
	case s.AltitudeM != nil:
		p, err := validate.Atmosphere(*s.AltitudeM)
		return float64(p), fmt.Sprintf("standard atmosphere at %v m, ISO 2533:1975", *s.AltitudeM), err
	}
	return standardAir, "standard atmosphere at sea level, since the site names no altitude", nil
}
