// Package daily holds one day of one surgery as a pure value: what was sterilised,
// what was tested, what was owed, who decided what, and what is missing.
//
// A [Day] is the whole content of a day record beside the readings. Its JSON form,
// day.json, is attached to the record and carries a version; its schema stands in
// fixtures/day.schema.json. The package reads no clock and asks nobody: the same
// Day gives the same bytes.
package daily

// Version is the version of day.json that is written. Version 1 is read too: it lacks
// what is marked so, and a field that does not apply is left out of version 2.
const (
	Version = 2
	first   = 1
)

// Day is one day of one surgery. All times are RFC 3339 with the surgery's offset,
// all hashes SHA-256 in lower-case hex, "" where there is none.
type Day struct {
	Version   int        `json:"version"`   // [Version]
	Program   string     `json:"holdproof"` // version of the program that made it
	Record    Record     `json:"record"`
	Surgery   Surgery    `json:"surgery"`
	Date      string     `json:"date"`     // 2026-11-02
	Settings  Settings   `json:"settings"` // in force when the record was made
	Signing   Signing    `json:"signing"`
	Closed    []Closure  `json:"closed"`
	Changes   []Change   `json:"changes"` // of a revision above 1
	Recalls   []Recall   `json:"recalls"`
	Missing   []Missing  `json:"missing"`
	Machines  []Machine  `json:"machines"`
	Tests     []Test     `json:"tests"`
	Cycles    []Cycle    `json:"cycles"`
	Across    []Across   `json:"across"`
	Decisions []Decision `json:"decisions"`
	Duties    []Duty     `json:"duties"`
	Remarks   []string   `json:"remarks"`
	Sources   []Source   `json:"sources"`

	// Drift is left out where nothing is said of it; records before it have none.
	Drift []Drift `json:"drift,omitempty"`
}

// Record says which record of which day this is, and ties it to the one before and
// to the log.
type Record struct {
	ID       string `json:"id"`       // such as 2026-11-02-r1
	Revision int    `json:"revision"` // from 1
	Made     string `json:"made"`     // when its state was reached: the time of the log's last entry
	Reason   string `json:"reason"`   // of a revision above 1, which names what was changed
	Replaces Link   `json:"replaces"` // the revision before, empty for the first
	Previous Link   `json:"previous"` // the record of the day before
	LogSize  int64  `json:"log_size"` // entries in the log when the record was made
	LogRoot  string `json:"log_root"` // its RFC 6962 root
}

// Link names another record by its id and the hash of its file.
type Link struct {
	ID     string `json:"id"`
	SHA256 string `json:"sha256"`
}

// Surgery is where the day was.
type Surgery struct {
	Name string `json:"name"`
	Zone string `json:"timezone"` // IANA name
}

// Settings names the configuration a day was judged with.
type Settings struct {
	File          string `json:"file"`
	SHA256        string `json:"sha256"`
	Limits        string `json:"limits"` // name of the limit set
	LooserBecause string `json:"looser_because"`
	Routine       string `json:"routine"`

	Changes []RoutineChange `json:"routine_changes,omitempty"` // since version 2
}

// RoutineChange is what the surgery does otherwise than the routine, and why.
type RoutineChange struct {
	Duty    string `json:"duty"`
	Change  string `json:"change"` // such as "at least 10 min"
	Because string `json:"because"`
}

// Signing says whether a second person has to sign, and why not if not.
type Signing struct {
	Second string `json:"second_signature"` // "required" or "none"
	Reason string `json:"reason"`           // of "none"
}

// Closure is a surgery that was closed or a machine out of service that day.
type Closure struct {
	Machine string `json:"steriliser"` // "" for the whole surgery
	Reason  string `json:"reason"`
	By      string `json:"by"`
	From    string `json:"from,omitempty"` // a moment of that day, "" if it began before it; since version 2
	To      string `json:"to,omitempty"`   // a moment of that day, "" if it was not over; since version 2
}

// Change is an entry that the revision before does not hold, in the order of the log.
type Change struct {
	Entry  int64  `json:"entry"` // its number in the log
	At     string `json:"at"`    // when it was entered
	What   string `json:"what"`  // such as "verdict on S1 · 1045"
	Before string `json:"before"`
	After  string `json:"after"`
	By     string `json:"by"` // "" for the program
	Reason string `json:"reason"`
}

