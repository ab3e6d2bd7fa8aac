package validate

import "holdproof/parse/cycle"

// columns says which channels of a record are judged and which are not, and why.
type columns struct {
	judged  []int // indexes of channels
	ref     int   // index into judged, -1 if there is no chamber and no drain
	unknown []int
	dead    []int // load columns without a readable value
	twin    []int // load columns equal to another judged one
	sole    bool  // the only temperature column is the chamber, whatever its heading
}

// sortColumns decides what each temperature column is to the judge.
func sortColumns(raw cycle.Readings) columns {
	c := columns{ref: -1}
	if len(raw.Channels) == 1 {
		role := raw.Channels[0].Role
		c.sole = role == cycle.Unknown || role == cycle.LoadProbe
	}
	var loads []int
	for k := range raw.Channels {
		switch c.role(raw, k) {
		case cycle.Unknown:
			c.unknown = append(c.unknown, k)
		case cycle.Chamber, cycle.Drain, cycle.LoadProbe:
			loads = append(loads, k)
		}
	}
	for i, k := range loads {
		if c.role(raw, k) != cycle.LoadProbe {
			c.judged = append(c.judged, k)
			continue
		}
		switch {
		case !readable(raw.Channels[k].Celsius):
			c.dead = append(c.dead, k)
		case c.isTwin(raw, k, loads[:i], loads[i+1:]):
			c.twin = append(c.twin, k)
		default:
			c.judged = append(c.judged, k)
		}
	}
	c.ref = c.reference(raw)
	return c
}

// role is the channel's own, but for the only temperature column of a record.
func (c columns) role(raw cycle.Readings, k int) cycle.Role {
	if c.sole {
		return cycle.Chamber
	}
	return raw.Channels[k].Role
}

// reference is the first chamber channel; only if there is none, the first drain.
func (c columns) reference(raw cycle.Readings) int {
	drain := -1
	for i, k := range c.judged {
		switch c.role(raw, k) {
		case cycle.Chamber:
			return i
		case cycle.Drain:
			if drain < 0 {
				drain = i
			}
		}
	}
	return drain
}

// isTwin tells whether load column k equals another judged one: any chamber or
// drain, or a load column before it that is judged itself.
func (c columns) isTwin(raw cycle.Readings, k int, before, after []int) bool {
	for _, other := range before {
		stillJudged := len(c.judged) > 0 && contains(c.judged, other)
		if stillJudged && same(raw.Channels[k].Celsius, raw.Channels[other].Celsius) {
			return true
		}
	}
	for _, other := range after {
		if c.role(raw, other) != cycle.LoadProbe && same(raw.Channels[k].Celsius, raw.Channels[other].Celsius) {
			return true
		}
	}
	return false
}

func contains(xs []int, x int) bool {
	for _, v := range xs {
		if v == x {
			return true
		}
	}
	return false
}

// readable tells whether a column has at least one value that can be a temperature.
func readable(values []cycle.Celsius) bool {
	for _, v := range values {
		if v >= coldest-limitTolerance && v <= hottest+limitTolerance {
			return true
		}
	}
	return false
}

// same tells whether two columns are equal at more than 99 % of the readings (ours).
func same(a, b []cycle.Celsius) bool {
	differ := 0
	for i := range a {
		if a[i] != b[i] {
			differ++
			if 100*differ >= len(a) {
				return false
			}
		}
	}
	return true
}
