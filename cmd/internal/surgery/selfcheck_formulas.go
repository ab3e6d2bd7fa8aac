package surgery

import (
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
	"holdproof/validate/steam"
)

// table is the published values by quantity.
type table = map[string][]fixtures.Row

// formula computes a figure in the unit of its row.
type formula func(input string, data table) (float64, error)

// upper are values that the figure must stay below rather than meet.
var upper = map[string]bool{"false acceptance with a guard band w = U, below": true}

// carried are values that the program shows or that a machine's tests are held to by
// people: there is nothing to compute.
var carried = map[string]bool{
	"holding time elsewhere":                                true,
	"saturation coefficient":                                true, // inside the formula; its values are computed
	"air leakage, settling":                                 true,
	"air leakage, measured over":                            true,
	"air leakage, pressure at the start, at most":           true,
	"water and air discharged after each patient, at least": true,
	"water and air discharged after each patient, at most":  true,
	"count in line water, at most":                          true,
	"flush at the start of the day":                         true,
	"flush between patients":                                true,
	"lines of one pooled water sample, at most":             true,
	"water records kept":                                    true,
	"count left after 15 min of flushing, above":            true,
}

var formulas = map[string]formula{
	"least holding time":                                           holdOf,
	"band above the sterilisation temperature":                     bandOf,
	"least time of the readings that show 134 to 137 °C for 3 min": func(string, table) (float64, error) { return holdOf("en 134 °C", nil) },
	"lowest reading that shows 134 to 137 °C":                      func(string, table) (float64, error) { return guarded(false) },
	"highest reading that shows 134 to 137 °C":                     func(string, table) (float64, error) { return guarded(true) },
	"equilibration time, at most":                                  equilibrationLimit,
	"channels of one another during the hold, within":              limitOfCheck("channel-spread", fixtures.Cycle{}),
	"temperature of the steam temperature from pressure, within":   limitOfCheck("steam-agreement", fixtures.Cycle{}),
	"air leakage, at most":                                         limitOfCheck("air-leakage", fixtures.Cycle{Leak: &fixtures.Leak{Rate: 0.05}, Label: "leak test"}),
	"leak reading moved by 10 K":                                   leakByTemperature,
	"steam penetration test at 134 °C, at most":                    penetrationLimit,
	"temperature of a measuring chain":                             func(string, table) (float64, error) { return validate.DefaultUncertainty().Temperature.Value, nil },
	"pressure of a measuring chain, share of range": func(string, table) (float64, error) {
		return validate.DefaultUncertainty().Pressure.Value / 400 * 100, nil
	},
	"saturation pressure":                             saturationPressure,
	"saturation temperature":                          saturationTemperature,
	"range of the saturation formula":                 saturationRange,
	"slope of the saturation line":                    saturationRise,
	"F0 at a steady temperature, Tref 121":            steadyF0(121),
	"F0 at a steady temperature, Tref 121.1":          steadyF0(121.1),
	"lethal rate, Tref 121.11":                        func(in string, d table) (float64, error) { return steadyF0(121.11)("1 min at "+in, d) },
	"F0 for Tref 121 over that for 121.1":             func(string, table) (float64, error) { return math.Pow(10, (121.1-121)/10), nil },
	"F0 for Tref 121.1 over that for 121.11":          func(string, table) (float64, error) { return math.Pow(10, ((250-32)/1.8-121.1)/10), nil },
	"F0 of a straight ramp, Tref 121.1":               rampF0,
	"standard atmosphere":                             atmosphere,
	"gauge pressure of steam at 120 °C":               gaugeAt120,
	"false acceptance with a guard band w = U, below": falseAcceptance,
	"probability of conformance":                      conformance,
	"EWMA, lambda 0.3, start 50":                      ewma,
	"EWMA limit, lambda 0.3, centre 50, s 2.0539":     ewmaLimit,
	"CUSUM S_hi, target 325, k 0.3175":                cusumHigh,
	"CUSUM first signal, h 4.1959":                    cusumSignal,
	"individuals":                                     individuals,
}

func holdOf(input string, _ table) (float64, error) {
	p, err := limitOf(input)
	return p.Hold / 60, err
}

func bandOf(input string, _ table) (float64, error) {
	p, err := limitOf(input)
	return p.Band, err
}

// penetrationLimit takes off the 15 s that the program allows on top.
func penetrationLimit(string, table) (float64, error) {
	p, err := limitOf("en 134 °C")
	return (p.PenetrationX - 15) / 60, err
}

// falseAcceptance is that of a reading right at the guarded limit.
func falseAcceptance(string, table) (float64, error) {
	p, err := validate.ConformanceBelow(0, 1, 0.5) // U = 1, k = 2
	return 100 * p, err
}