// Recall is a load that was released or used before its verdict was known.
type Recall struct {
	Cycle   string `json:"cycle"`
	Opened  string `json:"opened"`
	Packs   string `json:"packs"` // what the load held
	Used    string `json:"used"`  // what is known to have been used since
	Closed  string `json:"closed"`
	By      string `json:"by"`
	Outcome string `json:"outcome"` // what became of each pack
}

// Missing is something that the day owes and does not have.
type Missing struct {
	What    string `json:"what"`
	Machine string `json:"steriliser"`
	Reason  string `json:"reason"` // why the day was signed without it, "" if it was not said
}

// Machine is a steriliser as it is configured.
type Machine struct {
	ID      string   `json:"id"`
	Serial  string   `json:"serial"`
	Type    string   `json:"type"`    // B, N, S or ""
	Litres  *float64 `json:"litres"`  // of the chamber
	Counter *int64   `json:"counter"` // its own count of cycles at the end of the day
	Remarks []string `json:"remarks"` // such as a certificate past its date
}

// Test is a test of a steriliser that was owed or made that day.
type Test struct {
	Machine string `json:"steriliser"`
	Kind    string `json:"kind"`  // such as "steam penetration test"
	Due     bool   `json:"due"`   // the routine owes it before the first load
	State   string `json:"state"` // "passed", "failed", "open", "missing"
	At      string `json:"at"`    // when its result stood, "" if it does not
	By      string `json:"by"`    // who read it
	Cycle   string `json:"cycle"` // id of its cycle, "" if it has none
	Detail  string `json:"detail"`
}

// Across is a finding over several cycles of a steriliser, such as a gap in the numbers.
type Across struct {
	Check     string   `json:"check"`
	Cycles    []string `json:"cycles"`
	Message   string   `json:"message"`
	Remedy    string   `json:"remedy"`
	Explained string   `json:"explained"` // by an entry, "" if it is not
}

// Decision is what a person decided about a load, in the order it was entered.
type Decision struct {
	Cycle  string `json:"cycle"`
	At     string `json:"at"`
	Act    string `json:"act"` // in the past tense: "released", "quarantined", "sent for reprocessing", "already used"
	By     string `json:"by"`
	Role   string `json:"role"`
	Second string `json:"second"` // the second person, where one is asked for
	Reason string `json:"reason"`
	Rerun  string `json:"rerun"` // id of the cycle that repeated the load
}

// Duty is a line of the routine beside the cycles, or what else was noted.
type Duty struct {
	When   string `json:"when"`  // such as "start of day"
	What   string `json:"what"`  // such as "water lines flushed"
	Where  string `json:"where"` // machine or chair
	State  string `json:"state"` // one of done, open, overdue, failed, not proven, explained, never entered, not due; missed in version 1
	At     string `json:"at"`
	By     string `json:"by"`
	Detail string `json:"detail"` // figures and the limit they are held against, or words
	Source string `json:"source"`
	Sure   string `json:"sure"` // one of the certainty words

	// Since version 2.
	Every         string   `json:"every,omitempty"` // longest time from one to the next
	Count         int      `json:"count,omitempty"` // how often that day
	Value         *float64 `json:"value,omitempty"`
	ValueUnit     string   `json:"value_unit,omitempty"`
	Low           *float64 `json:"low,omitempty"` // limits of the figure, ends included, in Unit
	High          *float64 `json:"high,omitempty"`
	Unit          string   `json:"unit,omitempty"`
	LimitSource   string   `json:"limit_source,omitempty"`
	LimitSure     string   `json:"limit_sure,omitempty"`
	Product       string   `json:"product,omitempty"`
	Concentration string   `json:"concentration,omitempty"`
	In            string   `json:"in,omitempty"` // of a treatment, and when it was taken out
	Out           string   `json:"out,omitempty"`
	Last          string   `json:"last,omitempty"` // the day it was last done
	LastBy        string   `json:"last_by,omitempty"`
	DueBy         string   `json:"due_by,omitempty"`
	Before        string   `json:"before_first_load,omitempty"` // how it stands to the first load, where it must pass before it
	Changed       string   `json:"changed_because,omitempty"`   // why the surgery does it otherwise than the routine
	Text          string   `json:"text,omitempty"`              // what was said in words
}

// dutyStates are the words a duty may stand in. "missed" is of version 1.
var dutyStates = []string{"done", "open", "overdue", "failed", "not proven", "explained", "never entered", "not due", "missed"}

// Source is an export as it was read, attached to the record byte for byte.
type Source struct {
	Name     string   `json:"name"`
	SHA256   string   `json:"sha256"`
	Bytes    int64    `json:"bytes"`
	Problems []string `json:"problems"` // what could not be read of it
}
