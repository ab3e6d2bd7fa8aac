package validate

import (
	"fmt"
	"math"

	"holdproof/parse/cycle"
)

// The altitudes for which [Atmosphere] answers, in m (ours: where people sterilise;
// the layer of the standard atmosphere that the formula describes reaches further).
const (
	minAltitude = -500
	maxAltitude = 6000
)

// Atmosphere returns the pressure of the standard atmosphere at an altitude in m.
//
// Formula: ISO 2533:1975, p = 101.325 (1 - 2.25577e-5 h)^5.25588 kPa, with the
// geometric altitude put in for the geopotential one. Range: -500 to 6000 m, ends
// included. Error: any other altitude, NaN too. Checked against: the printed values
// for 0 to 3000 m, which it meets to 0.01 kPa (0.02 kPa at 3000 m). The weather moves
// the true pressure by some 3 kPa; that belongs to the uncertainty, not here.
func Atmosphere(altitude float64) (cycle.Kilopascal, error) {
	if !(minAltitude <= altitude && altitude <= maxAltitude) { // written so that NaN fails
		return 0, fmt.Errorf("found an altitude of %v m, expected %d to %d m", altitude, minAltitude, maxAltitude)
	}
	return cycle.Kilopascal(101.325 * math.Pow(1-2.25577e-5*altitude, 5.25588)), nil
}