// limitOf finds the built-in row that an input such as "us-gravity 121 °C" names.
func limitOf(input string) (validate.Programme, error) {
	var name string
	var ts float64
	if err := scan(input, "%s %g °C", &name, &ts); err != nil {
		return validate.Programme{}, err
	}
	set, _ := validate.LimitSetNamed(name)
	for _, p := range set.Programmes {
		if float64(p.Sterilising) == ts {
			return p, nil
		}
	}
	return validate.Programme{}, fmt.Errorf("no built-in limit for %s", input)
}

func guarded(high bool) (float64, error) {
	p, err := limitOf("en 134 °C")
	lo, hi := validate.Guard(float64(p.Sterilising), float64(p.Sterilising)+p.Band, validate.DefaultUncertainty().Temperature.Value)
	if high {
		return hi, err
	}
	return lo, err
}

// limitOfCheck is the upper limit that a check really used on an invented cycle.
func limitOfCheck(check string, c fixtures.Cycle) formula {
	return func(string, table) (float64, error) { return usedLimit(check, c, 18) }
}

func equilibrationLimit(input string, _ table) (float64, error) {
	litres := 800.0
	if strings.HasPrefix(input, "above") {
		litres = 801
	}
	return usedLimit("equilibration", fixtures.Cycle{}, litres)
}

func usedLimit(check string, c fixtures.Cycle, litres float64) (float64, error) {
	r := c.Readings()
	in := cycle.Readings{Seconds: r.Seconds, Lines: make([]int, len(r.Seconds)),
		Channels: []cycle.Channel{channel(cycle.Chamber, r.Chamber)},
		Pressure: &cycle.Pressure{Reference: cycle.Absolute, KPa: r.KPa}}
	for _, load := range r.Loads {
		in.Channels = append(in.Channels, channel(cycle.LoadProbe, load))
	}
	h := cycle.Header{Start: time.Date(2026, 11, 2, 8, 14, 3, 0, time.UTC)}
	if c.Leak != nil {
		h.Label = cycle.Label{Text: c.Label, Kind: cycle.LeakTest}
	}
	v, err := judgeReadings(h, in, litres)
	if err != nil {
		return 0, err
	}
	for _, f := range v.Findings {
		if f.Check == check && f.High.Known {
			return f.High.Value, nil
		}
	}
	return 0, fmt.Errorf("the check %s stated no upper limit", check)
}

func channel(role cycle.Role, celsius []float64) cycle.Channel {
	c := cycle.Channel{Role: role}
	for _, v := range celsius {
		c.Celsius = append(c.Celsius, cycle.Celsius(v))
	}
	return c
}

func judgeReadings(h cycle.Header, in cycle.Readings, litres float64) (validate.Verdict, error) {
	rec, err := cycle.New(h, in)
	if err != nil {
		return validate.Verdict{}, err
	}
	set, _ := validate.LimitSetNamed(DefaultLimits)
	return validate.Judge(rec, validate.Rules{Set: set,
		Machine: validate.Machine{DefaultProgramme: "134", Litres: validate.Known(litres)}}), nil
}

// f0Of is the F0 that the judge measures (Tref 121.1 °C), in min.
func f0Of(seconds, celsius []float64) (float64, error) {
	v, err := judgeReadings(cycle.Header{}, cycle.Readings{Seconds: seconds, Lines: make([]int, len(seconds)),
		Channels: []cycle.Channel{channel(cycle.Chamber, celsius)}}, 18)
	if err == nil && !v.Measured.F0.Known {
		err = fmt.Errorf("no F0 was measured")
	}
	return v.Measured.F0.Value, err
}

func steadyF0(tref float64) formula {
	return func(input string, _ table) (float64, error) {
		var minutes, t float64
		if strings.HasPrefix(input, "1 min at") {
			minutes = 1
		}
		if err := scan(input, "%g min at %g °C", &minutes, &t); err != nil {
			return 0, err
		}
		var seconds, celsius []float64
		for s := 0.0; s <= 60*minutes; s++ {
			seconds, celsius = append(seconds, s), append(celsius, t)
		}
		f0, err := f0Of(seconds, celsius)
		return f0 * math.Pow(10, (121.1-tref)/10), err
	}
}

// rampF0 has ten readings a second: the trapezoids err by 0.0001 % of it then.
func rampF0(input string, _ table) (float64, error) {
	var from, to, minutes float64
	if err := scan(input, "%g to %g °C in %g min", &from, &to, &minutes); err != nil {
		return 0, err
	}
	n := int(minutes * 600)
	var seconds, celsius []float64
	for i := range n + 1 {
		seconds, celsius = append(seconds, float64(i)/10), append(celsius, from+(to-from)*float64(i)/float64(n))
	}
	return f0Of(seconds, celsius)
}

