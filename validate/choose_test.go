package validate_test

import (
	"slices"
	"strings"
	"testing"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
)

func label(text string, numbers ...cycle.Number) func(*draft) {
	return func(d *draft) { d.Label = cycle.Label{Text: text, Numbers: numbers} }
}

func TestProgramme(t *testing.T) {
	us := "us-dynamic-air-removal"
	mapping := func(m ...validate.Mapping) func(*validate.Rules) {
		return func(r *validate.Rules) { r.Machine.Mappings = m }
	}
	for _, c := range []struct {
		why       string
		set       string
		cycle     fixtures.Cycle
		spoil     func(*draft)
		rules     func(*validate.Rules)
		programme string
		by        string
		want      validate.Outcome // of the check programme
	}{
		{why: "mapped, letter case and spaces aside", spoil: label("Wrapped  UNIVERSAL"), rules: mapping(validate.Mapping{Label: "wrapped universal", Programme: "121"}), programme: "121", by: "mapped", want: validate.Conforms},
		{why: "mapped before its own number", spoil: label("134 B", cycle.Number{Value: 134}), rules: mapping(validate.Mapping{Label: "134 B", Programme: "126"}), programme: "126", by: "mapped", want: validate.Conforms},
		{why: "mapped to what the set does not have", spoil: label("x"), rules: mapping(validate.Mapping{Label: "x", Programme: "140"}), want: validate.NotProven},
		{why: "by the number of the label", spoil: label("121 textiles", cycle.Number{Value: 121}), programme: "121", by: "label", want: validate.Conforms},
		{why: "with its unit", spoil: label("134C", cycle.Number{Value: 134, Unit: "C"}), programme: "134", by: "label", want: validate.Conforms},
		{why: "270 °F", set: us, cycle: fixtures.Cycle{Ts: 132}, spoil: label("270F", cycle.Number{Value: 270, Unit: "F"}), programme: "132", by: "label", want: validate.Conforms},
		{why: "275 °F", set: us, cycle: fixtures.Cycle{Ts: 135}, spoil: label("275 °F", cycle.Number{Value: 275, Unit: "F"}), programme: "135", by: "label", want: validate.Conforms},
		{why: "250 °F", set: "us-gravity", cycle: fixtures.Cycle{Ts: 121}, spoil: label("250F", cycle.Number{Value: 250, Unit: "F"}), programme: "121", by: "label", want: validate.Conforms},
		{why: "273 °F", spoil: label("273F", cycle.Number{Value: 273, Unit: "F"}), programme: "134", by: "label", want: validate.Conforms},
		{why: "one temperature twice", spoil: label("134C/273F", cycle.Number{Value: 134, Unit: "C"}, cycle.Number{Value: 273, Unit: "F"}), programme: "134", by: "label", want: validate.Conforms},
		{why: "two temperatures settle nothing", spoil: label("121/134", cycle.Number{Value: 121}, cycle.Number{Value: 134}), programme: "134", by: "inferred", want: validate.Conforms},
		{why: "a number that is none of the set's", spoil: label("no 7", cycle.Number{Value: 7}), programme: "134", by: "inferred", want: validate.Conforms},
		{why: "the steriliser's own", rules: func(r *validate.Rules) { r.Machine.DefaultProgramme = "121" }, programme: "121", by: "default", want: validate.Conforms},
		{why: "the label before the steriliser's own", spoil: label("126", cycle.Number{Value: 126}), rules: func(r *validate.Rules) { r.Machine.DefaultProgramme = "121" }, programme: "126", by: "label", want: validate.Conforms},
		{why: "the steriliser's own is not in the set", rules: func(r *validate.Rules) { r.Machine.DefaultProgramme = "140" }, want: validate.NotProven},
		{why: "inferred, the hottest of the set", programme: "134", by: "inferred", want: validate.Conforms},
		{why: "inferred, not the hottest", cycle: fixtures.Cycle{Ts: 121, Hold: 960}, programme: "121", by: "inferred", want: validate.Borderline},
		{why: "inferred from just below", cycle: fixtures.Cycle{Faults: fixtures.Faults{Lower: 2}}, programme: "134", by: "inferred", want: validate.Conforms},
		{why: "inferred without pressure", cycle: fixtures.Cycle{Ts: 126, Hold: 700}, spoil: noPressure, programme: "126", by: "inferred", want: validate.Borderline},
		{why: "stood between two programmes", cycle: fixtures.Cycle{Ts: 129.2, Hold: 700}, want: validate.NotProven},
		{why: "no reading in steam", spoil: until(-400), programme: "134", by: "inferred", want: validate.Conforms},
	} {
		t.Run(c.why, func(t *testing.T) {
			set := c.set
			if set == "" {
				set = "en"
			}
			r := rules(t, set, "")
			d := invent(c.cycle)
			if c.spoil != nil {
				c.spoil(d)
			}
			if c.rules != nil {
				c.rules(&r)
			}
			v := validate.Judge(d.record(t), r)
			f := found(v, "programme")
			if v.Programme.Name != c.programme || v.ProgrammeBy != c.by || f.Outcome != c.want {
				t.Errorf("got %q by %q, %s (%s)", v.Programme.Name, v.ProgrammeBy, f.Outcome, f.Message)
			}
			if c.by == "" && (len(v.Findings) != 1 || v.Measured != (validate.Measured{}) || f.Key == "") {
				t.Errorf("something else was judged, or no key is named: %+v", v)
			}
		})
	}
}

