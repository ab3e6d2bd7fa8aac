package cycle

// Kind is what a record is of. The zero value says that no word of the record told.
type Kind int

// The kinds of cycle. Their printed forms are part of the contract with scripts.
const (
	KindUnsaid Kind = iota
	Load
	ControlTest
	PenetrationTest
	LeakTest
)

var kindNames = [...]string{"", "load", "control test", "steam penetration test", "air leakage test"}

// String returns the printed form, "" for [KindUnsaid].
func (k Kind) String() string { return nameOf(kindNames[:], int(k)) }

// KindNamed returns the kind with that printed form, [KindUnsaid] if there is none.
func KindNamed(name string) Kind { return Kind(indexOf(kindNames[:], name)) }

// Role is the place a temperature channel measures. The zero value is a column
// whose heading nobody knows; it is not ignored, it makes the record not proven.
type Role int

// The roles. Chamber, Drain and LoadProbe are judged; Other (jacket, generator,
// heater, door, ambient) and NotConnected are kept and never judged.
const (
	Unknown Role = iota
	Chamber
	Drain
	LoadProbe
	Other
	NotConnected
)

var roleNames = [...]string{"unknown", "chamber temperature", "drain temperature", "load temperature", "other temperature", "not connected"}

// String returns the word of the configuration for the role.
func (r Role) String() string { return nameOf(roleNames[:], int(r)) }

// Judged tells whether a channel with this role must show the sterilising temperature.
func (r Role) Judged() bool { return r == Chamber || r == Drain || r == LoadProbe }

// Reference tells what a recorded pressure is measured from. The zero value says
// that neither heading nor configuration told; the readings may still settle it.
type Reference int

// The references of a pressure.
const (
	ReferenceUnsaid Reference = iota
	Absolute
	Gauge
)

var referenceNames = [...]string{"", "absolute", "gauge"}

// String returns the word of the configuration for the reference, "" if unsaid.
func (r Reference) String() string { return nameOf(referenceNames[:], int(r)) }

// Says is what a recorder's own words about its cycle amount to. The zero value
// is a line that the table of words does not know.
type Says int

// What a statement can amount to.
const (
	SaysUnknown   Says = iota // no word of the table: printed as a limitation
	SaysCompleted             // completed, passed, ok ...
	SaysFault                 // fault, aborted, alarm, power loss ...
)

func nameOf(names []string, i int) string {
	if i < 0 || i >= len(names) {
		return ""
	}
	return names[i]
}

func indexOf(names []string, name string) int {
	for i, n := range names {
		if i > 0 && n == name {
			return i
		}
	}
	return 0
}
