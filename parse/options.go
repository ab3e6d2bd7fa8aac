package parse

import "time"

// Options is what the configuration settles about exports. The zero value: times
// without an offset are UTC, and nothing is configured.
type Options struct {
	// Unhashed: whoever hands over the bytes hashes them on the way, so that they are not
	// hashed twice. Then [Reader.SHA256] is "", and the sum has to be compared with
	// [Reader.SecondSHA256].
	Unhashed bool

	Zone        *time.Location // of the site; nil is UTC
	Sterilisers []Steriliser   // in the order of the configuration
	Only        string         // id of the steriliser every file belongs to; "" asks the file
}

// Steriliser is a configured machine, as far as reading its exports needs it.
type Steriliser struct {
	ID, Serial string
	Hints      Hints
}

// Hints are the `export:` of a configured steriliser: only what the file does not
// say itself.
type Hints struct {
	SteriliserColumn string // heading of the column that names the machine
	DateOrder        string // "dmy", "mdy", "ymd" or ""
	Decimal          string // ".", "," or ""
	Pressure         string // "absolute", "gauge" or ""
	Columns          []ColumnHint
}

// ColumnHint says what stands under one heading. Is is one of [ColumnUses]; Unit
// is a spelling that [KnownUnit] knows, or "".
type ColumnHint struct{ Heading, Is, Unit string }

// ColumnUses returns the words that `is:` of a column may say.
func ColumnUses() []string {
	names := make([]string, 0, len(useNames))
	for _, u := range useNames {
		names = append(names, u.name)
	}
	return names
}

// KnownUnit tells whether a unit of a column hint is one of units.csv for what
// the column is.
func KnownUnit(unit string) bool {
	_, _, ok := units().spelled(unit)
	return ok
}

// UnitFits tells whether a unit is one for what a column is: degF for a temperature,
// "bar abs" for a pressure, mm:ss for a time.
func UnitFits(is, unit string) bool {
	u, _, ok := units().spelled(unit)
	if !ok {
		return false
	}
	for _, n := range useNames {
		if n.name != is {
			continue
		}
		switch n.use {
		case useTemperature:
			return u.quantity == "temperature"
		case usePressure:
			return u.quantity == "pressure"
		case useTime, useElapsed:
			return u.quantity == "time"
		case useDate:
			return u.quantity == "date"
		}
	}
	return false
}
