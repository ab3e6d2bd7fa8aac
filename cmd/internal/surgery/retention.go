package surgery

import (
	"fmt"
	"slices"

	"holdproof/validate"
)

// retention is how long records are kept where a routine is followed, a shown setting
// and not legal advice: nothing is ever deleted by itself.
type retention struct {
	routine string
	text    string
	source  string
	sure    validate.Certainty
}

var retentions = []retention{
	{"england", "at least 2 years", "HTM 01-05", validate.Read},
	{"scotland", "for the life of the equipment and 25 years more", "SHTM 01-05, April 2024", validate.Read},
	{"germany", "at least 5 years", "custom", validate.FromMemory},
	{"australia", "at least 7 years from the last entry", "RACGP", validate.Read},
	{"united-states", "for example 3 years", "CDC 2008", validate.Read},
}

// Retention says in a sentence how long records are to be kept.
func (c Configuration) Retention() string {
	const never = "nothing is ever deleted by itself, and this is not legal advice"
	if c.RetentionYears != nil {
		return fmt.Sprintf("Records are to be kept for %v years, as the surgery set; %s.", *c.RetentionYears, never)
	}
	i := slices.IndexFunc(retentions, func(r retention) bool { return r.routine == c.Routine })
	if i < 0 {
		return "How long records are to be kept is not set (retention_years in holdproof.yaml); " + never + "."
	}
	r := retentions[i]
	return fmt.Sprintf("Records are to be kept %s (%s; %s); %s.", r.text, r.source, r.sure, never)
}
