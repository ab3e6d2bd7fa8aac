package surgery

// DutyForm is what a note of one duty is about, for a form.
type DutyForm struct {
	Name, What string
	On         string   // steriliser, place (a chair, a water line) or site
	Outcomes   []string // of which one is said; none: it has no outcome
	Judged     bool     // with figure and limit at hand the program says the outcome: it may be left empty
	Unit       string   // of the figure, "" if it has none
	Value      bool     // the figure must be given, unless it was not done
	Cycle      bool     // it may be about a cycle
	Test       string   // the kind of test cycle it reads, found by itself where one waits; "" none
	In, Out    bool     // it has these times
	InNeeded   bool     // the in time must be given, if it was done; an out time may follow as a correction
	Product    bool     // a product must be named, if it was done
	Strength   bool     // and its concentration
	Times      bool     // it may be said how often; left empty it is once
	Sampled    bool     // the day of the sample must be given, or the entry of the sample
	Control    bool     // whether the control grew must be said: one of [ControlWords]
	Tests      bool     // the tests owed before the machine returns may be named: [TestWords]
	Text       bool     // words must be given
	Of         string   // the duty of the earlier entry that it is the result of: Noting.Of, found by itself where one is open; "" none
	File       bool     // the entry of a file that could not be read must be named: Noting.File
	Act        Act      // who may note it: see [SignedIn.May]
}

// Duties are what a note can be about, in the order of the help.
func Duties() []DutyForm {
	var out []DutyForm
	for _, d := range duties {
		out = append(out, d.form())
	}
	return out
}

// DutyNamed finds one by its name.
func DutyNamed(name string) (DutyForm, bool) {
	d, known := dutyNamed(name)
	return d.form(), known
}

func (d dutyKind) form() DutyForm {
	return DutyForm{Name: d.Name, What: d.What, On: d.On, Outcomes: d.says(), Judged: d.Judge, Unit: d.Unit, Value: d.Needs,
		Cycle: d.Cycle, Test: d.Kind, In: d.asks(asksSpan), Out: d.asks(asksSpan) && d.Name != dutySporeIn, InNeeded: d.asks(asksIn),
		Product: d.asks(asksProduct), Strength: d.asks(asksStrength), Times: d.asks(asksTimes), Sampled: d.asks(asksSampled),
		Control: d.asks(asksControl), Tests: d.asks(asksTests), Text: d.Text, Of: d.Of, File: d.asks(asksFile), Act: d.act()}
}

// ControlWords are what can be said of the control of a spore test: it was not
// sterilised, and shows that the spores were alive.
func ControlWords() []string { return []string{controlGrew, controlDidNot} }

const (
	controlGrew   = "grew"
	controlDidNot = "did not grow"
)

// TestWords are the tests that an engineer's visit can owe.
func TestWords() []string {
	out := []string{noTest}
	for _, k := range kindsOfTest {
		out = append(out, k.String())
	}
	return out
}

// noTest is what is said where a visit owes none.
const noTest = "none"
