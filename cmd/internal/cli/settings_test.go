package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// world is one that knows no variables but those given.
func world(variables map[string]string) World {
	return World{Stdin: strings.NewReader(""), Stdout: new(strings.Builder), Stderr: new(strings.Builder),
		Now: func() time.Time { return time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC) },
		Getenv: func(name string) string {
			return variables[name]
		}}
}

const whole = `site:
  name: Tern Quay Surgery
  timezone: Europe/London
  altitude_m: 12
limits: en
routine: england
watch: []
sterilisers:
  - id: S1
    serial: "TQ-0417"
    chamber_litres: 18
    type: B
    programme: "134"
    uncertainty: {temperature_k: 0.3, pressure_kpa: 2.0, certificate: {number: C-11, date: 2026-01-10, due: 2027-01-10}}
    air_removal: {pulses: 3, below_kpa: 20}
    drying: {below_kpa: 12, minutes: 8}
    reference: {hold_s: {at: 232, within: 10}, plateau_c: {at: 135.3, within: 0.5}, heating_s: {at: 410, within: 60}}
    programmes:
      - {label: "134 Wrapped.Long", programme: "134"}
      - {label: "Helix", programme: "134", kind: steam penetration test}
      - {label: "Vac test", kind: air leakage test}
    export:
      steriliser_column: Unit
      date_order: dmy
      decimal: ","
      pressure: gauge
      columns:
        - {heading: "Temp. Kammer", is: chamber temperature, unit: degC}
        - {heading: "T3", is: not connected}
        - {heading: "P1", is: pressure, unit: bar}
        - {heading: "When", is: time}
limit_sets:
  - name: mine
    source: "validation report 2026-03, page 7"
    programmes:
      - {name: "134", sterilising_c: 134, band_k: 3, hold_s: 240}
`

func TestSettingsWhole(t *testing.T) {
	c, err := decode(world(nil), "holdproof.yaml", []byte(whole))
	if err != nil {
		t.Fatal(err)
	}
	s := c.Sterilisers[0]
	for _, got := range []struct{ got, want string }{
		{c.Site.Name, "Tern Quay Surgery"},
		{fmt.Sprint(*c.Site.AltitudeM), "12"},
		{s.Programmes[0].Label, "134 Wrapped.Long"}, // neither lowered nor cut at the dot
		{s.Export.Columns[0].Heading, "Temp. Kammer"},
		{s.Export.Decimal, ","},
		{fmt.Sprint(*s.Uncertainty.TemperatureK), "0.3"},
		{s.Uncertainty.Certificate.Due.Format(time.DateOnly), "2027-01-10"},
		{fmt.Sprint(s.AirRemoval.Pulses, s.Drying.Minutes, s.Reference.PlateauC.At), "3 8 135.3"},
		{c.LimitSets[0].Programmes[0].Name, "134"},
	} {
		if got.got != got.want {
			t.Errorf("got %q, want %q", got.got, got.want)
		}
	}
}