// leakByTemperature is p·ΔT/T at 300 K, a room and a warm chamber.
func leakByTemperature(input string, _ table) (float64, error) {
	var mbar float64
	err := scan(input, "%g mbar", &mbar)
	return mbar * 10 / 300, err
}

func saturationPressure(input string, _ table) (float64, error) {
	var t float64
	if strings.HasSuffix(input, " K") {
		if err := scan(input, "%g K", &t); err != nil {
			return 0, err
		}
		p, err := steam.Pressure(cycle.Kelvin(t))
		return float64(p) / 1000, err
	}
	if err := scan(input, "%g °C", &t); err != nil {
		return 0, err
	}
	p, err := steam.Pressure(cycle.Celsius(t).Kelvin())
	return float64(p), err
}

func saturationTemperature(input string, _ table) (float64, error) {
	var mpa float64
	if err := scan(input, "%g MPa", &mpa); err != nil {
		return 0, err
	}
	t, err := steam.Temperature(cycle.Kilopascal(1000 * mpa))
	return float64(t), err
}

// saturationRange finds where the formula begins to refuse, by halving.
func saturationRange(input string, _ table) (float64, error) {
	temperature := func(x float64) error { _, err := steam.Pressure(cycle.Kelvin(x)); return err }
	pressure := func(x float64) error { _, err := steam.Temperature(cycle.Kilopascal(x)); return err }
	switch input {
	case "lowest temperature":
		return edge(temperature, 400, 200), nil
	case "highest temperature":
		return edge(temperature, 400, 800), nil
	case "lowest pressure":
		return 1000 * edge(pressure, 100, 0), nil // Pa
	case "highest pressure":
		return edge(pressure, 100, 1e5) / 1000, nil // MPa
	}
	return 0, fmt.Errorf("no such end %q", input)
}

func edge(refuses func(float64) error, inside, outside float64) float64 {
	for range 200 {
		if middle := (inside + outside) / 2; refuses(middle) == nil {
			inside = middle
		} else {
			outside = middle
		}
	}
	return inside
}

// saturationRise is the rise over the next kelvin.
func saturationRise(input string, _ table) (float64, error) {
	var t float64
	if err := scan(input, "%g °C", &t); err != nil {
		return 0, err
	}
	p, err := steam.Pressure(cycle.Celsius(t).Kelvin())
	if err != nil {
		return 0, err
	}
	next, err := steam.Pressure(cycle.Celsius(t + 1).Kelvin())
	return float64(next - p), err
}

func atmosphere(input string, _ table) (float64, error) {
	var h float64
	if err := scan(input, "%g m", &h); err != nil {
		return 0, err
	}
	p, err := validate.Atmosphere(h)
	return float64(p) / 100, err
}

func gaugeAt120(input string, d table) (float64, error) {
	air, err := atmosphere(input, d)
	if err != nil {
		return 0, err
	}
	p, err := steam.Pressure(cycle.Celsius(120).Kelvin())
	return (float64(p) - 100*air) / psi, err
}

func conformance(input string, _ table) (float64, error) {
	var limit, y, u float64
	if err := scan(input, "at most %g, y %g, u %g", &limit, &y, &u); err == nil {
		return validate.ConformanceBelow(limit, y, u)
	}
	if err := scan(input, "at least %g, y %g, u %g", &limit, &y, &u); err != nil {
		return 0, err
	}
	return validate.ConformanceAbove(limit, y, u)
}

const merkleLeaves = "Merkle tree leaf"

// merkleRoot computes the root of the first leaves of the table with the library
// that the logbook uses; a text that is no root where it cannot.
func merkleRoot(leaves []fixtures.Row, input string) string {
	var n int
	if err := scan(input, "%d leaves", &n); err != nil || n < 1 || n > len(leaves) {
		return "no such leaves"
	}
	var kept hashes
	for i, r := range leaves[:n] {
		leaf, err := hex.DecodeString(r.Printed)
		if err != nil {
			return err.Error()
		}
		more, err := tlog.StoredHashes(int64(i), leaf, kept)
		if err != nil {
			return err.Error()
		}
		kept = append(kept, more...)
	}
	root, err := tlog.TreeHash(int64(n), kept)
	if err != nil {
		return err.Error()
	}
	return hex.EncodeToString(root[:])
}

// hashes is a tree in memory.
type hashes []tlog.Hash

func (h hashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	var out []tlog.Hash
	for _, i := range indexes {
		if i < 0 || i >= int64(len(h)) {
			return nil, fmt.Errorf("no hash %d", i)
		}
		out = append(out, h[i])
	}
	return out, nil
}
