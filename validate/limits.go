package validate

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// What machines a row is for, said with every verdict: the values are those of
// the documents named beside them, and those were not all seen.
const (
	forBoth = "EN 285 is for large sterilisers and EN 13060 for small ones, whose values were not seen; UK guidance uses these times for both"
	forDAR  = "sterilisers that remove air by vacuum or pulses (dynamic air removal), wrapped instruments"
	forGrav = "sterilisers that remove air by gravity, wrapped instruments"
)

// Where the times and bands come from.
const (
	en285Times = "EN 285, cl. 8.3.1, as quoted by the DGKH recommendation on steam validation 2009"
	cscTable   = "Central Sterilising Club, Principles of Medical Device Decontamination 2025, table 10.2"
	pankhurst  = "Pankhurst & Coulter, Basic Guide to Infection Prevention and Control in Dentistry, 2nd ed. 2017, p. 134"
	htmBand    = "HTM 2010, HTM 01-01 part C"
	cdcTable7  = "CDC, Guideline for Disinfection and Sterilization in Healthcare Facilities, 2008, table 7"
	iso11140   = "ISO 11140-3/-4: at most 3.5 min at 134 °C"
)

// limitTolerance is what every comparison with a limit allows, in the limit's unit (ours).
const limitTolerance = 1e-9

// oursBand is the band of the rows whose documents give a temperature and a time
// and no upper limit.
var oursBand = Source{"ours: the document gives no upper limit; 3 K is the band of the other sets", Computed}

// LimitSets returns the built-in limit sets, a fresh copy at each call. Temperatures
// are the lower limits of bands, times the least holding times.
func LimitSets() []LimitSet {
	sets := []LimitSet{
		{Name: "en", Equilibration: true, Programmes: []Programme{
			{Name: "134", Sterilising: 134, Band: 3, Hold: 180, Machines: forBoth,
				Source: Source{en285Times, SecondHand}, BandSource: Source{pankhurst, Read},
				Differs: "German custom is 5 min (second-hand)"},
			{Name: "126", Sterilising: 126, Band: 3, Hold: 600, Machines: forBoth,
				Source: Source{en285Times + "; " + cscTable, Read}, BandSource: Source{htmBand, FromMemory}},
			{Name: "121", Sterilising: 121, Band: 3, Hold: 900, Machines: forBoth,
				Source: Source{en285Times + "; " + cscTable, Read}, BandSource: Source{htmBand, FromMemory},
				Differs: "15 min also in JADA 1991, 30 min for wrapped instruments by gravity in CDC 2008; German custom is 20 min (second-hand)"},
			{Name: "115", Sterilising: 115, Band: 3, Hold: 1800, Machines: forBoth + "; rarely used",
				Source: Source{cscTable + " (British Pharmaceutical Codex)", Read}, BandSource: Source{htmBand, FromMemory},
				Differs: "25 min in the WHO laboratory manual (memory)"},
		}},
		{Name: "us-dynamic-air-removal", Equilibration: true, Programmes: []Programme{
			{Name: "132", Sterilising: 132, Band: 3, BandOurs: true, Hold: 240, Machines: forDAR,
				Source: Source{cdcTable7, Read}, BandSource: oursBand},
			{Name: "135", Sterilising: 135, Band: 3, BandOurs: true, Hold: 180, Machines: forDAR,
				Source: Source{"ANSI/AAMI ST79", FromMemory}, BandSource: oursBand},
		}},
		{Name: "us-gravity", Programmes: []Programme{
			{Name: "121", Sterilising: 121, Band: 3, BandOurs: true, Hold: 1800, Machines: forGrav,
				Source: Source{cdcTable7 + ", wrapped instruments", Read}, BandSource: oursBand,
				Differs: "15 min in EN 285 and JADA 1991"},
			{Name: "132", Sterilising: 132, Band: 3, BandOurs: true, Hold: 900, Machines: forGrav,
				Source: Source{cdcTable7 + ", wrapped instruments", Read}, BandSource: oursBand,
				Differs: "25 min for textiles in the same table"},
		}},
	}
	for _, s := range sets {
		for i := range s.Programmes {
			s.Programmes[i] = WithPenetration(s.Programmes[i])
		}
	}
	return sets
}

// LimitSetNamed returns the built-in set with that name; false if there is none.
func LimitSetNamed(name string) (LimitSet, bool) {
	for _, s := range LimitSets() {
		if s.Name == name {
			return s, true
		}
	}
	return LimitSet{}, false
}

