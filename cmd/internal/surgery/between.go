package surgery

import "holdproof/validate"

// Words of the judge that commands and pages need, so that they import one room.
type (
	Outcome = validate.Outcome
	Finding = validate.Finding
	Figure  = validate.Figure
	Between = validate.Across
)

// The outcomes and the one cause that is said once per machine.
const (
	NotProven   = validate.NotProven
	Conforms    = validate.Conforms
	Borderline  = validate.Borderline
	Failed      = validate.Failed
	NotAssessed = validate.NotAssessed

	CauseSetting = validate.CauseSetting
)

// AtMost writes a figure for an upper limit, rounded up.
func AtMost(x float64, digits int) string { return validate.AtMost(x, digits) }

// Rounded writes what a finding measured with three digits: down where a lower limit
// is the nearer one, up where an upper limit is, so that it never looks better.
func Rounded(f Finding, v float64) string {
	down := f.Low.Known && (!f.High.Known || v-f.Low.Value < f.High.Value-v)
	switch {
	case down:
		return validate.AtLeast(v, 3)
	case f.High.Known:
		return validate.AtMost(v, 3)
	}
	return number(v)
}

// HasFigures tells whether anything was measured; nothing is where no programme fits
// or the cycle could not be read.
func (j Judged) HasFigures() bool { return j.Verdict.Measured != validate.Measured{} }
