package validate_test

import (
	"math"
	"slices"
	"testing"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
)

// Each row of the list of checks, and each outcome it can have, on invented cycles
// that are good but for what the row says.
var branches = []struct {
	why   string
	cycle fixtures.Cycle
	spoil func(*draft)
	rules func(*validate.Rules)
	check string
	want  validate.Outcome
}{
	{why: "long enough", check: "holding-time", want: validate.Conforms},
	{why: "too short", cycle: fixtures.Cycle{Hold: 150}, check: "holding-time", want: validate.Failed},
	{why: "never hot", cycle: fixtures.Cycle{Faults: fixtures.Faults{Lower: 3}}, check: "holding-time", want: validate.Failed},
	{why: "the hole of a gap is not a hold", cycle: fixtures.Cycle{Faults: fixtures.Faults{GapAt: 100, Gap: 30}}, check: "holding-time", want: validate.NotProven},
	{why: "long enough only between readings", cycle: fixtures.Cycle{Hold: 160, Interval: 15}, check: "holding-time", want: validate.NotProven},
	{why: "only if the sensors are right", cycle: fixtures.Cycle{Above: 0.3}, check: "holding-time", want: validate.Borderline},

	{why: "alike", check: "channel-spread", want: validate.Conforms},
	{why: "one channel", cycle: fixtures.Cycle{Probes: -1}, check: "channel-spread", want: validate.NotAssessed},
	{why: "the band was too short", cycle: fixtures.Cycle{Hold: 100}, check: "channel-spread", want: validate.NotAssessed},
	{why: "2.3 K apart", cycle: fixtures.Cycle{Above: 2.6, Faults: fixtures.Faults{LoadBelow: 2.3}}, check: "channel-spread", want: validate.Failed},
	{why: "1.5 K apart", cycle: fixtures.Cycle{Above: 2.2, Faults: fixtures.Faults{LoadBelow: 1.5}}, check: "channel-spread", want: validate.Borderline},

	{why: "saturated steam", check: "steam-agreement", want: validate.Conforms},
	{why: "no pressure", spoil: noPressure, check: "steam-agreement", want: validate.NotProven},
	{why: "gauge, and the site is unknown", spoil: gauge, check: "steam-agreement", want: validate.NotProven},
	{why: "gauge, and the site's pressure", spoil: gauge, rules: ambient(101.3), check: "steam-agreement", want: validate.Conforms},
	{why: "gauge, and the site's altitude", spoil: gauge, rules: altitude(12), check: "steam-agreement", want: validate.Conforms},
	{why: "pressure computed from temperature", spoil: computedPressure, check: "steam-agreement", want: validate.NotProven},
	{why: "computed, and too short as well", cycle: fixtures.Cycle{Hold: 100}, spoil: computedPressure, check: "steam-agreement", want: validate.NotProven},
	{why: "computed but for the plateau", spoil: func(d *draft) {
		computedPressure(d)
		for i := d.index(20); i < d.index(200); i++ {
			d.kpa[i] += 5
		}
	}, check: "steam-agreement", want: validate.NotProven},
	{why: "too short to tell", cycle: fixtures.Cycle{Hold: 100}, check: "steam-agreement", want: validate.NotAssessed},
	{why: "superheated", cycle: fixtures.Cycle{Faults: fixtures.Faults{Superheat: 2.6, Lower: 1.4}}, check: "steam-agreement", want: validate.Failed},
	{why: "air", cycle: fixtures.Cycle{Faults: fixtures.Faults{Air: 25}}, check: "steam-agreement", want: validate.Failed},
	{why: "1.5 K superheated", cycle: fixtures.Cycle{Faults: fixtures.Faults{Superheat: 1.5, Lower: 1}}, check: "steam-agreement", want: validate.Borderline},

	{why: "soon", check: "equilibration", want: validate.Conforms},
	{why: "far too late", cycle: fixtures.Cycle{LoadLag: 25, Hold: 300, Heat: 60}, check: "equilibration", want: validate.Failed},
	{why: "late unless the sensors are wrong", cycle: fixtures.Cycle{LoadLag: 11, Hold: 300, Heat: 60}, check: "equilibration", want: validate.Borderline},
	{why: "30 s above 800 L", cycle: fixtures.Cycle{LoadLag: 11, Hold: 300, Heat: 60}, rules: func(r *validate.Rules) { r.Machine.Litres = validate.Known(900) }, check: "equilibration", want: validate.Conforms},
	{why: "15 s at 800 L", cycle: fixtures.Cycle{LoadLag: 11, Hold: 300, Heat: 60}, rules: func(r *validate.Rules) { r.Machine.Litres = validate.Known(800) }, check: "equilibration", want: validate.Borderline},
	{why: "one channel", cycle: fixtures.Cycle{Probes: -1}, check: "equilibration", want: validate.NotAssessed},
	{why: "no limit in the set", rules: func(r *validate.Rules) { r.Set.Equilibration = false }, check: "equilibration", want: validate.NotAssessed},
	{why: "never hot", cycle: fixtures.Cycle{Faults: fixtures.Faults{Lower: 3}}, check: "equilibration", want: validate.NotAssessed},
	{why: "readings too far apart", cycle: fixtures.Cycle{Interval: 6}, check: "equilibration", want: validate.NotAssessed},
	{why: "readings far apart, and late all the same", cycle: fixtures.Cycle{Interval: 6, LoadLag: 25, Hold: 300, Heat: 60}, check: "equilibration", want: validate.Failed},
	{why: "a gap where the load gets there", cycle: fixtures.Cycle{Hold: 300, LoadLag: 5, Faults: fixtures.Faults{GapAt: -4, Gap: 10}}, check: "equilibration", want: validate.NotAssessed},
	{why: "a gap where it begins", cycle: fixtures.Cycle{Hold: 300, Faults: fixtures.Faults{GapAt: -8, Gap: 10}}, check: "equilibration", want: validate.NotAssessed},

	{why: "in the band", check: "temperature-ceiling", want: validate.Conforms},
	{why: "0.9 K too hot", cycle: fixtures.Cycle{Hold: 300}, spoil: chamberAt(100, 103, 137.9), check: "temperature-ceiling", want: validate.Failed},
	{why: "0.3 K too hot, for 3 s", cycle: fixtures.Cycle{Hold: 300}, spoil: chamberAt(100, 103, 137.3), check: "temperature-ceiling", want: validate.Borderline},
	{why: "0.3 K too hot, for 10 s", cycle: fixtures.Cycle{Hold: 300}, spoil: chamberAt(100, 110, 137.3), check: "temperature-ceiling", want: validate.Failed},
	{why: "0.3 K too hot, for 9 s", cycle: fixtures.Cycle{Hold: 300}, spoil: chamberAt(100, 109, 137.3), check: "temperature-ceiling", want: validate.Borderline},
	{why: "0.3 K too hot, for 10 s with a gap", cycle: fixtures.Cycle{Hold: 300}, spoil: func(d *draft) {
		chamberAt(100, 110, 137.3)(d)
		without(102, 108)(d)
	}, check: "temperature-ceiling", want: validate.Failed},
	{why: "0.9 K too hot, by a band of our own", cycle: fixtures.Cycle{Hold: 300}, spoil: chamberAt(100, 103, 137.9), rules: bandOurs, check: "temperature-ceiling", want: validate.Borderline},
	{why: "0.3 K too hot for 2 s of 20 s near the limit", cycle: fixtures.Cycle{Hold: 300}, spoil: func(d *draft) {
		chamberAt(100, 120, 136.6)(d)
		chamberAt(110, 112, 137.3)(d)
	}, check: "temperature-ceiling", want: validate.Borderline},
	{why: "a load sensor too hot before the chamber is there", spoil: func(d *draft) {
		for i := d.index(-14); i < d.index(-11); i++ {
			d.loads[0][i] = 138
		}
	}, check: "temperature-ceiling", want: validate.Conforms},
	{why: "hot while drying", cycle: fixtures.Cycle{Faults: fixtures.Faults{HotDrying: true}}, check: "temperature-ceiling", want: validate.Conforms},

	{why: "one stretch", check: "plateau-interrupted", want: validate.Conforms},
	{why: "a dip between two stretches", cycle: fixtures.Cycle{Hold: 400, Faults: fixtures.Faults{DipAt: 100, Dip: 3}}, check: "plateau-interrupted", want: validate.Borderline},
	{why: "a gap is no interruption", cycle: fixtures.Cycle{Hold: 300, Faults: fixtures.Faults{GapAt: 100, Gap: 30}}, check: "plateau-interrupted", want: validate.Conforms},
	{why: "hot drying is no second plateau", cycle: fixtures.Cycle{Faults: fixtures.Faults{HotDrying: true}}, check: "plateau-interrupted", want: validate.Conforms},

	{why: "often enough", cycle: fixtures.Cycle{Interval: 18, Hold: 400}, check: "sampling", want: validate.Conforms},
	{why: "too far apart", cycle: fixtures.Cycle{Interval: 20, Hold: 400}, check: "sampling", want: validate.NotProven},

	{why: "no gap", check: "record-gap", want: validate.Conforms},
	{why: "a gap that decides", cycle: fixtures.Cycle{Faults: fixtures.Faults{GapAt: 100, Gap: 30}}, check: "record-gap", want: validate.NotProven},
	{why: "a gap that does not decide", cycle: fixtures.Cycle{Hold: 400, Faults: fixtures.Faults{GapAt: 30, Gap: 30}}, check: "record-gap", want: validate.Borderline},
	{why: "a gap in a cycle that is too short anyhow", cycle: fixtures.Cycle{Hold: 120, Faults: fixtures.Faults{GapAt: 30, Gap: 30}}, check: "record-gap", want: validate.Borderline},
	{why: "a gap before the plateau", cycle: fixtures.Cycle{Faults: fixtures.Faults{GapAt: -120, Gap: 30}}, check: "record-gap", want: validate.Conforms},
	{why: "removed rows are not its business", cycle: fixtures.Cycle{Hold: 400}, spoil: chamberAt(100, 110, 999.9), check: "record-gap", want: validate.Conforms},

	{why: "all readable", check: "sensor-reading", want: validate.Conforms},
	{why: "removed readings that decide", spoil: chamberAt(100, 110, 999.9), check: "sensor-reading", want: validate.NotProven},
	{why: "removed readings that do not decide", cycle: fixtures.Cycle{Hold: 400}, spoil: chamberAt(30, 40, math.NaN()), check: "sensor-reading", want: validate.Borderline},
	{why: "one spike", spoil: chamberAt(100, 100, 132), check: "sensor-reading", want: validate.Borderline},
	{why: "removed before the plateau", spoil: chamberAt(-120, -110, math.NaN()), check: "sensor-reading", want: validate.Conforms},
	{why: "a gap is not its business", cycle: fixtures.Cycle{Faults: fixtures.Faults{GapAt: 100, Gap: 30}}, check: "sensor-reading", want: validate.Conforms},
	{why: "no reading at all", spoil: chamberAt(-1e9, 1e9, math.NaN()), check: "sensor-reading", want: validate.NotProven},

	{why: "live sensors", check: "frozen-channel", want: validate.Conforms},
	{why: "a load sensor stuck at the end of the plateau", spoil: stuckLoad, check: "frozen-channel", want: validate.NotProven},
	{why: "a pressure stuck while it cools", cycle: fixtures.Cycle{Hold: 225}, spoil: stuckPressure, check: "frozen-channel", want: validate.NotProven},
	{why: "everything stuck for 60 s", spoil: stuckAll(60), check: "frozen-channel", want: validate.NotProven},
	{why: "everything stuck for 59 s", spoil: stuckAll(59), check: "frozen-channel", want: validate.Conforms},
	{why: "everything alike for 100 s in steps that hide it", cycle: fixtures.Cycle{StepC: 0.5, StepKPa: 1, Hold: 400}, spoil: stuckAll(100), check: "frozen-channel", want: validate.Conforms},

	{why: "from air to air", check: "record-complete", want: validate.Conforms},
	{why: "starts under pressure", spoil: from(-20), check: "record-complete", want: validate.NotProven},
	{why: "starts under pressure, and not hot yet", spoil: from(-140), check: "record-complete", want: validate.NotProven},
	{why: "ends near the pressure of the air, while it still falls fast", spoil: func(d *draft) {
		until(270)(d)
		last := len(d.t) - 1
		for i := range 12 {
			d.kpa[last-i] = 104 + 2.5*float64(i)
		}
	}, check: "record-complete", want: validate.NotProven},
	{why: "starts hot", spoil: func(d *draft) { from(-20)(d); noPressure(d) }, check: "record-complete", want: validate.NotProven},
	{why: "ends under pressure", spoil: until(250), check: "record-complete", want: validate.NotProven},
	{why: "ends while pressure falls", spoil: func(d *draft) { until(225 + 30)(d) }, check: "record-complete", want: validate.NotProven},
	{why: "ends hot, no pressure", spoil: func(d *draft) { until(250)(d); noPressure(d) }, check: "record-complete", want: validate.NotProven},
	{why: "ends cool, no pressure", spoil: noPressure, check: "record-complete", want: validate.Conforms},
	{why: "starts in vacuum", spoil: startInVacuum, check: "record-complete", want: validate.Borderline},
	{why: "ends cool in vacuum", spoil: endCool, check: "record-complete", want: validate.Borderline},
	{why: "ends at gauge 0", spoil: gauge, check: "record-complete", want: validate.Conforms},
	{why: "ends at gauge 100", spoil: func(d *draft) { gauge(d); until(240)(d) }, check: "record-complete", want: validate.NotProven},

	{why: "nothing said", check: "recorder-statement", want: validate.NotAssessed},
	{why: "a fault", spoil: says(cycle.SaysCompleted, cycle.SaysFault), check: "recorder-statement", want: validate.NotProven},
	{why: "completed", spoil: says(cycle.SaysUnknown, cycle.SaysCompleted), check: "recorder-statement", want: validate.Conforms},
	{why: "a line nobody knows", spoil: says(cycle.SaysUnknown), check: "recorder-statement", want: validate.NotAssessed},

	{why: "nothing configured", check: "air-removal", want: validate.NotAssessed},
	{why: "as validated", rules: pulses(3, 20), check: "air-removal", want: validate.Conforms},
	{why: "one pulse missing", rules: pulses(4, 20), check: "air-removal", want: validate.Failed},
	{why: "not deep enough", rules: pulses(3, 5), check: "air-removal", want: validate.Failed},
	{why: "type B with pulses", rules: typeB, check: "air-removal", want: validate.Conforms},
	{why: "type B without", cycle: fixtures.Cycle{Pulses: -1}, rules: typeB, check: "air-removal", want: validate.Borderline},

	{why: "nothing configured", check: "drying", want: validate.NotAssessed},
	{why: "long enough", rules: dry(20, 7), check: "drying", want: validate.Conforms},
	{why: "too short", rules: dry(20, 20), check: "drying", want: validate.Borderline},

	{why: "all columns known", check: "columns", want: validate.Conforms},
	{why: "no chamber", cycle: fixtures.Cycle{Probes: 2}, spoil: func(d *draft) { d.chamber = nil }, check: "columns", want: validate.NotProven},
	{why: "no chamber, no pressure", cycle: fixtures.Cycle{Probes: 2}, spoil: func(d *draft) { d.chamber = nil; noPressure(d) }, rules: func(r *validate.Rules) { r.Machine.DefaultProgramme = "" }, check: "columns", want: validate.NotProven},
	{why: "no temperature", cycle: fixtures.Cycle{Probes: -1}, spoil: func(d *draft) { d.chamber = nil }, check: "columns", want: validate.NotProven},
	{why: "a load that is not connected", spoil: func(d *draft) { d.loads = append(d.loads, slices.Repeat([]float64{math.NaN()}, len(d.t))) }, check: "columns", want: validate.Borderline},
	{why: "a load that repeats another", spoil: func(d *draft) { d.loads = append(d.loads, d.loads[0]) }, check: "columns", want: validate.Borderline},
}

