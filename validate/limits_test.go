package validate

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"holdproof/parse/cycle"
)

// The published rows, typed a second time from the documents' figures as text:
// temperature in °C, band in K, time in minutes, and how sure each is.
//
//	134, 126, 121 °C: EN 285 cl. 8.3.1 as the DGKH recommendation on steam validation
//	2009 quotes it (second-hand); 126, 121, 115 °C: Central Sterilising Club 2025,
//	table 10.2 (read); band 134 to 137 °C: Pankhurst & Coulter 2017, p. 134 (read);
//	other bands: HTM 2010, HTM 01-01 part C (memory);
//	132 °C 4 min, 121 °C 30 min, 132 °C 15 min: CDC 2008 table 7 (read);
//	135 °C 3 min: ANSI/AAMI ST79 (memory); bands of the US rows: ours.
var publishedLimits = []struct{ set, celsius, band, minutes, document, sure, bandSure string }{
	{"en", "134", "3", "3", "EN 285", "second-hand", "read"},
	{"en", "126", "3", "10", "table 10.2", "read", "memory"},
	{"en", "121", "3", "15", "table 10.2", "read", "memory"},
	{"en", "115", "3", "30", "table 10.2", "read", "memory"},
	{"us-dynamic-air-removal", "132", "3", "4", "2008, table 7", "read", "computed"},
	{"us-dynamic-air-removal", "135", "3", "3", "ST79", "memory", "computed"},
	{"us-gravity", "121", "3", "30", "2008, table 7", "read", "computed"},
	{"us-gravity", "132", "3", "15", "2008, table 7", "read", "computed"},
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestPublishedLimits(t *testing.T) {
	rows := 0
	for _, s := range LimitSets() {
		rows += len(s.Programmes)
		if s.Equilibration == (s.Name == "us-gravity") {
			t.Errorf("%s: only us-gravity has no limit for the equilibration time", s.Name)
		}
	}
	if rows != len(publishedLimits) {
		t.Errorf("%d rows, %d published", rows, len(publishedLimits))
	}
	for _, w := range publishedLimits {
		s, ok := LimitSetNamed(w.set)
		i := slices.IndexFunc(s.Programmes, func(p Programme) bool { return p.Name == w.celsius })
		if !ok || i < 0 {
			t.Errorf("%s has no %s", w.set, w.celsius)
			continue
		}
		p := s.Programmes[i]
		if float64(p.Sterilising) != number(t, w.celsius) || p.Band != number(t, w.band) || p.Hold != 60*number(t, w.minutes) {
			t.Errorf("%s %s: got %v °C +%v K %v s", w.set, w.celsius, p.Sterilising, p.Band, p.Hold)
		}
		if p.Source.Sure.String() != w.sure || p.BandSource.Sure.String() != w.bandSure || !strings.Contains(p.Source.Text, w.document) {
			t.Errorf("%s %s: source %v, band %v", w.set, w.celsius, p.Source, p.BandSource)
		}
		if p.BandOurs != (w.bandSure == "computed") || p.BandOurs != strings.HasPrefix(p.BandSource.Text, "ours: ") || p.Machines == "" {
			t.Errorf("%s %s: whose the band is, or the machines, are not said: %+v", w.set, w.celsius, p)
		}
	}
}

func TestLimitSetsAreCopies(t *testing.T) {
	LimitSets()[0].Programmes[0].Hold = 1
	if s, _ := LimitSetNamed("en"); s.Programmes[0].Hold != 180 {
		t.Error("a caller changed the built-in sets")
	}
	if s, ok := LimitSetNamed("EN"); ok || len(s.Programmes) != 0 {
		t.Error("a name nobody knows gave a set")
	}
}

// At most 3.5 min at 134 °C: ISO 11140-3/-4 (second-hand); 10 s less and 15 s more, and
// the figures at 132 °C, are ours.
func TestPenetrationLimits(t *testing.T) {
	for _, s := range LimitSets() {
		for _, p := range s.Programmes {
			want := [2]float64{0, 0}
			switch p.Name {
			case "134":
				want = [2]float64{3.5*60 - 10, 3.5*60 + 15}
			case "132":
				want = [2]float64{200, 255}
			}
			if got := [2]float64{p.Penetration, p.PenetrationX}; got != want {
				t.Errorf("%s %s: %v, want %v", s.Name, p.Name, got, want)
			}
			if (p.PenetrationSource.Text != "") != (want[0] != 0) {
				t.Errorf("%s %s: source %q", s.Name, p.Name, p.PenetrationSource.Text)
			}
		}
	}
}

func TestSiteLimits(t *testing.T) {
	row := func(ts, band, hold float64) LimitSet {
		return LimitSet{Programmes: []Programme{{Sterilising: 134, Band: 3, Hold: 180},
			{Sterilising: cycle.Celsius(ts), Band: band, Hold: hold}}}
	}
	for _, c := range []struct {
		why            string
		ts, band, hold float64
		fields         string // refused
		reason         string // refused although the set says why
	}{
		{"stricter", 134, 2, 240, "", ""},
		{"as published", 121, 3, 900, "", ""},
		{"the shortest published at 132 °C", 132, 3, 240, "", ""},
		{"short by a second", 134, 3, 179, "hold_s", ""},
		{"shorter than any at 132 °C", 132, 3, 239, "hold_s", ""},
		{"wide", 121, 3.5, 900, "band_k", ""},
		{"wide and short", 121, 4, 899, "band_k hold_s", ""},
		{"a temperature of its own", 128, 3, 1800, "sterilising_c", ""},
		{"within the tolerance", 134 + 5e-10, 3 + 5e-10, 180 - 5e-10, "", ""},
		{"no time", 134, 3, 0, "hold_s", "hold_s"},
		{"below nothing", 134, -1, 180, "band_k", "band_k"},
		{"not numbers", math.NaN(), math.NaN(), math.NaN(), "sterilising_c band_k hold_s", "sterilising_c band_k hold_s"},
		{"without end", 134, 3, math.Inf(1), "hold_s", "hold_s"},
		{"cold", 100, 3, 1800, "sterilising_c", "sterilising_c"},
	} {
		set := row(c.ts, c.band, c.hold)
		if got := fields(t, CheckLimits(set)); got != c.fields {
			t.Errorf("%s: refused %q, want %q", c.why, got, c.fields)
		}
		set.LooserBecause = " \t"
		if got := fields(t, CheckLimits(set)); got != c.fields {
			t.Errorf("%s, with a blank reason: refused %q, want %q", c.why, got, c.fields)
		}
		set.LooserBecause = "validation report 2026-03"
		if got := fields(t, CheckLimits(set)); got != c.reason {
			t.Errorf("%s, with a reason: refused %q, want %q", c.why, got, c.reason)
		}
	}
}

func fields(t *testing.T, problems []LimitProblem) string {
	t.Helper()
	var out []string
	for _, p := range problems {
		if p.Programme != 1 || p.Found == "" || p.Want == "" || p.Remedy == "" || !strings.Contains(p.Error(), p.Found) {
			t.Errorf("a problem that says too little: %+v", p)
		}
		out = append(out, p.Field)
	}
	return strings.Join(out, " ")
}
