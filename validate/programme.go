package validate

import (
	"math"
	"slices"
	"sort"
	"strings"

	"holdproof/parse/cycle"
)

// choice is the kind and the programme a record is judged as, and who said so.
type choice struct {
	kind         cycle.Kind
	leakInferred bool
	neverLeak    bool // a word said leak test, but the chamber was hot under pressure
	programme    Programme
	by           string // "mapped", "label", "default", "inferred"; "" when none fits
	unknownName  string // a name of the configuration that the limit set does not have
	level        Figure // °C, the whole degree inferred from
}

// choose settles kind and programme: the configuration's mapping of the label, the
// label itself, the steriliser's default, the readings.
func choose(h cycle.Header, raw cycle.Readings, r *readings, rules Rules) choice {
	c := choice{}
	mapping, mapped := mappingOf(h.Label.Text, rules.Machine.Mappings)
	c.kind = h.Label.Kind
	if mapped && mapping.Kind != cycle.KindUnsaid {
		c.kind = mapping.Kind
	}
	if c.kind == cycle.LeakTest && r.hotUnderPressure() {
		c.kind, c.neverLeak = cycle.KindUnsaid, true
	}
	if c.kind == cycle.KindUnsaid && h.Label.Text == "" && rules.Machine.DefaultProgramme == "" && r.looksLikeLeakTest(raw) {
		c.kind, c.leakInferred = cycle.LeakTest, true
	}
	if c.kind == cycle.KindUnsaid {
		c.kind = cycle.Load
	}
	if c.kind == cycle.LeakTest {
		return c
	}
	if mapped && mapping.Programme != "" {
		return c.named(rules.Set, mapping.Programme, "mapped")
	}
	if p, ok := byLabel(h.Label.Numbers, rules.Set); ok {
		c.programme, c.by = p, "label"
		return c
	}
	if rules.Machine.DefaultProgramme != "" {
		return c.named(rules.Set, rules.Machine.DefaultProgramme, "default")
	}
	return c.inferred(rules.Set, r)
}

// named takes a programme of the configuration. A name that the limit set does not
// have is a mistake to be mended, not a reason to look elsewhere.
func (c choice) named(set LimitSet, name, by string) choice {
	for _, p := range set.Programmes {
		if p.Name == name {
			c.programme, c.by = p, by
			return c
		}
	}
	c.unknownName = name
	return c
}

func mappingOf(label string, mappings []Mapping) (Mapping, bool) {
	if label == "" {
		return Mapping{}, false
	}
	for _, m := range mappings {
		if strings.EqualFold(oneSpaced(m.Label), oneSpaced(label)) {
			return m, true
		}
	}
	return Mapping{}, false
}

func oneSpaced(s string) string { return strings.Join(strings.Fields(s), " ") }

// byLabel returns the programme whose temperature the label has as a number, if it has
// exactly one of the set's temperatures. Of several programmes at one temperature the
// one with the longest hold counts (ours: the strictest).
func byLabel(numbers []cycle.Number, set LimitSet) (Programme, bool) {
	var found Programme
	known := false
	for _, n := range numbers {
		p, ok := atTemperature(set, inCelsius(n))
		switch {
		case !ok:
		case known && !sameLimit(float64(p.Sterilising), float64(found.Sterilising)):
			return Programme{}, false
		default:
			found, known = p, true
		}
	}
	return found, known
}

// inCelsius: in °F programmes are named by whole degrees, 270 °F is 132 °C.
func inCelsius(n cycle.Number) float64 {
	if n.Unit == "F" {
		return math.Round((n.Value - 32) * 5 / 9)
	}
	return n.Value
}

func atTemperature(set LimitSet, celsius float64) (Programme, bool) {
	var found Programme
	known := false
	for _, p := range set.Programmes {
		if sameLimit(float64(p.Sterilising), celsius) && (!known || p.Hold > found.Hold) {
			found, known = p, true
		}
	}
	return found, known
}

// hotUnderPressure tells that a judged temperature is above 105 °C at a reading above
// 110 kPa, which no leak test is; where the absolute pressure is not known, the
// temperature alone tells.
func (r *readings) hotUnderPressure() bool {
	const hot = 105.0 // °C
	for _, c := range r.judged {
		for i, v := range c.celsius {
			if above(v, hot) && r.underPressure(i) {
				return true
			}
		}
	}
	return false
}