func TestBranches(t *testing.T) {
	for _, b := range branches {
		t.Run(b.check+"/"+b.why, func(t *testing.T) {
			d := invent(b.cycle)
			if b.spoil != nil {
				b.spoil(d)
			}
			r := rules(t, "en", "134")
			if b.rules != nil {
				b.rules(&r)
			}
			v := validate.Judge(d.record(t), r)
			f := found(v, b.check)
			if f.Check == "" || f.Outcome != b.want {
				t.Errorf("got %s (%s), want %s", f.Outcome, f.Message, b.want)
				explain(t, v)
			}
			if f.Source.Text == "" || f.Message == "" {
				t.Errorf("no source or no sentence: %+v", f)
			}
			if (f.Outcome == validate.Failed || f.Outcome == validate.NotProven || f.Outcome == validate.Borderline) && f.Remedy == "" {
				t.Errorf("nothing to do: %+v", f)
			}
			if worse(f.Outcome, v.Outcome()) {
				t.Errorf("the verdict %s is better than the finding %s", v.Outcome(), f.Outcome)
			}
		})
	}
}

func noPressure(d *draft) { d.kpa = nil }

func gauge(d *draft) {
	d.ref = cycle.Gauge
	for i := range d.kpa {
		d.kpa[i] -= 101.3
	}
}

