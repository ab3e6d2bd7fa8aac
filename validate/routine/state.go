package routine

import "time"

// State is how a line stands on a day. The zero value is that it is still to be done.
type State int

// The states of a line.
const (
	Open         State = iota // due and not done
	Overdue                   // due before this day and not done
	Failed                    // done, and failed, or its figure is outside the limits
	Unproven                  // done, and what was entered does not show it
	Explained                 // not done, since closed or out of service
	NeverEntered              // nobody entered it yet, and the records are younger than its interval
	NotDue                    // not due on this day, or it occurs and did not
	Complete                  // done
)

var stateNames = [...]string{"open", "overdue", "failed", "not proven", "explained", "never entered", "not due", "done"}

// String returns the printed form.
func (s State) String() string {
	if s < 0 || int(s) >= len(stateNames) {
		return stateNames[Open]
	}
	return stateNames[s]
}

// Before says how a line that must pass before the first load stands to it.
type Before int

// The zero value is that the line has no such condition on this day.
const (
	NoGate  Before = iota
	Waiting        // not passed, and no load was run
	InTime         // passed when the first load started
	Late           // passed only after the first load started
	Missing        // not passed, and a load was run
)

var beforeNames = [...]string{"", "no load before this has passed", "passed before the first load", "passed only after the first load", "loads were run without it"}

// String returns the printed form, "" for no condition.
func (b Before) String() string {
	if b < 0 || int(b) >= len(beforeNames) {
		return beforeNames[Missing]
	}
	return beforeNames[b]
}

// Facts are what a surgery has, and what happened there.
type Facts struct {
	Since       string // first day of the records, such as 2026-11-02; "" unknown
	Sterilisers []Steriliser
	WaterLines  []string // chairs or water lines
	Closed      []Closure
	Loads       []Load
}

// Steriliser is a machine. One of unknown type owes what a vacuum machine owes, and
// one not known to have an air detector has none.
type Steriliser struct {
	ID          string
	Type        string // B, N, S, or "" unknown
	AirDetector bool
}

// Closure is a time in which the surgery was closed, or a machine or a water line out
// of service.
type Closure struct {
	Steriliser string // "" with Place "": the whole surgery
	Place      string
	From, To   string // first and last day; To "": not over
	Back       bool   // it ended during the last day: what that day owes is owed
	Reason     string
}

// Load is a load that was run.
type Load struct {
	Steriliser string
	Day        string
	At         time.Time // start
}

// Done is an entry: somebody did a duty, or the release of a load, or a signature.
type Done struct {
	Duty       string
	Steriliser string
	Place      string
	Day        string    // the day it counts for
	At         time.Time // when it was over and its result stood; the end of the day where nobody said
	By         string
	Outcome    string // done, passed, failed, not done; "": nothing to pass
	Value      *float64
	Unit       string
	Low        *float64 // the least figure for this entry, in the unit of the line, such as the contact time of its product; nil: the line's
	Times      int      // how often, in one entry; 0 is once
	// Of the releases and rejections of one load, one is given.
	Text  string // why it was not done, in words
	Entry int64  // its number, for who looks it up; nothing is judged by it
}

// Owed is a line of the routine for one machine, one water line, or the surgery, on one day.
type Owed struct {
	Line
	Steriliser string // "" where the line is for none
	Place      string
	State      State
	Before     Before
	Count      int       // attempts of the day that stand, times included; releases of loads
	At         time.Time // of the entry that decides, zero where there is none
	By         string
	Entry      int64 // of the same, 0 where there is none
	Value      *float64
	ValueUnit  string
	Last       string // the last day it was done and did not fail, up to this day; "" never
	LastAt     time.Time
	LastBy     string
	Next       string // the day it is due next, at the latest; "" where that is not fixed
	FailedOn   string // the first day of failures that nothing has made good since; "" none
	Detail     string // figures and limits, or why not
}
