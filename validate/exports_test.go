package validate_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// The invented exports of fixtures/exports and what must come out of each, computed
// by a program that shares no code with this one. The tolerances are those it gives.

type expected struct {
	Kind     string              `json:"kind"`
	Outcome  string              `json:"outcome"`
	Checks   map[string]string   `json:"checks"`
	Measured map[string]*float64 `json:"measured"`
}

type expectedFile struct {
	Config string     `json:"config"`
	Cycles []expected `json:"cycles"`
}

const exportsDir = "../fixtures/exports"

func expectations(t testing.TB) map[string]expectedFile {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(exportsDir, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var out map[string]expectedFile
	if err := json.Unmarshal(b, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// simple are the files that readSimple can read: plain headings, ISO times, commas.
func simple(all map[string]expectedFile) []string {
	var names []string
	for name := range all {
		if name[0] == 'a' || name[0] == 'b' {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

func TestExports(t *testing.T) {
	all := expectations(t)
	names := simple(all)
	if len(names) < 35 {
		t.Fatalf("only %d exports to read", len(names))
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			want := all[name]
			if len(want.Cycles) != 1 {
				t.Fatalf("%d cycles expected", len(want.Cycles))
			}
			compare(t, want.Cycles[0], validate.Judge(readSimple(t, name), rulesFor(t, want.Config)))
		})
	}
}

// rulesFor are the rules of the configuration beside an export; of these files only
// one has one.
func rulesFor(t testing.TB, config string) validate.Rules {
	t.Helper()
	r := validate.Rules{Set: limitSet(t, "en")}
	switch config {
	case "":
	case "a23-us-132.yaml":
		r.Set = limitSet(t, "us-dynamic-air-removal")
		r.Site.Altitude = validate.Known(0)
	default:
		t.Fatalf("no rules are known for %s", config)
	}
	return r
}

func limitSet(t testing.TB, name string) validate.LimitSet {
	t.Helper()
	s, ok := validate.LimitSetNamed(name)
	if !ok {
		t.Fatalf("no limit set %q", name)
	}
	return s
}

// figures are the measured figures with the tolerances of the exports: absolute,
// except that F0 may differ by 0.1 % or 0.01 min.
func figures(m validate.Measured) map[string]struct {
	validate.Figure
	tolerance float64
} {
	return map[string]struct {
		validate.Figure
		tolerance float64
	}{
		"hold_s": {m.Hold, 0.2}, "hold_guarded_s": {m.HoldGuarded, 0.05}, "hold_max_s": {m.HoldMax, 0.05},
		"in_band_s": {m.InBand, 0.2}, "equilibration_s": {m.Equilibration, 0.2},
		"temperature_min_c": {m.TemperatureMin, 0.02}, "temperature_max_c": {m.TemperatureMax, 0.02},
		"spread_k": {m.Spread, 0.02}, "steam_mean_k": {m.SteamMean, 0.02}, "steam_gap_k": {m.SteamGap, 0.03},
		"f0_min": {m.F0, max(0.01, 0.001*m.F0.Value)}, "sampling_s": {m.Sampling, 0.2}, "leak_kpa_per_min": {m.Leak, 0.002},
	}
}

func compare(t *testing.T, want expected, got validate.Verdict) {
	t.Helper()
	if got.Kind.String() != want.Kind && want.Kind != "" {
		t.Errorf("kind: got %q, want %q", got.Kind, want.Kind)
	}
	if got.Outcome().String() != want.Outcome {
		t.Errorf("outcome: got %s, want %s", got.Outcome(), want.Outcome)
	}
	outcomes := map[string]string{}
	for _, f := range got.Findings {
		outcomes[f.Check] = f.Outcome.String()
	}
	for check, outcome := range want.Checks {
		if have, ok := outcomes[check]; have != outcome && (ok || outcome != "not assessed") {
			t.Errorf("%s: got %q, want %q", check, have, outcome)
		}
	}
	have := figures(got.Measured)
	for name, w := range want.Measured {
		g, ok := have[name]
		switch {
		case !ok:
			t.Errorf("nobody measures %s", name)
		case (w != nil) != g.Known:
			t.Errorf("%s: got %+v, want known %t", name, g.Figure, w != nil)
		case w != nil && !(math.Abs(g.Value-*w) <= g.tolerance):
			t.Errorf("%s: got %v, want %v", name, g.Value, *w)
		}
	}
	if t.Failed() {
		for _, f := range got.Findings {
			t.Logf("%s: %s: %s", f.Check, f.Outcome, f.Message)
		}
	}
}

// readSimple reads an export with plain headings, on its own: the comparison above
// does not rest on parse.
func readSimple(t testing.TB, name string) *cycle.Record {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(exportsDir, name))
	if err != nil {
		t.Fatal(err)
	}
	rec, err := simpleRecord(name, string(b))
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

var simpleHeading = regexp.MustCompile(`^(.*) \[(.*)\]$`)

func simpleRecord(name, text string) (*cycle.Record, error) {
	h := cycle.Header{Source: cycle.Source{File: name}, Steriliser: "S1"}
	var r cycle.Readings
	var headings []string
	for i, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		key, value, preamble := strings.Cut(line, ": ")
		cells := strings.Split(line, ",")
		switch {
		case headings == nil && preamble && (key == "Programme" || key == "Cycle type"):
			h.Label = simpleLabel(value, i+1)
		case headings == nil:
			headings = cells
			simpleColumns(&r, cells)
		case len(cells) == len(headings):
			if err := simpleRow(&h, &r, headings, cells, i+1); err != nil {
				return nil, err
			}
		default:
			return nil, fmt.Errorf("%s:%d: %q", name, i+1, line)
		}
	}
	return cycle.New(h, r)
}

func simpleColumns(r *cycle.Readings, headings []string) {
	for i, heading := range headings[1:] {
		parts := simpleHeading.FindStringSubmatch(heading)
		c := cycle.Channel{Heading: parts[1], Column: i + 2}
		switch {
		case parts[1] == "pressure":
			r.Pressure = &cycle.Pressure{Heading: parts[1], Column: i + 2, Reference: cycle.Absolute}
			if strings.HasSuffix(parts[2], "gauge") {
				r.Pressure.Reference = cycle.Gauge
			}
			continue
		case parts[1] == "chamber temperature":
			c.Role = cycle.Chamber
		case strings.HasPrefix(parts[1], "load temperature"):
			c.Role = cycle.LoadProbe
		}
		r.Channels = append(r.Channels, c)
	}
}

func simpleRow(h *cycle.Header, r *cycle.Readings, headings, cells []string, line int) error {
	at, err := time.Parse("2006-01-02T15:04:05", cells[0])
	if err != nil {
		return err
	}
	if len(r.Seconds) == 0 {
		h.Start = at
	}
	r.Seconds = append(r.Seconds, at.Sub(h.Start).Seconds())
	r.Lines = append(r.Lines, line)
	k := 0
	for i, cell := range cells[1:] {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			v = math.NaN()
			h.Unreadable = append(h.Unreadable, cycle.Cell{Line: line, Column: i + 2, Heading: headings[i+1], Text: cell})
		}
		heading := headings[i+1]
		if strings.HasPrefix(heading, "pressure") {
			if strings.Contains(heading, "[bar") {
				v *= 100
			}
			r.Pressure.KPa = append(r.Pressure.KPa, v)
			continue
		}
		if strings.Contains(heading, "°F") {
			v = (v - 32) * 5 / 9
		}
		r.Channels[k].Celsius = append(r.Channels[k].Celsius, cycle.Celsius(v))
		k++
	}
	return nil
}

var (
	simpleNumber   = regexp.MustCompile(`(?:^|[^0-9])([0-9]{3})(F)?(?:$|[^0-9])`)
	simpleDuration = regexp.MustCompile(`([0-9]+) min`)
)

func simpleLabel(text string, line int) cycle.Label {
	l := cycle.Label{Text: text, Line: line}
	if m := simpleNumber.FindStringSubmatch(text); m != nil {
		v, _ := strconv.ParseFloat(m[1], 64)
		l.Numbers = append(l.Numbers, cycle.Number{Value: v, Unit: m[2]})
	}
	if m := simpleDuration.FindStringSubmatch(text); m != nil {
		v, _ := strconv.ParseFloat(m[1], 64)
		l.Durations = append(l.Durations, 60*v)
	}
	if text == "Vacuum test" {
		l.Kind = cycle.LeakTest
	}
	return l
}