func ambient(kpa float64) func(*validate.Rules) {
	return func(r *validate.Rules) { r.Site.Ambient = validate.Known(kpa) }
}

func altitude(m float64) func(*validate.Rules) {
	return func(r *validate.Rules) { r.Site.Altitude = validate.Known(m) }
}

func bandOurs(r *validate.Rules) {
	for i := range r.Set.Programmes {
		r.Set.Programmes[i].BandOurs = true
	}
}

func pulses(n int, below float64) func(*validate.Rules) {
	return func(r *validate.Rules) { r.Machine.Pulses, r.Machine.PulsesBelow = n, below }
}

func dry(below, minutes float64) func(*validate.Rules) {
	return func(r *validate.Rules) { r.Machine.DryingBelow, r.Machine.DryingMinutes = below, minutes }
}

func typeB(r *validate.Rules) { r.Machine.Type = "B" }

// chamberAt sets the chamber's readings from one time since the plateau to another.
func chamberAt(from, to, celsius float64) func(*draft) {
	return func(d *draft) {
		for i, at := range d.t {
			if s := at - d.reached; s >= from-1e-9 && s <= to+1e-9 {
				d.chamber[i] = celsius
			}
		}
	}
}

func without(from, to float64) func(*draft) {
	return func(d *draft) {
		d.keep(func(at float64) bool { return at-d.reached < from || at-d.reached > to })
	}
}

