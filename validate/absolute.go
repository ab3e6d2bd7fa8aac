package validate

import "holdproof/parse/cycle"

// AbsolutePressure returns the recorded pressures in kPa absolute, one a reading,
// as [Judge] takes them: absolute as they stand, gauge with the surrounding air of
// the site. A reading without a number stays NaN.
//
// It returns nil where there is no pressure, or where nothing says what it was
// measured from.
func AbsolutePressure(rec *cycle.Record, site Site) []float64 {
	raw := rec.Readings()
	offset, known := scaleOf(raw, sortColumns(raw), site).offset()
	if !known {
		return nil
	}
	out := make([]float64, len(raw.Pressure.KPa))
	for i, p := range raw.Pressure.KPa {
		out[i] = p + offset
	}
	return out
}
