package surgery

import (
	"fmt"
	"time"

	"holdproof/parse"
	"holdproof/parse/cycle"
	"holdproof/validate"
)

// bench is a configuration made ready for judging: one set of rules a machine.
type bench struct {
	options  parse.Options
	machines map[string]machine // by id
	stranger machine            // for a record of no configured steriliser
}

type machine struct {
	rules       validate.Rules
	certificate *Certificate
}

// newBench prepares c, which has no faults; only is the id of the one steriliser
// that the exports are from, "" if they say so themselves.
func newBench(c Configuration, only string) (*bench, error) {
	zone, err := c.Site.zone()
	if err != nil {
		return nil, err
	}
	set := c.limitSet()
	site := validate.Site{Altitude: given(c.Site.AltitudeM), Ambient: given(c.Site.AmbientKPa)}
	d := &bench{
		options:  parse.Options{Zone: zone, Only: only},
		machines: map[string]machine{},
		stranger: machine{rules: validate.Rules{Set: set, Site: site}},
	}
	var ids []string
	for _, s := range c.Sterilisers {
		d.options.Sterilisers = append(d.options.Sterilisers, parse.Steriliser{ID: s.ID, Serial: s.Serial, Hints: s.Export.hints()})
		m := machine{rules: validate.Rules{Set: set, Site: site, Machine: s.machine()}}
		if s.Uncertainty != nil {
			m.certificate = s.Uncertainty.Certificate
		}
		d.machines[s.ID] = m
		ids = append(ids, s.ID)
	}
	if _, known := d.machines[only]; only != "" && !known {
		if len(ids) == 0 {
			return nil, fmt.Errorf("no steriliser %q: the configuration names none; add it under sterilisers in holdproof.yaml", only)
		}
		return nil, fmt.Errorf("no steriliser %q in the configuration, expected %s", only, Alternatives(ids))
	}
	return d, nil
}

// machineOf returns the machine a record is from.
func (d *bench) machineOf(h cycle.Header) machine {
	if m, ok := d.machines[h.Steriliser]; ok && h.Configured {
		return m
	}
	return d.stranger
}

// remarks says what a person should know of the machine's papers: judged by the
// start of the cycle and never by today's date.
func (m machine) remarks(h cycle.Header) []string {
	c := m.certificate
	if c == nil || h.Start.IsZero() {
		return nil
	}
	if day := h.Start.Format(time.DateOnly); day > c.Due.Format(time.DateOnly) {
		return []string{fmt.Sprintf("the calibration certificate %s was due on %s", c.Number, c.Due.Format("2 Jan 2006"))}
	}
	return nil
}

func (s Steriliser) machine() validate.Machine {
	m := validate.Machine{
		ID:               s.ID,
		Litres:           given(s.ChamberLitres),
		Type:             s.Type,
		DefaultProgramme: s.Programme,
	}
	if u := s.Uncertainty; u != nil {
		m.Uncertainty = validate.Uncertainty{Temperature: given(u.TemperatureK), Pressure: given(u.PressureKPa)}
	}
	if a := s.AirRemoval; a != nil {
		m.Pulses, m.PulsesBelow = a.Pulses, a.BelowKPa
	}
	if d := s.Drying; d != nil {
		m.DryingBelow, m.DryingMinutes = d.BelowKPa, d.Minutes
	}
	if r := s.Reference; r != nil {
		m.ReferenceHold, m.ReferencePlateau, m.ReferenceHeating = r.HoldS.rules(), r.PlateauC.rules(), r.HeatingS.rules()
	}
	for _, p := range s.Programmes {
		m.Mappings = append(m.Mappings, validate.Mapping{Label: p.Label, Programme: p.Programme, Kind: cycle.KindNamed(p.Kind)})
	}
	return m
}

func (t *Tolerance) rules() *validate.Tolerance {
	if t == nil {
		return nil
	}
	return &validate.Tolerance{At: t.At, Within: t.Within}
}

func (e Export) hints() parse.Hints {
	h := parse.Hints{SteriliserColumn: e.SteriliserColumn, DateOrder: e.DateOrder, Decimal: e.Decimal, Pressure: e.Pressure}
	for _, c := range e.Columns {
		h.Columns = append(h.Columns, parse.ColumnHint{Heading: c.Heading, Is: c.Is, Unit: c.Unit})
	}
	return h
}

// rules returns the site's own limits as the judge needs them. The set keeps the
// limit of the equilibration time.
func (s LimitSet) rules() validate.LimitSet {
	set := validate.LimitSet{Name: s.Name, Equilibration: true, LooserBecause: s.LooserBecause}
	source := validate.Source{Text: s.Source, Sure: validate.SecondHand}
	for _, p := range s.Programmes {
		set.Programmes = append(set.Programmes, validate.WithPenetration(validate.Programme{
			Name: p.Name, Sterilising: cycle.Celsius(p.SterilisingC), Band: p.BandK, Hold: p.HoldS,
			Source: source, BandSource: source, Machines: "the site's own machines",
		}))
	}
	return set
}