// inferred takes the programme from the readings (ours): the whole degree at which
// the chamber stood longest in steam, and the programme it belongs to.
func (c choice) inferred(set LimitSet, r *readings) choice {
	level, ok := r.level()
	if !ok {
		if p, any := highest(set, func(Programme) bool { return true }); any {
			c.programme, c.by = p, "inferred"
		}
		return c
	}
	c.level = Known(level)
	p, ok := highest(set, func(p Programme) bool {
		return atLeast(level, float64(p.Sterilising)) && atMost(level, float64(p.Sterilising)+p.Band)
	})
	if !ok {
		p, ok = highest(set, func(p Programme) bool {
			return atLeast(level, float64(p.Sterilising)-2) && below(level, float64(p.Sterilising))
		})
	}
	if ok {
		c.programme, c.by = p, "inferred"
	}
	return c
}

// highest returns the programme with the highest temperature that fits; of several at
// one temperature the one with the longest hold.
func highest(set LimitSet, fits func(Programme) bool) (Programme, bool) {
	var found Programme
	known := false
	for _, p := range set.Programmes {
		if !fits(p) {
			continue
		}
		higher := p.Sterilising > found.Sterilising || p.Sterilising == found.Sterilising && p.Hold > found.Hold
		if !known || higher {
			found, known = p, true
		}
	}
	return found, known
}

// level returns the whole degree of the reference temperature with the most time,
// among readings in steam: at 150 kPa or more and within 5 K of saturation; without an
// absolute pressure, within 5 K of the hottest. Each reading has half the time to
// either neighbour, of which no more than three intervals count. Of equals the higher.
func (r *readings) level() (float64, bool) {
	const least, near = 150.0, 5.0 // kPa, K
	if r.ref == nil {
		return 0, false
	}
	m, _ := r.interval(0, len(r.t)-1)
	any := false
	top := math.Inf(-1)
	if r.p == nil {
		top = slices.Max(r.ref)
	}
	var spent [1 + hottest - coldest + 1]float64 // by whole degree from coldest
	t := r.t[:len(r.ref)]
	for i, v := range r.ref {
		if r.p == nil {
			if !atLeast(v, top-near) {
				continue
			}
		} else if !atLeast(r.p[i], least) || !atMost(math.Abs(v-r.tsteam[i]), near) {
			continue
		}
		d := 0.0
		if i > 0 {
			d += capped(t[i]-t[i-1], 3*m)
		}
		if i+1 < len(t) {
			d += capped(t[i+1]-t[i], 3*m)
		}
		spent[max(0, wholeDegree(v+limitTolerance)-int(coldest))] += d / 2
		any = true
	}
	best := 0
	for d, time := range spent {
		if atLeast(time, spent[best]) {
			best = d
		}
	}
	return coldest + float64(best), any
}

// wholeDegree rounds down, at half the cost of [math.Floor].
func wholeDegree(x float64) int {
	d := int(x)
	if float64(d) > x {
		d--
	}
	return d
}

func capped(x, limit float64) float64 {
	if x > limit {
		return limit
	}
	return x
}

// looksLikeLeakTest tells whether the readings are those of an air leakage test: no
// load channel, no judged temperature above 105 °C, pressure below 20 kPa and from
// then below 80 kPa for at least 10 min, and no steam let in.
func (r *readings) looksLikeLeakTest(raw cycle.Readings) bool {
	const hot, low, lasting, stays = 105.0, 20.0, 600.0, 80.0
	if r.p == nil {
		return false
	}
	for _, c := range raw.Channels {
		if c.Role == cycle.LoadProbe {
			return false
		}
	}
	for _, c := range r.judged {
		for _, v := range c.celsius {
			if above(v, hot) {
				return false
			}
		}
	}
	long, from := false, -1
	for i, p := range r.p {
		switch {
		case !below(p, stays):
			from = -1
		case from < 0 && below(p, low):
			from = i
		}
		long = long || from >= 0 && atLeast(r.t[i]-r.t[from], lasting)
	}
	return long && !r.steamLetIn()
}

// steamLetIn tells whether between any two readings pressure rises by more than 30 kPa
// and the reference temperature by more than 10 K. It keeps the readings that no
// earlier one undercuts in both, in rising pressure and so in falling temperature.
func (r *readings) steamLetIn() bool {
	const rise, warming = 30.0, 10.0 // kPa, K
	if r.ref == nil {
		return false
	}
	type point struct{ p, t float64 }
	var least []point
	for i, p := range r.p {
		t := r.ref[i]
		under := sort.Search(len(least), func(k int) bool { return !above(p-least[k].p, rise) })
		if under > 0 && above(t-least[under-1].t, warming) {
			return true
		}
		k := sort.Search(len(least), func(k int) bool { return least[k].p > p })
		if k > 0 && least[k-1].t <= t {
			continue
		}
		end := k
		for end < len(least) && least[end].t >= t {
			end++
		}
		if k > 0 && least[k-1].p == p {
			k--
		}
		least = slices.Replace(least, k, end, point{p, t})
	}
	return false
}
