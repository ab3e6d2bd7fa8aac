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
	dutySuction     = "suction disinfected"
	dutySample      = "water sample taken"
	dutyCount       = "water count read"
	dutySporeIn     = "spore test started"
	dutySporeRead   = "spore test read"
	dutyVisit       = "engineer's visit"
	dutyValidation  = "validation"
	dutyClock       = "clock checked"
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
	Text  bool   // words must be given
	Act   Act    // who may note it, "" for [ActNote]
	Asks  asks   // further fields
	Of    string // the duty of an earlier entry that it is the result of, "" if it is none
	Judge bool   // the program says the outcome where it has the limit
	What  string // one line for the help
}

// asks are the fields that only some duties have.
type asks int

const (
	asksSpan     asks = 1 << iota // in and out time
	asksIn                        // the in time must be given
	asksProduct                   // a product, if it was done
	asksStrength                  // its concentration too
	asksTimes                     // how often it was done
	asksSampled                   // the day of the sample
	asksControl                   // whether the control that was not sterilised grew
	asksTests                     // the tests that are owed before the machine returns
	asksFile                      // the import entry of a file
)

func (d dutyKind) asks(what asks) bool { return d.Asks&what != 0 }

// duties are what a person can note beside the cycles (common practice, no source;
// when each is owed stands in the routine of the country).
var duties = []dutyKind{
	{Name: dutyPenetration, On: onSteriliser, Says: sayPassed, Kind: cycle.PenetrationTest.String(), Cycle: true, What: "what the indicator of the steam penetration test showed"},
	{Name: dutyControl, On: onSteriliser, Says: sayPassed, Kind: cycle.ControlTest.String(), Cycle: true, What: "the automatic control test was looked at"},
	{Name: dutyLeak, On: onSteriliser, Says: sayPassed, Kind: cycle.LeakTest.String(), Cycle: true, What: "the air leakage test was looked at"},
	{Name: dutyCounter, On: onSteriliser, Unit: "cycles", Needs: true, What: "the machine's own cycle counter at the end of the day"},
	{Name: dutyReset, On: onSteriliser, Text: true, What: "the machine's cycle numbers began anew, such as after service"},
	{Name: dutyExplained, On: onSteriliser, Cycle: true, Text: true, Act: ActExplain, What: "a missing number, one number twice, an overlap: what it was"},
	{Name: dutyFile, On: onSite, Text: true, Act: ActExplain, Asks: asksFile, What: "what became of a file that could not be read (--entry)"},
	{Name: "reservoir filled", On: onSteriliser, Says: sayDone, What: "the reservoir was filled with purified water"},
	{Name: "seal and chamber looked at", On: onSteriliser, Says: sayDone, What: "door seal and chamber were looked at"},
	{Name: "seal and interlock tested", On: onSteriliser, Says: sayPassed, What: "the weekly test of door seal and interlock"},
	{Name: "steriliser drained", On: onSteriliser, Says: sayDone, What: "drained and left open at the end of the day"},
	{Name: dutyClock, On: onSteriliser, Unit: "s", Needs: true, What: "how far the recorder's clock is ahead of a trusted clock"},
	{Name: "protein test read", On: onSite, Says: sayPassed, What: "the protein test of the cleaning"},
	{Name: dutySporeIn, On: onSteriliser, Cycle: true, Unit: "h", Needs: true, Asks: asksSpan | asksIn, What: "a spore test went into incubation (--in), for how many hours (--value)"},
	{Name: dutySporeRead, On: onSteriliser, Says: sayPassed, Asks: asksControl, Of: dutySporeIn, What: "its result after incubation, and whether the control grew (--control)"},
	{Name: dutyVisit, On: onSteriliser, Text: true, Asks: asksTests, What: "service, test or repair by an engineer; --test names what is owed before return"},
	{Name: dutyValidation, On: onSteriliser, Says: sayPassed, What: "the yearly validation"},
	{Name: "pressure vessel examined", On: onSteriliser, Says: sayPassed, What: "the examination of the pressure vessel"},
	{Name: dutyOutOfUse, On: onSteriliser, Text: true, Asks: asksSpan, What: "the machine is out of service, from --in or now on"},
	{Name: dutyBackInUse, On: onSteriliser, Text: true, Act: ActBackInUse, What: "the machine is in service again, its tests passed"},
	{Name: "water lines flushed", On: onPlace, Says: sayDone, Unit: "min", What: "the lines of a chair were flushed, and how long"},
	{Name: "water lines rinsed", On: onPlace, Says: sayDone, Unit: "s", Asks: asksTimes, What: "water and air were flushed after a patient, and how long"},
	{Name: "water lines flushed at the end", On: onPlace, Says: sayDone, Unit: "min", What: "the lines of a chair were flushed at the end of the day"},
	{Name: dutyDisinfected, On: onPlace, Says: sayDone, Judge: true, Asks: asksSpan | asksIn | asksProduct | asksStrength, What: "product and concentration, in and out time"},
	{Name: dutySample, On: onPlace, What: "a water sample was taken and sent off"},
	{Name: dutyCount, On: onPlace, Says: sayPassed, Judge: true, Unit: "CFU/mL", Needs: true, Asks: asksSampled, Of: dutySample, What: "the count of a water sample, and the day it was taken (--sampled)"},
	{Name: "suction looked at", On: onPlace, Says: sayDone, What: "the suction was looked at"},
	{Name: "suction rinsed", On: onPlace, Says: sayDone, Asks: asksTimes, What: "the suction was rinsed after a patient"},
	{Name: dutySuction, On: onPlace, Says: sayDone, Asks: asksProduct, What: "the suction was rinsed with disinfectant"},
	{Name: "instruments inspected", On: onSite, Says: sayDone, Asks: asksTimes, What: "the cleaned instruments were looked at before packing"},
	{Name: "hands and surfaces", On: onSite, Says: sayDone, Asks: asksTimes, What: "the treatment room was made ready"},
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
