// Package validate judges a [cycle.Record] against published values of steam
// sterilisation and says of every requirement what was measured, what the limit
// is, how sure the limit is, and whether the record proves it.
//
// It reads no words, no clock and no configuration file: a record and [Rules] go
// in, a [Verdict] comes out, and the same two always give the same one.
package validate

// Outcome is what a finding, or a verdict, comes to. The zero value cannot pass a load.
type Outcome int

// The outcomes. Their printed forms are part of the contract with scripts.
const (
	NotProven   Outcome = iota // the record cannot settle it
	Conforms                   // guarded acceptance, w = U (ILAC-G8:09/2019)
	Borderline                 // conforms as recorded, not if the sensors read as wrong as they may
	Failed                     // the record shows a departure
	NotAssessed                // nothing to assess it with; never changes a verdict
)

var outcomeNames = [...]string{"not proven", "conforms", "borderline", "failed", "not assessed"}

// String returns the printed form; a value that is none of the five is not proven.
func (o Outcome) String() string {
	if o < 0 || int(o) >= len(outcomeNames) {
		return outcomeNames[NotProven]
	}
	return outcomeNames[o]
}

// OutcomeNamed returns the outcome with that printed form; NotProven and false for any other text.
func OutcomeNamed(name string) (Outcome, bool) {
	for i, n := range outcomeNames {
		if n == name {
			return Outcome(i), true
		}
	}
	return NotProven, false
}

// severity orders outcomes for the worst of several: failed > not proven > borderline > conforms.
func (o Outcome) severity() int {
	switch o {
	case Conforms:
		return 1
	case Borderline:
		return 2
	case Failed:
		return 4
	case NotAssessed:
		return 0
	}
	return 3
}

// Certainty says how a published value came to this program.
type Certainty int

// The four certainties. The zero value is the weakest.
const (
	FromMemory Certainty = iota // recalled, not seen at its source
	SecondHand                  // seen in another text that quotes it
	Read                        // seen in a retrieved text of the document
	Computed                    // follows from a formula or a definition given here
)

var certaintyNames = [...]string{"memory", "second-hand", "read", "computed"}

// String returns the printed form.
func (c Certainty) String() string {
	if c < 0 || int(c) >= len(certaintyNames) {
		return certaintyNames[FromMemory]
	}
	return certaintyNames[c]
}
