package surgery

import (
	"fmt"
	"slices"

	"holdproof/validate/routine"
)

// Retention says in a sentence how long records are to be kept: a setting that is
// shown and not legal advice. Nothing is ever deleted by itself.
func (c Configuration) Retention() string {
	const never = "nothing is ever deleted by itself, and this is not legal advice"
	if c.RetentionYears != nil {
		return fmt.Sprintf("Records are to be kept for %v years, as the surgery set; %s.", *c.RetentionYears, never)
	}
	all := routine.Retentions()
	i := slices.IndexFunc(all, func(r routine.Retention) bool { return r.Routine == c.Routine && r.Of == "all" })
	if i < 0 || c.Routine == "" {
		return "How long records are to be kept is not set (retention_years in holdproof.yaml); " + never + "."
	}
	r := all[i]
	return fmt.Sprintf("Records are to be kept %s %d years from %s (%s; %s); %s.", r.Least, r.Years, r.From, r.Source, r.Sure, never)
}