// In each text ▶ marks the line that the error must name; the mark is taken out first.
var refusedSettings = []struct{ why, in, key, want string }{
	{"a misspelt key", "site:\n▶  timezon: UTC\n", "site.timezon", `Did you mean "timezone"?`},
	{"keys are lower case", "▶Site:\n  name: x\n", "Site", `Did you mean "site"?`},
	{"an unknown key deep down", "sterilisers:\n  - id: S1\n    export:\n      columns:\n▶        - {heading: a, is: time, of: x}\n", "sterilisers[1].export.columns[1].of", "heading, is or unit"},
	{"a key twice", "limits: en\n▶limits: us-gravity\n", "limits", "a second time"},
	{"a text for a number", "site:\n▶  altitude_m: high\n", "site.altitude_m", "a number such as"},
	{"a number in quotes", "site:\n▶  altitude_m: \"12\"\n", "site.altitude_m", "a number such as"},
	{"not a number", "site:\n▶  altitude_m: .nan\n", "site.altitude_m", "a number such as"},
	{"base sixteen", "site:\n▶  altitude_m: 0x1f\n", "site.altitude_m", "a number such as"},
	{"base eight", "sterilisers:\n  - id: S1\n▶    serial: 0417\n", "sterilisers[1].serial", `Write it in quotes: "0417".`},
	{"no value", "site:\n▶  name:\n", "site.name", "no value"},
	{"a list for keys", "▶site: [a, b]\n", "site", "keys with values"},
	{"keys for a list", "▶sterilisers: {id: S1}\n", "sterilisers", "a list"},
	{"an alias", "site:\n▶  name: &a x\n", "site.name", "the value itself"},
	{"no such zone", "site:\n▶  timezone: Mars/Base\n", "site.timezone", "an IANA name such as Europe/London"},
	{"the computer's own zone", "site:\n▶  timezone: Local\n", "site.timezone", "an IANA name"},
	{"too high", "site:\n▶  altitude_m: 9000\n", "site.altitude_m", "-450 to 5500 m"},
	{"altitude and ambient", "site:\n  altitude_m: 12\n▶  ambient_kpa: 100.9\n", "site.ambient_kpa", "one of the two"},
	{"no such set", "▶limits: eu\n", "limits", "en, us-dynamic-air-removal or us-gravity"},
	{"no such routine", "▶routine: englnd\n", "routine", `Did you mean "england"?`},
	{"a change without a reason", "routine: england\nroutine_changes:\n▶  - {duty: suction looked at, drop: true}\n", "routine_changes[1].reason", "why the surgery does it otherwise"},
	{"a change of nothing", "routine: england\nroutine_changes:\n▶  - {duty: suction looked at, reason: x}\n", "routine_changes[1]", "what changes"},
	{"a change of no routine", "▶routine_changes: [{duty: suction looked at, drop: true, reason: x}]\n", "routine_changes", "routine: with one of"},
	{"a change of a misspelt duty", "routine: england\nroutine_changes:\n▶  - {duty: suction looked, drop: true, reason: x}\n", "routine_changes[1].duty", `Did you mean "suction looked at"?`},
	{"a change with an interval in words", "routine: england\nroutine_changes:\n▶  - {duty: clock checked, every: monthly, reason: x}\n", "routine_changes[1].every", "days or months such as 7 days"},
	{"a limit where there is no figure", "routine: england\nroutine_changes:\n▶  - {duty: suction looked at, low: 2, reason: x}\n", "routine_changes[1].low", "none, since the duty has no figure"},
	{"a change of one line of two", "routine: australia\nroutine_changes:\n▶  - {duty: leak test read, every: 3 days, reason: x}\n", "routine_changes[1].per", "the one that changes"},
	{"a new line without a sentence", "routine: england\nroutine_changes:\n▶  - {duty: hands and surfaces, when: end of day, per: surgery, every: 1 day, reason: x}\n", "routine_changes[1].what", "a sentence"},
	{"drop in words", "routine: england\nroutine_changes:\n▶  - {duty: suction looked at, drop: yes, reason: x}\n", "routine_changes[1].drop", "true or false"},
	{"one chair twice", "▶chairs: [chair 1, Chair 1]\n", "chairs[2]", "a name of its own"},
	{"a chair with two blanks", "▶chairs: [chair  1]\n", "chairs[1]", "single blanks"},
	{"a chair without a name", "▶chairs: [\"\"]\n", "chairs[1]", "a name such as chair 1"},
	{"a product without its source", "products:\n▶  - {name: rinse, contact_min: 10}\n", "products[1].source", "the maker's leaflet"},
	{"a product without a contact time", "products:\n▶  - {name: rinse, source: leaflet}\n", "products[1].contact_min", "above 0"},
	{"a product stronger than it can be", "products:\n▶  - {name: rinse, source: leaflet, contact_min: 10, concentration_percent: 101}\n", "products[1].concentration_percent", "up to 100 %"},
	{"a product twice", "products:\n  - {name: rinse, source: leaflet, contact_min: 10}\n▶  - {name: Rinse, source: leaflet, contact_min: 12}\n", "products[2].name", "a name of its own"},
	{"how long packs keep", "▶use_by: 6 weeks\n", "use_by", "days or months such as 6 months"},
	{"type", "sterilisers:\n  - id: S1\n▶    type: C\n", "sterilisers[1].type", "B, N or S"},
	{"no id", "sterilisers:\n▶  - serial: x\n", "sterilisers[1].id", "a short name"},
	{"one id twice", "sterilisers:\n  - id: S1\n▶  - id: s1\n", "sterilisers[2].id", "a name of its own"},
	{"one serial twice", "sterilisers:\n  - {id: S1, serial: x}\n▶  - {id: S2, serial: x}\n", "sterilisers[2].serial", "a name of its own"},
	{"an unknown programme", "sterilisers:\n  - id: S1\n▶    programme: \"135\"\n", "sterilisers[1].programme", "134, 126, 121 or 115\n  Write one of them."},
	{"a mapping to an unknown programme", "sterilisers:\n  - id: S1\n    programmes:\n▶      - {label: x, programme: \"135\"}\n", "sterilisers[1].programmes[1].programme", "134, 126"},
	{"a mapping to nothing", "sterilisers:\n  - id: S1\n    programmes:\n▶      - {label: x}\n", "sterilisers[1].programmes[1]", "programme, kind or both"},
	{"an unknown kind", "sterilisers:\n  - id: S1\n    programmes:\n▶      - {label: x, kind: leak}\n", "sterilisers[1].programmes[1].kind", "air leakage test"},
	{"uncertainty 0", "sterilisers:\n  - id: S1\n    uncertainty:\n▶      temperature_k: 0\n", "sterilisers[1].uncertainty.temperature_k", "above 0"},
	{"uncertainty without a certificate", "sterilisers:\n  - id: S1\n    uncertainty:\n▶      temperature_k: 0.3\n", "sterilisers[1].uncertainty.temperature_k", "0.5 K or more, or a certificate"},
	{"pressure uncertainty without a certificate", "sterilisers:\n  - id: S1\n    uncertainty:\n▶      pressure_kpa: 6.3\n", "sterilisers[1].uncertainty.pressure_kpa", "6.4 kPa or more"},
	{"a certificate without a due date", "sterilisers:\n  - id: S1\n    uncertainty:\n▶      certificate: {number: C-1, date: 2026-01-10}\n", "sterilisers[1].uncertainty.certificate.due", "a day such as"},
	{"a certificate due before its date", "sterilisers:\n  - id: S1\n    uncertainty:\n▶      certificate: {number: C-1, date: 2026-01-10, due: 2025-01-10}\n", "sterilisers[1].uncertainty.certificate.due", "after 2026-01-10"},
	{"no such day", "sterilisers:\n  - id: S1\n    uncertainty:\n▶      certificate: {number: C-1, date: 2026-02-30, due: 2027-01-10}\n", "sterilisers[1].uncertainty.certificate.date", "a day such as"},
	{"half a pulse", "sterilisers:\n  - id: S1\n▶    air_removal: {pulses: 2.5, below_kpa: 20}\n", "sterilisers[1].air_removal.pulses", "a whole number"},
	{"no pulses", "sterilisers:\n  - id: S1\n▶    air_removal: {below_kpa: 20}\n", "sterilisers[1].air_removal.pulses", "above 0 and up to 50\n"},
	{"date order", "sterilisers:\n  - id: S1\n▶    export: {date_order: dym}\n", "sterilisers[1].export.date_order", "dmy, mdy or ymd"},
	{"what a column is", "sterilisers:\n  - id: S1\n    export:\n      columns:\n▶        - {heading: a, is: chamber}\n", "sterilisers[1].export.columns[1].is", "chamber temperature"},
	{"a unit of a temperature", "sterilisers:\n  - id: S1\n    export:\n      columns:\n▶        - {heading: a, is: chamber temperature, unit: bar}\n", "sterilisers[1].export.columns[1].unit", "degC"},
	{"a shorter hold than published", "limit_sets:\n  - name: mine\n    source: report\n    programmes:\n▶      - {name: \"134\", sterilising_c: 134, band_k: 3, hold_s: 120}\n", "limit_sets[1].programmes[1].hold_s", "at least 180 s"},
	{"a wider band than published", "limit_sets:\n  - name: mine\n    source: report\n    programmes:\n▶      - {name: \"134\", sterilising_c: 134, band_k: 4, hold_s: 180}\n", "limit_sets[1].programmes[1].band_k", "at most 3 K"},
	{"a temperature nobody publishes", "limit_sets:\n  - name: mine\n    source: report\n    programmes:\n▶      - {name: \"130\", sterilising_c: 130, band_k: 3, hold_s: 180}\n", "limit_sets[1].programmes[1].sterilising_c", "134"},
	{"a set of a name that is taken", "limit_sets:\n▶  - {name: en, source: x, programmes: [{name: \"134\", sterilising_c: 134, band_k: 3, hold_s: 180}]}\n", "limit_sets[1].name", "a name of its own"},
	{"a set without a source", "limit_sets:\n▶  - {name: mine, programmes: [{name: \"134\", sterilising_c: 134, band_k: 3, hold_s: 180}]}\n", "limit_sets[1].source", "the report"},
	{"not YAML (its reader names the line before)", "site:\n▶  name: x\n \tbad: [\n", "", "YAML"},
	{"a second document", "limits: en\n▶---\nlimits: en\n", "", "a second document"},
	{"a text alone", "▶hello\n", "", "keys with values"},
	{"nobody reviews and nobody says why", "▶site:\n  second_signature: none\n", "", "the reason why nobody else signs"},
	{"a word that is no choice", "site:\n  second_signature: ▶maybe\n", "site.second_signature", "required or none"},
	{"a stamp server without a scheme", "timestamp: {▶url: stamp.example}\n", "timestamp.url", "an address such as https://"},
	{"authorities without a server", "timestamp: {▶roots: a.pem}\n", "timestamp.url", "nothing"},
}

