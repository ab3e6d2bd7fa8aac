package surgery

import (
	"slices"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// Words of the judge that commands and pages need, so that they import one room.
type (
	Outcome = validate.Outcome
	Finding = validate.Finding
	Figure  = validate.Figure
	Between = validate.Across
)

// The outcomes; the cause that is said once per machine, and that of a record that
// could not be read.
const (
	NotProven   = validate.NotProven
	Conforms    = validate.Conforms
	Borderline  = validate.Borderline
	Failed      = validate.Failed
	NotAssessed = validate.NotAssessed

	CauseSetting    = validate.CauseSetting
	CauseUnreadable = validate.CauseUnreadable
)

// AtMost writes a figure for an upper limit, rounded up.
func AtMost(x float64, digits int) string { return validate.AtMost(x, digits) }

// Rounded writes what a finding measured with three decimals: down where a lower limit
// is the nearer one, up where an upper limit is, so that it never looks better.
func Rounded(f Finding, v float64) string {
	down := f.Low.Known && (!f.High.Known || v-f.Low.Value < f.High.Value-v)
	if down || !f.High.Known {
		return validate.AtLeast(v, 3)
	}
	return validate.AtMost(v, 3)
}

// HasFigures tells whether anything was measured; nothing is where no programme fits
// or the cycle could not be read.
func (j Judged) HasFigures() bool { return j.Verdict.Measured != validate.Measured{} }

// Remarks are what a person should know of how the cycle was read and judged.
func (j Judged) Remarks() []string {
	var out []string
	for _, r := range j.Header.Remarks {
		out = append(out, r.Text)
	}
	return append(out, j.Verdict.Remarks...)
}

// Test tells whether the cycle is a test of the steriliser and no load.
func (j Judged) Test() bool {
	k := j.Verdict.Kind
	return k == cycle.ControlTest || k == cycle.PenetrationTest || k == cycle.LeakTest
}

// Then is what is still to be done about a cycle that conforms, "" for nothing.
func (j Judged) Then() string {
	if j.Verdict.Kind == cycle.PenetrationTest {
		return "Read the indicator: the curve alone never passes this test."
	}
	return ""
}

// Limitations are what the record has nothing to assess with, without those that a
// finding says already.
func (j Judged) Limitations() []string {
	var out []string
	for _, l := range j.Verdict.Limitations {
		if !slices.ContainsFunc(j.Verdict.Findings, func(f Finding) bool { return f.Message == l }) {
			out = append(out, l)
		}
	}
	return out
}
