package surgery

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strings"
	"time"

	"holdproof/parse"
	"holdproof/parse/cycle"
	"holdproof/validate"
	"holdproof/validate/routine"
)

// Ranges of a site's figures (ours): the Dead Sea shore to the highest towns, and
// the pressures of the air there.
const (
	minAltitude, maxAltitude = -450.0, 5500.0 // m
	minAmbient, maxAmbient   = 50.0, 110.0    // kPa
)

// Faults returns what in the configuration cannot be, in the order of the keys of
// the contract; nil for a configuration that can be used.
func (c Configuration) Faults() []Fault {
	var f faults
	c.Site.faults(&f)
	names := c.limitSetNames()
	f.oneOf("limits", c.Limits, names...)
	f.oneOf("routine", c.Routine, routine.Names()...)
	c.routineFaults(&f)
	f.within("retention_years", c.RetentionYears, 1, 200, "years")
	c.Timestamp.faults(&f)
	for i, folder := range c.Watch {
		f.needed(fmt.Sprintf("watch[%d]", i+1), folder, "a folder")
	}
	ids, serials := map[string]string{}, map[string]string{}
	for i, s := range c.Sterilisers {
		key := fmt.Sprintf("sterilisers[%d]", i+1)
		f.needed(key+".id", s.ID, "a short name such as S1")
		f.once(key+".id", s.ID, ids)
		f.once(key+".serial", s.Serial, serials)
		s.faults(&f, key, c.programmeNames())
	}
	sets := map[string]string{}
	for _, s := range validate.LimitSets() {
		sets[s.Name] = "the program"
	}
	for i, s := range c.LimitSets {
		key := fmt.Sprintf("limit_sets[%d]", i+1)
		f.needed(key+".name", s.Name, "a short name")
		f.once(key+".name", s.Name, sets)
		s.faults(&f, key)
	}
	c.productFaults(&f)
	c.useByFaults(&f)
	return f
}

func (s Site) faults(f *faults) {
	if _, err := s.zone(); err != nil {
		f.add("site.timezone", fmt.Sprintf("%q", s.Timezone), "an IANA name such as Europe/London",
			"Write the name of the zone, not its abbreviation or offset.")
	}
	f.within("site.altitude_m", s.AltitudeM, minAltitude, maxAltitude, "m")
	f.within("site.ambient_kpa", s.AmbientKPa, minAmbient, maxAmbient, "kPa")
	if s.AltitudeM != nil && s.AmbientKPa != nil {
		f.add("site.ambient_kpa", "both altitude_m and ambient_kpa", "one of the two",
			"Keep the one that was measured.")
	}
	f.oneOf("site.second_signature", s.SecondSignature, "required", "none")
	if s.SecondSignature == "none" {
		f.needed("site.second_signature_because", s.SecondSignatureBecause, "the reason why nobody else signs; it is printed on every record")
	}
}

func (t Timestamp) faults(f *faults) {
	at, err := url.Parse(t.URL)
	switch {
	case t.URL == "" && t.Roots != "":
		f.needed("timestamp.url", t.URL, "the address of a time-stamp server such as https://stamp.example/tsa")
	case t.URL != "" && (err != nil || at.Scheme != "http" && at.Scheme != "https" || at.Host == ""):
		f.add("timestamp.url", fmt.Sprintf("%q", t.URL), "an address such as https://stamp.example/tsa", "Write it out, or take the line out: then no time stamp is asked for.")
	}
}

// zone returns the site's time zone, UTC where none is named.
func (s Site) zone() (*time.Location, error) {
	if s.Timezone == "" {
		return time.UTC, nil
	}
	if s.Timezone == "Local" { // the computer's zone: the same file would read differently elsewhere
		return nil, fmt.Errorf("the zone must be named")
	}
	return time.LoadLocation(s.Timezone)
}

