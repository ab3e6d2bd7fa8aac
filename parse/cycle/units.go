// Package cycle is the vocabulary of the house: what a steriliser or logger wrote
// down of one cycle, in the units of the printout, and nothing about whether it
// was good. A [Record] is made once, by parse, and never changed after.
package cycle

// Celsius is a temperature in °C (ITS-90), the unit on the printout.
type Celsius float64

// Kelvin is a thermodynamic temperature in K.
type Kelvin float64

// Kilopascal is an absolute pressure in kPa.
type Kilopascal float64

// GaugeKilopascal is a pressure in kPa above the surrounding air. It cannot be
// compared with a steam table before [GaugeKilopascal.Absolute].
type GaugeKilopascal float64

// IcePoint is 0 °C in kelvin (ITS-90, by definition).
const IcePoint = 273.15

// Kelvin returns the same temperature in kelvin.
func (c Celsius) Kelvin() Kelvin { return Kelvin(c + IcePoint) }

// Celsius returns the same temperature in °C.
func (k Kelvin) Celsius() Celsius { return Celsius(k - IcePoint) }

// Absolute adds the pressure of the surrounding air.
func (g GaugeKilopascal) Absolute(ambient Kilopascal) Kilopascal { return Kilopascal(g) + ambient }
