// Package steam relates temperature and pressure of saturated water and steam.
//
// Source: IAPWS R7-97(2012), Revised Release on the IAPWS Industrial Formulation
// 1997 for the Thermodynamic Properties of Water and Steam, section 8, region 4.
// Coefficients and check values: second-hand, as published in several test files.
package steam

import (
	"fmt"
	"math"

	"holdproof/parse/cycle"
)

// The range of the release, ends included.
const (
	minTemperature = 273.15   // K
	maxTemperature = 647.096  // K, the critical point
	minPressure    = 0.611213 // kPa
	maxPressure    = 22064.0  // kPa
)

// The coefficients of Table 34.
const (
	n1  = 0.11670521452767e4
	n2  = -0.72421316703206e6
	n3  = -0.17073846940092e2
	n4  = 0.12020824702470e5
	n5  = -0.32325550322333e7
	n6  = 0.14915108613530e2
	n7  = -0.48232657361591e4
	n8  = 0.40511340542057e6
	n9  = -0.23855557567849
	n10 = 0.65017534844798e3
)

// Pressure returns the absolute pressure of saturated steam at t.
//
// Formula: IAPWS R7-97(2012) equation 30. Range: 273.15 K ≤ t ≤ 647.096 K, ends included.
// Error: any other t, NaN too; never a guess.
// Checked against: Table 35, all nine printed digits; the coefficients, typed a second time.
func Pressure(t cycle.Kelvin) (cycle.Kilopascal, error) {
	if !(minTemperature <= t && t <= maxTemperature) { // written so that NaN fails
		return 0, fmt.Errorf("%v K is outside %v to %v K, where saturated steam exists", float64(t), minTemperature, maxTemperature)
	}
	x := float64(t)
	v := x + n9/(x-n10)
	a := (v+n1)*v + n2
	b := (n3*v+n4)*v + n5
	c := (n6*v+n7)*v + n8
	r := 2 * c / (-b + math.Sqrt(b*b-4*a*c))
	r *= r
	return cycle.Kilopascal(1000 * r * r), nil
}

// Temperature returns the temperature of saturated steam at the absolute pressure p.
//
// Formula: IAPWS R7-97(2012) equation 31, the backward equation. Range:
// 0.611213 kPa ≤ p ≤ 22064 kPa, ends included.
// Error: any other p, NaN too; never a guess.
// Checked against: Table 36, all nine printed digits.
func Temperature(p cycle.Kilopascal) (cycle.Kelvin, error) {
	t := saturation(float64(p))
	if math.IsNaN(t) {
		return 0, fmt.Errorf("%v kPa is outside %v to %v kPa absolute, where saturated steam exists", float64(p), minPressure, maxPressure)
	}
	return cycle.Kelvin(t), nil
}

// Celsius is [Temperature] in °C for the inner loops: NaN outside its range.
func Celsius(p cycle.Kilopascal) cycle.Celsius {
	return cycle.Celsius(saturation(float64(p)) - cycle.IcePoint)
}

// saturation is equation 31 in K for p in kPa, NaN outside the range.
//
// It is written for speed, not changed: F is halved throughout, which takes the factors
// 4 and 2 from the quadratic, and (n10 + D)^2 - 4 (n9 + n10 D) is (n10 - D)^2 - 4 n9.
func saturation(p float64) float64 {
	if !(minPressure <= p && p <= maxPressure) { // written so that NaN fails
		return math.NaN()
	}
	root := math.Sqrt(p * 0.001)
	beta := math.Sqrt(root) // the quarter power
	e := root + n3*beta + n6
	f := n1/2*root + n4/2*beta + n7/2
	g := n2*root + n5*beta + n8
	d := g / (-f - math.Sqrt(f*f-e*g))
	u := n10 - d
	return (n10 + d - math.Sqrt(u*u-4*n9)) * 0.5
}

// Slope returns dT/dp of the saturation line in K/kPa at p, NaN outside its range.
//
// Formula: the central difference of the backward equation over 0.2 % of p (one
// sided at the ends of the range). Its error is below 1e-5 of the slope, far below
// what an uncertainty needs.
func Slope(p cycle.Kilopascal) float64 {
	x := float64(p)
	lo, hi := max(x*0.999, minPressure), min(x*1.001, maxPressure)
	return (saturation(hi) - saturation(lo)) / (hi - lo)
}
