package validate_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strconv"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/validate"
	"holdproof/validate/steam"
)

// invented draws cycles at 134 °C, most of them good, some near their limits.
func invented(n int) []fixtures.Cycle {
	r := rand.New(rand.NewPCG(134, 2026))
	var out []fixtures.Cycle
	for i := range n {
		c := fixtures.Cycle{
			Hold:     []float64{150, 170, 182, 195, 225, 400}[r.IntN(6)],
			Above:    0.2 + 1.8*r.Float64(),
			Interval: []float64{0.5, 1, 1, 2, 5, 10}[r.IntN(6)],
			Probes:   []int{-1, 1, 1, 2}[r.IntN(4)],
			LoadLag:  []float64{2, 3, 5}[r.IntN(3)],
			Draw:     uint64(i),
		}
		c.Dry = 120
		out = append(out, c)
	}
	return out
}

func TestShiftingTheStartChangesNothing(t *testing.T) {
	for _, c := range invented(20) {
		d := invent(c)
		d.Start = time.Date(2026, 3, 29, 0, 30, 0, 0, time.UTC)
		before := validate.Judge(d.record(t), rules(t, "en", "134"))
		d.Start = d.Start.Add(4321 * time.Hour)
		if after := validate.Judge(d.record(t), rules(t, "en", "134")); !reflect.DeepEqual(before, after) {
			t.Errorf("%+v: %v became %v", c, before, after)
		}
	}
}

func TestJudgingAgainChangesNothing(t *testing.T) {
	cycles := invented(30)
	var first []validate.Verdict
	for _, c := range cycles {
		first = append(first, validate.Judge(invent(c).record(t), rules(t, "en", "134")))
	}
	for i := len(cycles) - 1; i >= 0; i-- {
		if again := validate.Judge(invent(cycles[i]).record(t), rules(t, "en", "134")); !reflect.DeepEqual(first[i], again) {
			t.Errorf("%+v: another verdict after other cycles", cycles[i])
		}
	}
}

// A larger uncertainty never improves a verdict of a cycle that stays below its ceiling
// and equilibrates in time. (Above the ceiling, and late, a larger uncertainty makes
// borderline of failed: the sensor may have been wrong. Never conforms.)
func TestALargerUncertaintyNeverImproves(t *testing.T) {
	grades := map[validate.Outcome]int{}
	for _, c := range invented(150) {
		last := validate.Conforms
		for _, u := range []struct{ k, kpa float64 }{{0.05, 0.5}, {0.2, 2}, {0.35, 4}, {0.5, 6.4}, {0.9, 9}} {
			r := rules(t, "en", "134")
			r.Machine.Uncertainty = validate.Uncertainty{Temperature: validate.Known(u.k), Pressure: validate.Known(u.kpa)}
			got := validate.Judge(invent(c).record(t), r).Outcome()
			if u.k > 0.05 && worse(last, got) {
				t.Errorf("%+v: %s became %s at %v K", c, last, got, u.k)
			}
			last = got
			grades[got]++
		}
	}
	several(t, grades)
}

// several tells that a property was tried on verdicts of more than one kind.
func several(t *testing.T, grades map[validate.Outcome]int) {
	t.Helper()
	if len(grades) < 3 {
		t.Errorf("hardly a test: %v", grades)
	}
}

// Lowering every judged temperature, and the pressure to match, never improves the
// verdict of a cycle whose readings never exceed the upper limit less the uncertainty.
func TestLoweringNeverImproves(t *testing.T) {
	grades := map[validate.Outcome]int{}
	for _, c := range invented(80) {
		last := validate.Conforms
		for k := 0.0; k <= 2; k += 0.25 {
			got := validate.Judge(lowered(invent(c), k).record(t), rules(t, "en", "134")).Outcome()
			if k > 0 && worse(last, got) {
				t.Errorf("%+v: %s became %s when %v K colder", c, last, got, k)
			}
			last = got
			grades[got]++
		}
	}
	several(t, grades)
}

// lowered takes k kelvins off every temperature above 110 °C, so that the ends of the
// record stay where they are, and moves the pressure as far along the saturation line.
func lowered(d *draft, k float64) *draft {
	for i, p := range d.kpa {
		if p < 143 {
			continue
		}
		d.chamber[i] -= k
		for _, l := range d.loads {
			l[i] -= k
		}
		sat := steam.Celsius(cycle.Kilopascal(p))
		low, err := steam.Pressure((sat - cycle.Celsius(k)).Kelvin())
		if err != nil {
			panic(err)
		}
		d.kpa[i] = float64(low)
	}
	return d
}

