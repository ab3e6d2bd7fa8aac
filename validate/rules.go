package validate

import "holdproof/parse/cycle"

// Programme is a row of a limit set: what a load must be shown to have had.
type Programme struct {
	Name         string        // "134"
	Sterilising  cycle.Celsius // Ts, the lower limit of the band, not the set point
	Band         float64       // K above Ts, end included
	BandOurs     bool          // the band is this project's own choice: a reading above it never fails a load
	Hold         float64       // s
	Penetration  float64       // s, the hold of a steam penetration test; 0: as Hold
	PenetrationX float64       // s, the upper limit of its exposure; 0: none
	Source       Source        // of temperature and time
	BandSource   Source
	// PenetrationSource is the zero Source where a penetration test is held to Hold.
	PenetrationSource Source
	Machines          string // what machines the row applies to
	Differs           string // what other sources say of the same temperature, "" if nothing is known
}

// LimitSet is a list of programmes that are judged alike.
type LimitSet struct {
	Name          string
	Equilibration bool // false: the set has no limit E for the equilibration time
	Programmes    []Programme
	LooserBecause string // printed on every record judged with it
}

// Rules are all that a verdict depends on beside the record. The zero value has no
// programme and proves nothing.
type Rules struct {
	Set     LimitSet
	Site    Site
	Machine Machine
}

// Site is what the surroundings settle.
type Site struct {
	Altitude Figure // m above sea level
	Ambient  Figure // kPa absolute, instead of an altitude
}

// Uncertainty is what a calibration certificate says of a machine's sensors, k = 2.
type Uncertainty struct {
	Temperature Figure // K
	Pressure    Figure // kPa
}

// Mapping ties a label of the recorder to a programme, a kind, or both.
type Mapping struct {
	Label     string // exactly as the record has it, but for letter case and runs of spaces
	Programme string // name of a programme of the limit set, "" if not said
	Kind      cycle.Kind
}

// Tolerance is a reference figure of validation and how far a cycle may be from it.
type Tolerance struct{ At, Within float64 }

// Machine is what the configuration says of a steriliser. The zero value says nothing.
type Machine struct {
	ID               string
	Litres           Figure // of the chamber
	Type             string // "B", "N", "S" or ""
	DefaultProgramme string
	Uncertainty      Uncertainty
	Pulses           int     // of air removal, from the validation report; 0: not configured
	PulsesBelow      float64 // kPa
	DryingBelow      float64 // kPa; 0: not configured
	DryingMinutes    float64
	ReferenceHold    *Tolerance // s
	ReferencePlateau *Tolerance // °C
	ReferenceHeating *Tolerance // s
	Mappings         []Mapping
}
