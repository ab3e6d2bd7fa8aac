package surgery

import (
	"slices"

	"holdproof/parse/cycle"
)

// What an entry of a duty must say (see [dutyKind]).
const (
	sayDone    = "done"
	sayPassed  = "passed"
	sayNothing = ""
)

// On what a duty is done.
const (
	onSteriliser = "steriliser"
	onPlace      = "place" // a chair, a water line
	onSite       = "site"
)

// Names of duties that acts read back.
const (
	dutyCounter     = "cycle counter"
	dutyReset       = "number reset"
	dutyPenetration = "penetration test read"
	dutyControl     = "control test read"
	dutyLeak        = "leak test read"
	dutyClosed      = "closed day"
	dutyOutOfUse    = "out of service"
	dutyBackInUse   = "back in service"
	dutyExplained   = "cycles explained"
	dutyFile        = "file looked at"
	dutyDisinfected = "water lines disinfected"
)

// dutyKind is what a note of one duty is about and what it must say.
type dutyKind struct {
	Name  string
	On    string
	Says  string // outcomes that may be said: done or not done, passed or failed; "" none
	Unit  string // of its figure, "" if it has none
	Needs bool   // the figure must be given, unless the duty was not done
	Kind  string // of the test cycle it reads, "" if it reads none
	Cycle bool   // it is about a cycle
	Span  bool   // it has a beginning and an end
	Text  bool   // words must be given
	Act   Act    // who may note it, "" for [ActNote]
	What  string // one line for the help
}

// duties are what a person can note beside the cycles (common practice, no source;
// when each is owed stands in the routine of the country).
var duties = []dutyKind{
	{Name: dutyPenetration, On: onSteriliser, Says: sayPassed, Kind: cycle.PenetrationTest.String(), Cycle: true, What: "what the indicator of the steam penetration test showed"},
	{Name: dutyControl, On: onSteriliser, Says: sayPassed, Kind: cycle.ControlTest.String(), Cycle: true, What: "the automatic control test was looked at"},
	{Name: dutyLeak, On: onSteriliser, Says: sayPassed, Kind: cycle.LeakTest.String(), Cycle: true, What: "the air leakage test was looked at"},
	{Name: dutyCounter, On: onSteriliser, Unit: "cycles", Needs: true, What: "the machine's own cycle counter at the end of the day"},
	{Name: dutyReset, On: onSteriliser, Text: true, What: "the machine's cycle numbers began anew, such as after service"},
	{Name: dutyExplained, On: onSteriliser, Cycle: true, Text: true, Act: ActExplain, What: "a missing number, one number twice, an overlap: what it was"},
	{Name: dutyFile, On: onSite, Text: true, Act: ActExplain, What: "what became of a file that could not be read (--entry)"},
	{Name: "reservoir filled", On: onSteriliser, Says: sayDone, What: "the reservoir was filled with purified water"},
	{Name: "seal and chamber looked at", On: onSteriliser, Says: sayDone, What: "door seal and chamber were looked at"},
	{Name: "seal and interlock tested", On: onSteriliser, Says: sayPassed, What: "the weekly test of door seal and interlock"},
	{Name: "steriliser drained", On: onSteriliser, Says: sayDone, What: "drained and left open at the end of the day"},
	{Name: "clock checked", On: onSteriliser, Unit: "s", Needs: true, What: "how far the recorder's clock is ahead of a trusted clock"},
	{Name: "protein test read", On: onSteriliser, Says: sayPassed, What: "the protein test of the cleaning"},
	{Name: "spore test read", On: onSteriliser, Says: sayPassed, Cycle: true, Span: true, What: "the spore test after its incubation, in and out time"},
	{Name: "engineer's visit", On: onSteriliser, Text: true, What: "service, test or repair by an engineer"},
	{Name: "validation", On: onSteriliser, Says: sayPassed, What: "the yearly validation"},
	{Name: "pressure vessel examined", On: onSteriliser, Says: sayPassed, What: "the examination of the pressure vessel"},
	{Name: dutyOutOfUse, On: onSteriliser, Text: true, What: "the machine is out of service"},
	{Name: dutyBackInUse, On: onSteriliser, Text: true, Act: ActBackInUse, What: "the machine is in service again"},
	{Name: "water lines flushed", On: onPlace, Says: sayDone, Unit: "min", What: "the lines of a chair were flushed, and how long"},
	{Name: "water lines rinsed", On: onPlace, Says: sayDone, Unit: "s", What: "water and air were flushed after a patient, and how long"},
	{Name: "water lines flushed at the end", On: onPlace, Says: sayDone, Unit: "min", What: "the lines of a chair were flushed at the end of the day"},
	{Name: dutyDisinfected, On: onPlace, Says: sayDone, Span: true, What: "product and concentration, in and out time"},
	{Name: "water count read", On: onPlace, Says: sayPassed, Unit: "CFU/mL", Needs: true, What: "the count of a water sample"},
	{Name: "suction looked at", On: onPlace, Says: sayDone, What: "the suction was looked at"},
	{Name: "suction rinsed", On: onPlace, Says: sayDone, What: "the suction was rinsed after a patient"},
	{Name: "suction disinfected", On: onPlace, Says: sayDone, What: "the suction was rinsed with disinfectant"},
	{Name: "instruments inspected", On: onSite, Says: sayDone, What: "the cleaned instruments were looked at before packing"},
	{Name: "hands and surfaces", On: onSite, Says: sayDone, What: "the treatment room was made ready"},
	{Name: dutyClosed, On: onSite, What: "the surgery was closed that day"},
}

// says are the outcomes that a note of the duty may have, none if there is nothing to say.
func (d dutyKind) says() []string {
	switch d.Says {
	case sayDone:
		return []string{"done", "not done"}
	case sayPassed:
		return []string{"passed", "failed"}
	}
	return nil
}

// act is what a person does who notes the duty.
func (d dutyKind) act() Act {
	if d.Act == "" {
		return ActNote
	}
	return d.Act
}

// dutyNamed finds a duty by its name.
func dutyNamed(name string) (dutyKind, bool) {
	i := slices.IndexFunc(duties, func(d dutyKind) bool { return d.Name == name })
	if i < 0 {
		return dutyKind{}, false
	}
	return duties[i], true
}

// dutyReading is the name of the duty that reads tests of a kind, "" if none does.
func dutyReading(kind string) string {
	for _, d := range duties {
		if d.Kind != "" && d.Kind == kind {
			return d.Name
		}
	}
	return ""
}

// DutyNames are the duties that a note can be about, in the order of the help.
func DutyNames() []string {
	var names []string
	for _, d := range duties {
		names = append(names, d.Name)
	}
	return names
}

// Duties are the lines of the help: name and what it is.
func Duties() [][2]string {
	var out [][2]string
	for _, d := range duties {
		out = append(out, [2]string{d.Name, d.What})
	}
	return out
}