func TestSettingsRefused(t *testing.T) {
	for _, c := range refusedSettings {
		head, _, ok := strings.Cut(c.in, "▶")
		if !ok {
			t.Fatalf("%s: no mark", c.why)
		}
		line := strings.Count(head, "\n") + 1
		_, err := decode(world(nil), "f.yaml", []byte(strings.Replace(c.in, "▶", "", 1)))
		if err == nil {
			t.Errorf("%s: accepted", c.why)
			continue
		}
		want := fmt.Sprintf("f.yaml:%d: ", line)
		if c.key != "" {
			want += c.key + ": found "
		}
		if !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got\n%v\nwant %q and %q", c.why, err, want, c.want)
		}
	}
}

// A looser limit with its reason, an own uncertainty with its certificate and a larger
// one without, nothing at all: none is refused.
func TestSettingsAccepted(t *testing.T) {
	for why, in := range map[string]string{
		"empty":                "",
		"a comment":            "# nothing yet\n",
		"a heading alone":      "sterilisers:\n",
		"looser with reason":   "limit_sets:\n  - {name: mine, source: x, looser_because: the maker says so, programmes: [{name: \"130\", sterilising_c: 130, band_k: 3, hold_s: 60}]}\nlimits: mine\n",
		"larger uncertainty":   "sterilisers:\n  - {id: S1, uncertainty: {temperature_k: 0.8}}\n",
		"altitude 0":           "site: {altitude_m: 0}\n",
		"a programme unquoted": "sterilisers:\n  - {id: S1, programme: 134}\n",
	} {
		c, err := decode(world(nil), "f.yaml", []byte(in))
		if err != nil {
			t.Errorf("%s: %v", why, err)
		}
		if why == "a programme unquoted" && c.Sterilisers[0].Programme != "134" {
			t.Errorf("programme %q", c.Sterilisers[0].Programme)
		}
		if why == "altitude 0" && (c.Site.AltitudeM == nil || *c.Site.AltitudeM != 0) {
			t.Error("an altitude of 0 was lost")
		}
	}
}