func (s Steriliser) faults(f *faults, key string, programmes []string) {
	if strings.TrimSpace(s.ID) != s.ID || strings.ContainsFunc(s.ID, notInName) {
		f.add(key+".id", fmt.Sprintf("%q", s.ID), "letters, digits, - and _, 20 at most", "Shorten it to what stands on the machine.")
	}
	if s.ChamberLitres != nil {
		f.above(key+".chamber_litres", *s.ChamberLitres, 10000, "litres")
	}
	f.oneOf(key+".type", s.Type, "B", "N", "S")
	f.oneOf(key+".programme", s.Programme, programmes...)
	if s.Uncertainty != nil {
		s.Uncertainty.faults(f, key+".uncertainty")
	}
	if a := s.AirRemoval; a != nil {
		f.above(key+".air_removal.pulses", float64(a.Pulses), 50, "")
		f.above(key+".air_removal.below_kpa", a.BelowKPa, 101, "kPa")
	}
	if d := s.Drying; d != nil {
		f.above(key+".drying.below_kpa", d.BelowKPa, 101, "kPa")
		f.above(key+".drying.minutes", d.Minutes, 240, "min")
	}
	if r := s.Reference; r != nil {
		r.HoldS.faults(f, key+".reference.hold_s", 86400, "s")
		r.PlateauC.faults(f, key+".reference.plateau_c", 200, "°C")
		r.HeatingS.faults(f, key+".reference.heating_s", 86400, "s")
	}
	labels := map[string]string{}
	for i, m := range s.Programmes {
		at := fmt.Sprintf("%s.programmes[%d]", key, i+1)
		f.needed(at+".label", m.Label, "the words of the recorder")
		f.once(at+".label", strings.Join(strings.Fields(m.Label), " "), labels)
		m.faults(f, at, programmes)
	}
	s.Export.faults(f, key+".export")
}