// WithPenetration returns p with the hold and the upper limit of exposure of a steam
// penetration test at its temperature: 200 s to 225 s at 134 °C (3.5 min less 10 s,
// plus 15 s), 200 s to 255 s at 132 °C. At any other temperature the hold of the
// programme applies and there is no upper limit.
func WithPenetration(p Programme) Programme {
	p.Penetration, p.PenetrationX, p.PenetrationSource = 0, 0, Source{}
	switch {
	case sameLimit(float64(p.Sterilising), 134):
		p.Penetration, p.PenetrationX = 200, 225
		p.PenetrationSource = Source{iso11140 + "; the 10 s less and 15 s more are ours", SecondHand}
	case sameLimit(float64(p.Sterilising), 132):
		p.Penetration, p.PenetrationX = 200, 255
		p.PenetrationSource = Source{"ours: as at 134 °C, up to 4 min and 15 s", Computed}
	}
	return p
}

// LimitProblem is a value of a site's own limit set that is refused.
type LimitProblem struct {
	Programme int    // index into the set's programmes
	Field     string // of holdproof.yaml: sterilising_c, band_k or hold_s
	Found     string
	Want      string
	Remedy    string // a sentence
}

// Error returns the one-line form.
func (p LimitProblem) Error() string { return fmt.Sprintf("found %s, expected %s", p.Found, p.Want) }

// CheckLimits compares a site's own limit set with the published ones and returns
// what must be refused, in the order of the programmes; nil if nothing must.
//
// A value that cannot be one (not a number, zero or less, a temperature outside
// 100 to 150 °C, a band above 10 K, a hold above 24 h: ranges ours) is always refused.
// A hold shorter, or a band wider, than every built-in set has at that temperature,
// or a temperature that none of them has, is refused unless the set says why in
// LooserBecause.
func CheckLimits(set LimitSet) []LimitProblem {
	var out []LimitProblem
	for i, p := range set.Programmes {
		problems := impossibleLimits(p)
		if len(problems) == 0 && strings.TrimSpace(set.LooserBecause) == "" {
			problems = looserLimits(p)
		}
		for _, q := range problems {
			q.Programme = i
			out = append(out, q)
		}
	}
	return out
}

func impossibleLimits(p Programme) []LimitProblem {
	var out []LimitProblem
	for _, v := range []struct {
		field, unit string
		value       float64
		lo, hi      float64
	}{
		{"sterilising_c", "°C", float64(p.Sterilising), 100, 150},
		{"band_k", "K", p.Band, 0, 10},
		{"hold_s", "s", p.Hold, 0, 86400},
	} {
		if v.lo < v.value && v.value <= v.hi { // written so that NaN fails
			continue
		}
		out = append(out, LimitProblem{Field: v.field,
			Found:  fmt.Sprintf("%v %s", v.value, v.unit),
			Want:   fmt.Sprintf("a number above %v and up to %v %s", v.lo, v.hi, v.unit),
			Remedy: "Write the figure of the validation report."})
	}
	return out
}

func looserLimits(p Programme) []LimitProblem {
	hold, band := math.Inf(1), math.Inf(-1)
	var temperatures []string
	for _, s := range LimitSets() {
		for _, q := range s.Programmes {
			if !slices.Contains(temperatures, q.Name) {
				temperatures = append(temperatures, q.Name)
			}
			if sameLimit(float64(q.Sterilising), float64(p.Sterilising)) {
				hold, band = min(hold, q.Hold), max(band, q.Band)
			}
		}
	}
	const remedy = "Correct it, or give the reason under looser_because; it is printed on every record."
	if math.IsInf(hold, 1) {
		return []LimitProblem{{Field: "sterilising_c",
			Found:  fmt.Sprintf("%v °C, which no published set has", p.Sterilising),
			Want:   "one of " + strings.Join(temperatures, ", ") + " °C",
			Remedy: remedy}}
	}
	var out []LimitProblem
	if p.Band > band+limitTolerance {
		out = append(out, LimitProblem{Field: "band_k",
			Found: fmt.Sprintf("%v K, wider than the published band at %v °C", p.Band, p.Sterilising),
			Want:  fmt.Sprintf("at most %v K", band), Remedy: remedy})
	}
	if p.Hold < hold-limitTolerance {
		out = append(out, LimitProblem{Field: "hold_s",
			Found: fmt.Sprintf("%v s, shorter than the published time at %v °C", p.Hold, p.Sterilising),
			Want:  fmt.Sprintf("at least %v s", hold), Remedy: remedy})
	}
	return out
}

// sameLimit tells whether two values are one within the tolerance of every comparison.
func sameLimit(a, b float64) bool { return math.Abs(a-b) <= limitTolerance }