func TestSettingsFromVariables(t *testing.T) {
	set := func(name, value string) World {
		t.Setenv(name, value)
		w := world(nil)
		w.Getenv = os.Getenv
		return w
	}
	t.Run("wins over the file", func(t *testing.T) {
		w := set("HOLDPROOF_SITE_TIMEZONE", "Europe/Berlin")
		c, err := decode(w, "f.yaml", []byte("site:\n  timezone: UTC\n"))
		if err != nil || c.Site.Timezone != "Europe/Berlin" {
			t.Errorf("got %q, %v", c.Site.Timezone, err)
		}
		t.Setenv("HOLDPROOF_SITE_TIMEZONE", "")
	})
	t.Run("is enough alone", func(t *testing.T) {
		w := set("HOLDPROOF_SITE_ALTITUDE_M", "12.5")
		c, err := decode(w, "f.yaml", nil)
		if err != nil || c.Site.AltitudeM == nil || *c.Site.AltitudeM != 12.5 {
			t.Errorf("got %v, %v", c.Site.AltitudeM, err)
		}
	})
	t.Run("is named when it is wrong", func(t *testing.T) {
		for name, value := range map[string]string{"HOLDPROOF_SITE_ALTITUDE_M": "high", "HOLDPROOF_LIMITS": "eu", "HOLDPROOF_SITE_TIMEZONE": "Mars/Base"} {
			w := set(name, value)
			if _, err := decode(w, "f.yaml", nil); err == nil || !strings.Contains(err.Error(), name) {
				t.Errorf("%s=%s: %v", name, value, err)
			}
			os.Unsetenv(name)
		}
	})
}

