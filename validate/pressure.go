package validate

import (
	"math"

	"holdproof/parse/cycle"
	"holdproof/validate/steam"
)

// standardAtmosphere stands for the surrounding pressure only where readings have to
// tell absolute from gauge, two scales that lie 100 kPa apart.
const standardAtmosphere = 101.325 // kPa

// Atmospheric pressure where people sterilise, kPa absolute (ours).
const lowestAmbient, highestAmbient = 60.0, 110.0

// pressureScale says what the recorded pressures are measured from.
type pressureScale struct {
	present    bool
	reference  cycle.Reference // Unsaid: neither the record, the configuration nor the readings told
	fromCurve  bool            // the readings told
	contradict bool            // the readings say both
	ambient    float64         // kPa absolute of the site, NaN if unknown
	ambientU   float64         // kPa, expanded: how far the surroundings may be from ambient
}

// How far the surrounding air may be from what the site says, k = 2 (ours).
const (
	weatherU = 3.0 // kPa, with an altitude: the weather
	siteU    = 1.0 // kPa, with a pressure
)

func scaleOf(raw cycle.Readings, cols columns, site Site) pressureScale {
	ps := pressureScale{ambient: math.NaN()}
	if site.Altitude.Known {
		if p, err := Atmosphere(site.Altitude.Value); err == nil {
			ps.ambient, ps.ambientU = float64(p), weatherU
		}
	}
	if site.Ambient.Known && site.Ambient.Value >= lowestAmbient && site.Ambient.Value <= highestAmbient {
		ps.ambient, ps.ambientU = site.Ambient.Value, siteU
	}
	if raw.Pressure == nil {
		return ps
	}
	ps.present, ps.reference = true, raw.Pressure.Reference
	if ps.reference == cycle.ReferenceUnsaid {
		ps.fromCurve = true
		ps.reference, ps.contradict = settle(raw, cols, ps.ambient)
	}
	return ps
}

// offset is what makes a recorded pressure absolute, in kPa; false if it cannot be known.
func (ps pressureScale) offset() (float64, bool) {
	switch {
	case !ps.present:
		return 0, false
	case ps.reference == cycle.Absolute:
		return 0, true
	case ps.reference == cycle.Gauge && !math.IsNaN(ps.ambient):
		return ps.ambient, true
	}
	return 0, false
}

// gaugeAlone tells that the pressure is above the surrounding air, which is not known.
func (ps pressureScale) gaugeAlone() bool {
	return ps.present && ps.reference == cycle.Gauge && math.IsNaN(ps.ambient)
}

// possible is the range, as recorded, of what a pressure can be.
func (ps pressureScale) possible() (lo, hi float64) {
	offset, known := ps.offset()
	switch {
	case known && ps.reference == cycle.Absolute:
		return 0, highestPressure
	case known:
		return max(lowestGaugePressure, -offset), highestPressure - offset
	}
	return lowestGaugePressure, highestPressure
}

// settle tells absolute from gauge by the readings: by the pressure of saturation at
// the hottest readings, or by the pressure at either end of the record. Either alone
// suffices; a contradiction, or neither, settles nothing.
func settle(raw cycle.Readings, cols columns, ambient float64) (cycle.Reference, bool) {
	var absolute, gauge bool
	count := func(a, g bool) { absolute, gauge = absolute || a, gauge || g }
	count(bySaturation(raw, cols, ambient))
	count(byEnds(raw.Pressure.KPa))
	switch {
	case absolute && !gauge:
		return cycle.Absolute, false
	case gauge && !absolute:
		return cycle.Gauge, false
	}
	return cycle.ReferenceUnsaid, absolute && gauge
}

// bySaturation: of the two scales the one whose median, over readings within 2 K of
// the hottest, lies within 40 kPa of saturation, if exactly one does.
func bySaturation(raw cycle.Readings, cols columns, ambient float64) (absolute, gauge bool) {
	const nearHottest, near = 2.0, 40.0
	if cols.ref < 0 {
		return false, false
	}
	if math.IsNaN(ambient) {
		ambient = standardAtmosphere
	}
	ref := raw.Channels[cols.judged[cols.ref]].Celsius
	usable := func(i int) bool {
		p := raw.Pressure.KPa[i]
		return ref[i] >= coldest && ref[i] <= hottest && p >= lowestGaugePressure && p <= highestPressure
	}
	top := math.Inf(-1)
	for i, v := range ref {
		if usable(i) {
			top = max(top, float64(v))
		}
	}
	var over []float64
	for i, v := range ref {
		if !usable(i) || !atLeast(float64(v), top-nearHottest) {
			continue
		}
		if p, err := steam.Pressure(v.Kelvin()); err == nil {
			over = append(over, raw.Pressure.KPa[i]-float64(p))
		}
	}
	mid, ok := median(over)
	if !ok {
		return false, false
	}
	absolute, gauge = atMost(math.Abs(mid), near), atMost(math.Abs(mid+ambient), near)
	if absolute && gauge {
		return false, false
	}
	return absolute, gauge
}

// byEnds: either end of the record at atmosphere, 60 to 110 kPa absolute, or -5 to 5
// kPa gauge if the record also goes below -20 or above 50.
func byEnds(ps []float64) (absolute, gauge bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	first, last, any := 0.0, 0.0, false
	for _, p := range ps {
		if !(p >= lowestGaugePressure && p <= highestPressure) {
			continue
		}
		if !any {
			first, any = p, true
		}
		last, lo, hi = p, min(lo, p), max(hi, p)
	}
	if !any {
		return false, false
	}
	moves := below(lo, -20) || above(hi, 50)
	for _, p := range [2]float64{first, last} {
		absolute = absolute || atLeast(p, lowestAmbient) && atMost(p, highestAmbient)
		gauge = gauge || moves && atMost(math.Abs(p), 5)
	}
	return absolute, gauge
}