func notInName(r rune) bool {
	return !(r == '-' || r == '_' || '0' <= r && r <= '9' || 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z')
}

func (u Uncertainty) faults(f *faults, key string) {
	least := validate.DefaultUncertainty()
	for _, v := range []struct {
		key, unit string
		value     *float64
		fallback  float64
		most      float64
	}{
		{"temperature_k", "K", u.TemperatureK, least.Temperature.Value, 10},
		{"pressure_kpa", "kPa", u.PressureKPa, least.Pressure.Value, 100},
	} {
		if v.value == nil {
			continue
		}
		before := len(*f)
		f.above(key+"."+v.key, *v.value, v.most, v.unit)
		if len(*f) == before && *v.value < v.fallback && u.Certificate == nil {
			f.add(key+"."+v.key, fmt.Sprintf("%v %s without a certificate", *v.value, v.unit),
				fmt.Sprintf("%v %s or more, or a certificate", v.fallback, v.unit),
				"Add certificate: {number, date, due} of the calibration, or take the line out.")
		}
	}
	c := u.Certificate
	if c == nil {
		return
	}
	f.needed(key+".certificate.number", c.Number, "the number of the certificate")
	if c.Date.IsZero() {
		f.add(key+".certificate.date", "nothing", "a day such as 2026-01-10", "Add the line.")
	}
	if c.Due.IsZero() {
		f.add(key+".certificate.due", "nothing", "a day such as 2027-01-10", "Add the line.")
	} else if !c.Due.After(c.Date) {
		f.add(key+".certificate.due", c.Due.Format(time.DateOnly), "a day after "+c.Date.Format(time.DateOnly), "Look at the certificate again.")
	}
}

func (t *Tolerance) faults(f *faults, key string, most float64, unit string) {
	if t == nil {
		return
	}
	f.above(key+".at", t.At, most, unit)
	f.above(key+".within", t.Within, most, unit)
}

func (m Mapping) faults(f *faults, key string, programmes []string) {
	f.oneOf(key+".programme", m.Programme, programmes...)
	f.oneOf(key+".kind", m.Kind, kindNames()...)
	if m.Programme == "" && m.Kind == "" {
		f.add(key, "a label alone", "programme, kind or both", "Say what the label means.")
	}
}

func (e Export) faults(f *faults, key string) {
	f.oneOf(key+".date_order", e.DateOrder, "dmy", "mdy", "ymd")
	f.oneOf(key+".decimal", e.Decimal, ",", ".")
	f.oneOf(key+".pressure", e.Pressure, cycle.Gauge.String(), cycle.Absolute.String())
	headings := map[string]string{}
	for i, c := range e.Columns {
		at := fmt.Sprintf("%s.columns[%d]", key, i+1)
		f.needed(at+".heading", c.Heading, "the heading as the file has it")
		f.once(at+".heading", strings.Join(strings.Fields(c.Heading), " "), headings)
		f.needed(at+".is", c.Is, Alternatives(parse.ColumnUses()))
		f.oneOf(at+".is", c.Is, parse.ColumnUses()...)
		c.faultsOfUnit(f, at+".unit")
	}
}

func (s LimitSet) faults(f *faults, key string) {
	f.needed(key+".source", s.Source, "the report or document the limits come from")
	if len(s.Programmes) == 0 {
		f.add(key+".programmes", "nothing", "at least one programme", "Add a line with name, sterilising_c, band_k and hold_s.")
	}
	names := map[string]string{}
	for i, p := range s.Programmes {
		at := fmt.Sprintf("%s.programmes[%d]", key, i+1)
		f.needed(at+".name", p.Name, "a short name such as 134")
		f.once(at+".name", p.Name, names)
	}
	for _, p := range validate.CheckLimits(s.rules()) {
		f.add(fmt.Sprintf("%s.programmes[%d].%s", key, p.Programme+1, p.Field), p.Found, p.Want, p.Remedy)
	}
}

// limitSetNames returns the built-in sets and the site's own.
func (c Configuration) limitSetNames() []string {
	var names []string
	for _, s := range validate.LimitSets() {
		names = append(names, s.Name)
	}
	for _, s := range c.LimitSets {
		names = append(names, s.Name)
	}
	return names
}

// programmeNames returns the programmes of the limit set in force.
func (c Configuration) programmeNames() []string {
	var names []string
	for _, p := range c.limitSet().Programmes {
		names = append(names, p.Name)
	}
	return names
}

// kindNames returns the kinds a mapping may name.
func kindNames() []string {
	var names []string
	for _, k := range []cycle.Kind{cycle.Load, cycle.ControlTest, cycle.PenetrationTest, cycle.LeakTest} {
		names = append(names, k.String())
	}
	return names
}

// faultsOfUnit refuses a unit that does not belong to the column.
func (c Column) faultsOfUnit(f *faults, key string) {
	if c.Unit == "" || parse.UnitFits(c.Is, c.Unit) {
		return
	}
	want := "no unit"
	switch {
	case strings.HasSuffix(c.Is, "temperature"):
		want = "degC, degF or K"
	case c.Is == "pressure":
		want = "kPa, bar, mbar, hPa, MPa, Pa, psi, inHg, mmHg, Torr or atm"
	case c.Is == "time" || c.Is == "elapsed":
		want = "s, mm:ss or hh:mm:ss"
	}
	f.add(key, fmt.Sprintf("%q", c.Unit), want+", since the column is "+c.Is, "Correct the unit, or take it out.")
}

// given turns a number that may be missing into the judge's.
func given(v *float64) validate.Figure {
	if v == nil || math.IsNaN(*v) {
		return validate.Figure{}
	}
	return validate.Known(*v)
}

// LimitsInForce is the name of the limit set that cycles are judged by.
func (c Configuration) LimitsInForce() string {
	if c.Limits == "" {
		return DefaultLimits
	}
	return c.Limits
}

// limitSet returns the limit set in force; the zero set where the name is unknown.
func (c Configuration) limitSet() validate.LimitSet {
	name := c.LimitsInForce()
	if i := slices.IndexFunc(c.LimitSets, func(s LimitSet) bool { return s.Name == name }); i >= 0 {
		return c.LimitSets[i].rules()
	}
	set, _ := validate.LimitSetNamed(name)
	return set
}