func TestAGapInTheHoldNeverImproves(t *testing.T) {
	grades := map[validate.Outcome]int{}
	for i, c := range invented(100) {
		before := validate.Judge(invent(c).record(t), rules(t, "en", "134")).Outcome()
		for _, gap := range []float64{20, 45, 100} {
			d := invent(c)
			without(float64(10+i), float64(10+i)+gap+2*c.Interval)(d)
			if got := validate.Judge(d.record(t), rules(t, "en", "134")).Outcome(); worse(before, got) {
				t.Errorf("%+v: %s became %s with a gap of %v s", c, before, got, gap)
			} else {
				grades[got]++
			}
		}
	}
	several(t, grades)
}

// A record cut during the exposure, or while pressure falls after it, never conforms.
func TestACutRecordNeverConforms(t *testing.T) {
	good := 0
	for _, c := range invented(60) {
		if validate.Judge(invent(c).record(t), rules(t, "en", "134")).Outcome() == validate.Conforms {
			good++
		}
		end := 0.0
		d := invent(c)
		for i, at := range d.t {
			if at > d.reached+c.Hold && d.kpa[i] < 125 && d.kpa[i] > 60 {
				end = at - d.reached // pressure has fallen to within reach of the air
				break
			}
		}
		for cut := 3.0; cut < end-c.Interval; cut += 11 {
			d := invent(c)
			until(cut)(d)
			if got := validate.Judge(d.record(t), rules(t, "en", "134")); got.Outcome() == validate.Conforms {
				t.Errorf("%+v: conforms though it ends %v s after the plateau began, of %v", c, cut, end)
			}
		}
	}
	if good < 10 {
		t.Errorf("hardly a test: %d good cycles", good)
	}
}

// Written with nine digits in °F, psi or bar, a record has the same verdict and figures.
func TestUnitsChangeNothing(t *testing.T) {
	written := func(v float64) float64 {
		back, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
		if err != nil {
			t.Fatal(err)
		}
		return back
	}
	const psi = 6.894757293168361 // kPa, from the pound and the inch
	units := map[string]func(*draft){
		"°F": func(d *draft) {
			for _, c := range d.columns()[1:] {
				for i, v := range *c {
					if c != &d.kpa {
						(*c)[i] = (written(v*9/5+32) - 32) * 5 / 9
					}
				}
			}
		},
		"psi": func(d *draft) {
			for i, v := range d.kpa {
				d.kpa[i] = written(v/psi) * psi
			}
		},
		"bar": func(d *draft) {
			for i, v := range d.kpa {
				d.kpa[i] = written(v/100) * 100
			}
		},
	}
	for _, c := range invented(40) {
		want := validate.Judge(invent(c).record(t), rules(t, "en", "134"))
		for name, convert := range units {
			d := invent(c)
			convert(d)
			got := validate.Judge(d.record(t), rules(t, "en", "134"))
			if got.Outcome() != want.Outcome() {
				t.Errorf("%+v in %s: %s, not %s", c, name, got.Outcome(), want.Outcome())
			}
			a, b := figures(got.Measured), figures(want.Measured)
			for figure := range a {
				if a[figure].Known != b[figure].Known || math.Abs(a[figure].Value-b[figure].Value) > 1e-4 {
					t.Errorf("%+v in %s: %s is %v, not %v", c, name, figure, a[figure].Figure, b[figure].Figure)
				}
			}
		}
	}
}

// The zero Rules and the zero Verdict never pass.
func TestZeroNeverPasses(t *testing.T) {
	if (validate.Verdict{}).Outcome() == validate.Conforms {
		t.Error("the zero verdict conforms")
	}
	for _, d := range []*draft{invent(fixtures.Cycle{}), leaking(4, 0.06, 960)} {
		if v := validate.Judge(d.record(t), validate.Rules{}); v.Outcome() != validate.NotProven || len(v.Findings) == 0 {
			t.Errorf("%s by rules that say nothing: %+v", v.Outcome(), v)
		}
	}
	blank := validate.Rules{Set: validate.LimitSet{Programmes: []validate.Programme{{}}}}
	if v := validate.Judge(invent(fixtures.Cycle{}).record(t), blank); v.Outcome() == validate.Conforms {
		t.Errorf("conforms to a programme that asks nothing: %+v", v)
	}
	v := validate.Unreadable(cycle.Header{}, 12, "line 12 holds no number", "Export the cycle again.")
	if v.Outcome() != validate.NotProven || v.Kind != cycle.Load || found(v, "readable").Line != 12 {
		t.Errorf("unreadable: %+v", v)
	}
}