func from(sincePlateau float64) func(*draft) {
	return func(d *draft) { d.keep(func(at float64) bool { return at-d.reached >= sincePlateau }) }
}

func until(sincePlateau float64) func(*draft) {
	return func(d *draft) { d.keep(func(at float64) bool { return at-d.reached <= sincePlateau }) }
}

func computedPressure(d *draft) {
	exact := &draft{}
	for i, c := range d.chamber {
		exact.add(d.t[i], c, 0)
	}
	d.kpa = exact.kpa
}

func stuckLoad(d *draft) {
	from := d.index(200)
	for i := from; i < len(d.t); i++ {
		d.loads[0][i] = d.loads[0][from]
	}
}

func stuckPressure(d *draft) {
	from := d.index(200)
	for i := from; i < d.index(265); i++ {
		d.kpa[i] = d.kpa[from]
	}
}

func stuckAll(seconds float64) func(*draft) {
	return func(d *draft) {
		from := d.index(100)
		chamber, load, kpa := d.chamber[from]+0.3, d.loads[0][from]+0.3, d.kpa[from]
		for i := from; d.t[i] <= d.t[from]+seconds; i++ {
			d.chamber[i], d.loads[0][i], d.kpa[i] = chamber, load, kpa
		}
	}
}

func startInVacuum(d *draft) {
	first := -1.0
	for i, p := range d.kpa {
		if p < 30 {
			first = d.t[i]
			break
		}
	}
	d.keep(func(at float64) bool { return at >= first })
}

func endCool(d *draft) {
	d.keep(func(at float64) bool { return at-d.reached < 600 })
	for i := d.index(550); i < len(d.t); i++ {
		d.chamber[i], d.loads[0][i] = 75, 75
	}
}

func says(what ...cycle.Says) func(*draft) {
	return func(d *draft) {
		for i, s := range what {
			d.Statements = append(d.Statements, cycle.Statement{Line: i + 1, Text: "said", Says: s})
		}
	}
}
