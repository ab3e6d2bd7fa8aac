package surgery

import "slices"

// What an entry of a duty must say (see [dutyKind]).
const (
	sayDone    = "done, not done"
	sayPassed  = "passed, failed"
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
)

// dutyKind is what a note of one duty is about and what it must say.
type dutyKind struct {
	Name  string
	On    string
	Says  string // outcomes that may be said, "" none
	Unit  string // of its figure, "" if it has none
	Cycle bool   // it reads a test cycle
	Span  bool   // it has a beginning and an end
	What  string // one line for the help
}

// duties are what a person can note beside the cycles (common practice, no source;
// when each is owed stands in the routine of the country).
var duties = []dutyKind{
	{dutyPenetration, onSteriliser, sayPassed, "", true, false, "what the indicator of the steam penetration test showed"},
	{dutyControl, onSteriliser, sayPassed, "", true, false, "the automatic control test was looked at"},
	{dutyLeak, onSteriliser, sayPassed, "", true, false, "the air leakage test was looked at"},
	{dutyCounter, onSteriliser, sayNothing, "cycles", false, false, "the machine's own cycle counter at the end of the day"},
	{dutyReset, onSteriliser, sayNothing, "", false, false, "the machine's cycle numbers began anew, such as after service"},
	{"reservoir filled", onSteriliser, sayDone, "", false, false, "the reservoir was filled with purified water"},
	{"seal and chamber looked at", onSteriliser, sayDone, "", false, false, "door seal and chamber were looked at"},
	{"steriliser drained", onSteriliser, sayDone, "", false, false, "drained and left open at the end of the day"},
	{"clock checked", onSteriliser, sayNothing, "s", false, false, "how far the recorder's clock is ahead of a trusted clock"},
	{"protein test read", onSteriliser, sayPassed, "", false, false, "the protein test of the cleaning"},
	{"spore test read", onSteriliser, sayPassed, "", true, true, "the spore test after its incubation"},
	{"engineer's visit", onSteriliser, sayNothing, "", false, false, "service, test or repair by an engineer"},
	{"validation", onSteriliser, sayPassed, "", false, false, "the yearly validation"},
	{"pressure vessel examined", onSteriliser, sayPassed, "", false, false, "the examination of the pressure vessel"},
	{dutyOutOfUse, onSteriliser, sayNothing, "", false, true, "the machine is out of service"},
	{dutyBackInUse, onSteriliser, sayNothing, "", false, false, "the machine is in service again"},
	{"water lines flushed", onPlace, sayDone, "min", false, false, "how long the lines of a chair were flushed"},
	{"water lines disinfected", onPlace, sayDone, "", false, true, "product and concentration, in and out time"},
	{"water count read", onPlace, sayPassed, "CFU/mL", false, false, "the count of a water sample"},
	{"suction looked at", onPlace, sayDone, "", false, false, "the suction was looked at"},
	{"suction disinfected", onPlace, sayDone, "", false, false, "the suction was rinsed with disinfectant"},
	{"hands and surfaces", onSite, sayDone, "", false, false, "the treatment room was made ready"},
	{dutyClosed, onSite, sayNothing, "", false, false, "the surgery was closed that day"},
}

// dutyNamed finds a duty by its name.
func dutyNamed(name string) (dutyKind, bool) {
	i := slices.IndexFunc(duties, func(d dutyKind) bool { return d.Name == name })
	if i < 0 {
		return dutyKind{}, false
	}
	return duties[i], true
}

// DutyNames are the duties that a note can be about, in the order of the help.
func DutyNames() []string {
	var names []string
	for _, d := range duties {
		names = append(names, d.Name)
	}
	return names
}