// A duration in the label asks for more than the programme, less the time that a load
// may lag; several ask for nothing.
func TestHoldOfTheLabel(t *testing.T) {
	for _, c := range []struct {
		why       string
		durations []float64
		others    int
		kind      cycle.Kind
		litres    float64
		noE       bool
		want      float64
	}{
		{"none", nil, 0, cycle.Load, 0, false, 180},
		{"18 min", []float64{1080}, 0, cycle.Load, 0, false, 1065},
		{"18 min above 800 L", []float64{1080}, 0, cycle.Load, 900, false, 1050},
		{"18 min in a set without a limit", []float64{1080}, 0, cycle.Load, 900, true, 1065},
		{"less than the programme", []float64{120}, 0, cycle.Load, 0, false, 180},
		{"18 min and a drying time", []float64{1080}, 1, cycle.Load, 0, false, 180},
		{"a drying time", nil, 1, cycle.Load, 0, false, 180},
		{"several", []float64{1080, 600}, 0, cycle.Load, 0, false, 180},
		{"a steam penetration test", nil, 0, cycle.PenetrationTest, 0, false, 200},
		{"a steam penetration test of 3.5 min", []float64{210}, 0, cycle.PenetrationTest, 0, false, 200},
		{"a control test", nil, 0, cycle.ControlTest, 0, false, 180},
	} {
		d := invent(fixtures.Cycle{})
		d.Label = cycle.Label{Text: "134", Numbers: []cycle.Number{{Value: 134}}, Durations: c.durations, Others: c.others, Kind: c.kind}
		r := rules(t, "en", "")
		r.Machine.Litres = validate.Figure{Value: c.litres, Known: c.litres > 0}
		r.Set.Equilibration = !c.noE
		v := validate.Judge(d.record(t), r)
		if got := found(v, "holding-time").Low.Value; got != c.want {
			t.Errorf("%s: needs %v s, want %v s", c.why, got, c.want)
		}
		remarked := slices.ContainsFunc(v.Remarks, func(s string) bool { return strings.Contains(s, "several") })
		if remarked != (len(c.durations)+c.others > 1) {
			t.Errorf("%s: remarks %q", c.why, v.Remarks)
		}
	}
}

func TestKind(t *testing.T) {
	leak := func() *draft {
		d := leaking(4, 0.06, 960)
		d.Label = cycle.Label{}
		return d
	}
	for _, c := range []struct {
		why   string
		d     *draft
		spoil func(*draft)
		rules func(*validate.Rules)
		want  cycle.Kind
		asked bool // a person must confirm
	}{
		{why: "nothing said", d: invent(fixtures.Cycle{}), want: cycle.Load},
		{why: "a word of the label", d: invent(fixtures.Cycle{}), spoil: func(d *draft) { d.Label.Kind = cycle.PenetrationTest }, want: cycle.PenetrationTest},
		{why: "the mapping of the label", d: invent(fixtures.Cycle{}), spoil: label("Helix"), rules: func(r *validate.Rules) {
			r.Machine.Mappings = []validate.Mapping{{Label: "helix", Programme: "134", Kind: cycle.PenetrationTest}}
		}, want: cycle.PenetrationTest},
		{why: "a leak test by its label", d: leaking(4, 0.06, 960), want: cycle.LeakTest},
		{why: "never a leak test above 105 °C under pressure", d: invent(fixtures.Cycle{}), spoil: func(d *draft) { d.Label.Kind = cycle.LeakTest }, want: cycle.Load},
		{why: "nor by the mapping", d: invent(fixtures.Cycle{}), spoil: label("Vac"), rules: func(r *validate.Rules) {
			r.Machine.Mappings = []validate.Mapping{{Label: "vac", Kind: cycle.LeakTest}}
		}, want: cycle.Load},
		{why: "a leak test by its readings", d: leak(), want: cycle.LeakTest, asked: true},
		{why: "not with a label", d: leak(), spoil: label("Program 7"), want: cycle.Load},
		{why: "not with a programme of its own", d: leak(), rules: func(r *validate.Rules) { r.Machine.DefaultProgramme = "134" }, want: cycle.Load},
		{why: "not with a load channel", d: leak(), spoil: func(d *draft) {
			load := slices.Clone(d.chamber)
			load[0]++
			load[500] += 0.5
			for i := range load[600:] {
				load[600+i] += 0.1
			}
			d.loads = [][]float64{load}
		}, want: cycle.Load},
		{why: "not for less than 10 min", d: func() *draft { d := leaking(4, 0.06, 500); d.Label = cycle.Label{}; return d }(), want: cycle.Load},
		{why: "not above 20 kPa", d: func() *draft { d := leaking(21, 0.06, 960); d.Label = cycle.Label{}; return d }(), want: cycle.Load},
		{why: "not above 105 °C", d: leak(), spoil: func(d *draft) { d.chamber[3] = 106 }, want: cycle.Load},
		{why: "not where steam was let in", d: leak(), spoil: func(d *draft) {
			for i, at := range d.t {
				if at > 1085 {
					d.chamber[i] = 39
				}
			}
		}, want: cycle.Load},
	} {
		t.Run(c.why, func(t *testing.T) {
			r := rules(t, "en", "")
			if c.spoil != nil {
				c.spoil(c.d)
			}
			if c.rules != nil {
				c.rules(&r)
			}
			v := validate.Judge(c.d.record(t), r)
			if v.Kind != c.want {
				t.Errorf("got %q, want %q", v.Kind, c.want)
				explain(t, v)
			}
			if asked := found(v, "kind").Outcome == validate.Borderline; asked != c.asked {
				t.Errorf("a person is asked: %t, want %t", asked, c.asked)
			}
		})
	}
}

