package surgery

import "time"

// Configuration is holdproof.yaml as a site wrote it. A pointer is nil where the
// file does not say; nothing is filled in here. [Configuration.Faults] says what
// in it cannot be.
type Configuration struct {
	Site        Site         `mapstructure:"site"`
	Limits      string       `mapstructure:"limits"`  // name of a limit set, "" for [DefaultLimits]
	Routine     string       `mapstructure:"routine"` // what a day owes, by country
	Watch       []string     `mapstructure:"watch"`   // folders
	Sterilisers []Steriliser `mapstructure:"sterilisers"`

	// RoutineChanges are what the site does otherwise than its routine.
	RoutineChanges []RoutineChange `mapstructure:"routine_changes"`
	// Chairs are the names of the treatment chairs, each with its water and suction lines:
	// the places that duties are owed for.
	Chairs []string `mapstructure:"chairs"`

	LimitSets []LimitSet `mapstructure:"limit_sets"`
	Products  []Product  `mapstructure:"products"` // of disinfectants
	UseBy     string     `mapstructure:"use_by"`   // how long packs keep, such as 6 months; "" not said

	// CheckpointCopy is a file or folder outside the site's folder that takes a
	// checkpoint after each act, "" for none.
	CheckpointCopy string `mapstructure:"checkpoint_copy"`

	// RetentionYears is shown, nil for what is usual under the routine. Nothing is
	// ever deleted by itself.
	RetentionYears *float64 `mapstructure:"retention_years"`

	// Timestamp is the server asked for a time stamp under each signature; without an
	// address no network is used.
	Timestamp Timestamp `mapstructure:"timestamp"`
}

// DefaultLimits is the limit set of a site that names none.
const DefaultLimits = "en"

// Site is the surgery itself. Altitude (m) or ambient (kPa absolute) turns gauge
// into absolute pressure.
type Site struct {
	Name       string   `mapstructure:"name"`
	Timezone   string   `mapstructure:"timezone"` // IANA name, "" for UTC
	AltitudeM  *float64 `mapstructure:"altitude_m"`
	AmbientKPa *float64 `mapstructure:"ambient_kpa"`

	SecondSignature        string `mapstructure:"second_signature"` // required, none; "" is required
	SecondSignatureBecause string `mapstructure:"second_signature_because"`
}

// Timestamp is an RFC 3161 time-stamp server. Roots is a PEM file with the authorities
// it is believed by; without one a stamp is kept but judges no certificate.
type Timestamp struct {
	URL   string `mapstructure:"url"`
	Roots string `mapstructure:"roots"`
}

// Steriliser is one machine.
type Steriliser struct {
	ID            string       `mapstructure:"id"`
	Serial        string       `mapstructure:"serial"`
	ChamberLitres *float64     `mapstructure:"chamber_litres"`
	Type          string       `mapstructure:"type"` // B, N or S
	AirDetector   bool         `mapstructure:"air_detector"`
	Programme     string       `mapstructure:"programme"` // if the record has no label
	Uncertainty   *Uncertainty `mapstructure:"uncertainty"`
	AirRemoval    *AirRemoval  `mapstructure:"air_removal"`
	Drying        *Drying      `mapstructure:"drying"`
	Reference     *Reference   `mapstructure:"reference"`
	Programmes    []Mapping    `mapstructure:"programmes"`
	Export        Export       `mapstructure:"export"`
}

// RoutineChange is a line of the routine that the site changes, leaves out or adds, with
// the reason that is printed with it.
type RoutineChange struct {
	Duty   string   `mapstructure:"duty"`
	Per    string   `mapstructure:"per"`   // which line, where a duty has several; for what, in a new line
	Drop   bool     `mapstructure:"drop"`  // it is not owed here
	Every  string   `mapstructure:"every"` // such as 7 days
	When   string   `mapstructure:"when"`
	What   string   `mapstructure:"what"` // of a new line
	Low    *float64 `mapstructure:"low"`
	High   *float64 `mapstructure:"high"`
	Unit   string   `mapstructure:"unit"` // of a new line with a figure
	Reason string   `mapstructure:"reason"`
}

// Uncertainty of a machine's sensors, expanded, k = 2.
type Uncertainty struct {
	TemperatureK *float64     `mapstructure:"temperature_k"`
	PressureKPa  *float64     `mapstructure:"pressure_kpa"`
	Certificate  *Certificate `mapstructure:"certificate"`
}

// Certificate is the calibration certificate behind an uncertainty.
type Certificate struct {
	Number string    `mapstructure:"number"`
	Date   time.Time `mapstructure:"date"` // a day
	Due    time.Time `mapstructure:"due"`  // the last day it holds
}

// AirRemoval is what validation found before the exposure.
type AirRemoval struct {
	Pulses   int     `mapstructure:"pulses"`
	BelowKPa float64 `mapstructure:"below_kpa"`
}

// Drying is what validation found after the exposure.
type Drying struct {
	BelowKPa float64 `mapstructure:"below_kpa"`
	Minutes  float64 `mapstructure:"minutes"`
}

// Reference are the figures of validation that a control test is compared with.
type Reference struct {
	HoldS    *Tolerance `mapstructure:"hold_s"`
	PlateauC *Tolerance `mapstructure:"plateau_c"`
	HeatingS *Tolerance `mapstructure:"heating_s"`
}

// Tolerance is a figure and how far a cycle may be from it.
type Tolerance struct {
	At     float64 `mapstructure:"at"`
	Within float64 `mapstructure:"within"`
}

// Mapping says what a label of the recorder means.
type Mapping struct {
	Label     string `mapstructure:"label"`
	Programme string `mapstructure:"programme"`
	Kind      string `mapstructure:"kind"`
}

// Export is what a machine's files do not say themselves.
type Export struct {
	SteriliserColumn string   `mapstructure:"steriliser_column"`
	DateOrder        string   `mapstructure:"date_order"` // dmy, mdy or ymd
	Decimal          string   `mapstructure:"decimal"`    // , or .
	Pressure         string   `mapstructure:"pressure"`   // gauge or absolute
	Columns          []Column `mapstructure:"columns"`
}

// Column says what stands under a heading.
type Column struct {
	Heading string `mapstructure:"heading"`
	Is      string `mapstructure:"is"`
	Unit    string `mapstructure:"unit"`
}

// LimitSet is a set of limits of the site's own.
type LimitSet struct {
	Name          string     `mapstructure:"name"`
	Source        string     `mapstructure:"source"`
	LooserBecause string     `mapstructure:"looser_because"`
	Programmes    []OwnLimit `mapstructure:"programmes"`
}

// OwnLimit is a row of such a set.
type OwnLimit struct {
	Name         string  `mapstructure:"name"`
	SterilisingC float64 `mapstructure:"sterilising_c"`
	BandK        float64 `mapstructure:"band_k"`
	HoldS        float64 `mapstructure:"hold_s"`
}
