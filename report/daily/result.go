package daily

import "holdproof/validate"

// Marked is whatever has a proof mark: a cycle, a finding, a test, a duty.
type Marked interface{ Result() validate.Outcome }

// Result is the outcome of the finding; a word that is none is not proven.
func (f Finding) Result() validate.Outcome {
	o, _ := validate.OutcomeNamed(f.Outcome)
	return o
}

// Result says what the state of a test amounts to, for its proof mark.
func (t Test) Result() validate.Outcome {
	switch t.State {
	case "passed":
		return validate.Conforms
	case "failed":
		return validate.Failed
	}
	return validate.NotProven
}

// Result says what the state of a duty amounts to, for its proof mark.
func (u Duty) Result() validate.Outcome {
	switch u.State {
	case "done":
		return validate.Conforms
	case "failed":
		return validate.Failed
	case "not due", "never entered", "explained":
		return validate.NotAssessed
	}
	return validate.NotProven
}

// Result says what the answer amounts to, for its proof mark: a test that failed,
// a test that is missing, no load at all, or yes.
func (a Answer) Result() validate.Outcome {
	switch {
	case a.Yes:
		return validate.Conforms
	case a.Failed:
		return validate.Failed
	case a.Loads == 0:
		return validate.NotAssessed
	}
	return validate.NotProven
}

// Tally is how many cycles came to one outcome.
type Tally struct {
	Outcome validate.Outcome
	Cycles  int
}

// Result is the outcome that was counted.
func (t Tally) Result() validate.Outcome { return t.Outcome }

// Tallies returns the outcomes that occur, the worst first.
func (d Day) Tallies() []Tally {
	var out []Tally
	for _, o := range [...]validate.Outcome{validate.Failed, validate.NotProven, validate.Borderline, validate.Conforms} {
		if n := d.Count(o); n > 0 {
			out = append(out, Tally{o, n})
		}
	}
	return out
}

// Cautions are printed with every record.
func Cautions() []string {
	return []string{
		"This record compares recorded readings with the limits shown. It does not show that an item is sterile.",
		"It does not replace validation, periodic tests, calibration, indicators or the examination of the pressure vessel.",
		"The makers' instructions and stricter local rules come first.",
		"Release, recall and telling patients are decisions of the authorised person or licensed practitioner. They are recorded here.",
		"“Conforms” speaks of the data imported, under the limits and the version shown. What was not imported was not checked.",
		"A flush is not a water test. A penetration test or a leak test is not a load check.",
		"Times are those of the recorder.",
		"A signature shows who signed and that nothing changed since. It is not a qualified signature unless that is stated.",
	}
}