func TestPenetrationAndControlTests(t *testing.T) {
	judge := func(c fixtures.Cycle, kind cycle.Kind, set string, edit func(*validate.Rules)) validate.Verdict {
		d := invent(c)
		d.Label.Kind = kind
		r := rules(t, set, "")
		r.Machine.DefaultProgramme = r.Set.Programmes[0].Name
		if edit != nil {
			edit(&r)
		}
		return validate.Judge(d.record(t), r)
	}
	within := func(hold, plateau, heating float64) func(*validate.Rules) {
		return func(r *validate.Rules) {
			r.Machine.ReferenceHold = &validate.Tolerance{At: hold, Within: 5}
			r.Machine.ReferencePlateau = &validate.Tolerance{At: plateau, Within: 0.3}
			r.Machine.ReferenceHeating = &validate.Tolerance{At: heating, Within: 20}
		}
	}
	for _, c := range []struct {
		why   string
		v     validate.Verdict
		check string
		want  validate.Outcome
	}{
		{"a test of 3.5 min", judge(fixtures.Cycle{Hold: 205}, cycle.PenetrationTest, "en", nil), "exposure-time", validate.Conforms},
		{"a test of 5 min hides poor penetration", judge(fixtures.Cycle{Hold: 300}, cycle.PenetrationTest, "en", nil), "exposure-time", validate.Borderline},
		{"at 121 °C there is no upper limit", judge(fixtures.Cycle{Ts: 121, Hold: 960}, cycle.PenetrationTest, "us-gravity", nil), "exposure-time", validate.NotAssessed},
		{"a load has no upper limit", judge(fixtures.Cycle{Hold: 300}, cycle.Load, "en", nil), "exposure-time", validate.NotProven},
		{"3 min are too short for a test", judge(fixtures.Cycle{Hold: 170}, cycle.PenetrationTest, "en", nil), "holding-time", validate.Failed},
		{"the curve alone never passes it", judge(fixtures.Cycle{Hold: 205}, cycle.PenetrationTest, "en", nil), "indicator", validate.NotAssessed},
		{"nothing of validation", judge(fixtures.Cycle{}, cycle.ControlTest, "en", nil), "reference", validate.NotAssessed},
		{"as at validation", judge(fixtures.Cycle{}, cycle.ControlTest, "en", within(229, 135.3, 403)), "reference", validate.Conforms},
		{"another hold", judge(fixtures.Cycle{Hold: 260}, cycle.ControlTest, "en", within(229, 135.3, 403)), "reference", validate.Failed},
		{"another plateau", judge(fixtures.Cycle{Above: 1.8}, cycle.ControlTest, "en", within(229, 135.3, 403)), "reference", validate.Failed},
		{"another heating time", judge(fixtures.Cycle{Heat: 250}, cycle.ControlTest, "en", within(229, 135.3, 403)), "reference", validate.Failed},
	} {
		f := found(c.v, c.check)
		if c.why == "a load has no upper limit" {
			if f.Check != "" {
				t.Errorf("%s: %+v", c.why, f)
			}
			continue
		}
		if f.Check == "" || f.Outcome != c.want {
			t.Errorf("%s: got %s (%s), want %s", c.why, f.Outcome, f.Message, c.want)
		}
	}
}