func TestSettingsSearch(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	write := func(dir, name string) string {
		file := filepath.Join(dir, configurationFile)
		if err := os.WriteFile(file, []byte("site:\n  name: "+name+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		return file
	}
	if s, err := settingsFor(world(nil), dir, ""); err != nil || s.file != "" {
		t.Errorf("an empty folder: %q, %v", s.file, err)
	}
	write(dir, "in the folder")
	named, variable := write(other, "named"), filepath.Join(t.TempDir(), "v.yaml")
	if err := os.WriteFile(variable, []byte("site: {name: by variable}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	env := map[string]string{"HOLDPROOF_CONFIG": variable}
	for _, c := range []struct {
		w           World
		named, want string
	}{
		{world(nil), "", "in the folder"},
		{world(env), "", "by variable"},
		{world(env), named, "named"},
	} {
		if s, err := settingsFor(c.w, dir, c.named); err != nil || s.value.Site.Name != c.want {
			t.Errorf("got %q, %v, want %q", s.value.Site.Name, err, c.want)
		}
	}
	if _, err := settingsFor(world(nil), dir, filepath.Join(other, "absent.yaml")); err == nil {
		t.Error("a named file that is absent was passed over")
	}
	if _, err := settingsFor(world(nil), dir, other); err == nil {
		t.Error("a folder was read as a configuration")
	}
}

// For any bytes: no panic, and what is refused is refused at a line that the file has.
func FuzzSettings(f *testing.F) {
	f.Add([]byte(whole))
	for _, c := range refusedSettings {
		f.Add([]byte(strings.Replace(c.in, "▶", "", 1)))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		_, err := decode(world(nil), "f.yaml", src)
		if err == nil {
			return
		}
		var e *settingsError
		if !errors.As(err, &e) || len(e.list) == 0 {
			t.Fatalf("an error without a place: %v", err)
		}
		for _, p := range e.list {
			if p.line < 1 || p.line > lines(src) || p.Found == "" || p.Want == "" || p.Remedy == "" {
				t.Errorf("line %d of %d: %+v", p.line, lines(src), p.Fault)
			}
		}
	})
}
