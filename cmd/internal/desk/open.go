package desk

import (
	"slices"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// openPart is what the routine asks for at one time of today and is still to be done.
type openPart struct {
	When   string
	Anchor string // on the sheet
	Count  int
	Duties []openDuty
}

// openDuty is a duty with the places where it is open.
type openDuty struct {
	What   string
	Places []string
}

// openParts groups what is open by time of day and duty, in the order of the routine.
func openParts(owed []surgery.Owed) []openPart {
	var out []openPart
	for _, o := range owed {
		if !o.Wanted() {
			continue // never entered, and not due yet: the sheet shows it
		}
		when := o.When
		if !o.Daily() {
			when = "less often"
		}
		i := slices.IndexFunc(out, func(p openPart) bool { return p.When == when })
		if i < 0 {
			i = len(out)
			out = append(out, openPart{When: when, Anchor: strings.ReplaceAll(when, " ", "-")})
		}
		p := &out[i]
		p.Count++
		j := slices.IndexFunc(p.Duties, func(d openDuty) bool { return d.What == strings.TrimSuffix(o.What, ".") })
		if j < 0 {
			j = len(p.Duties)
			p.Duties = append(p.Duties, openDuty{What: strings.TrimSuffix(o.What, ".")})
		}
		if where := o.Where(); where != "" && !slices.Contains(p.Duties[j].Places, where) {
			p.Duties[j].Places = append(p.Duties[j].Places, where)
		}
	}
	order := []string{"start of day", "between patients", "end of day", "less often"}
	slices.SortStableFunc(out, func(a, b openPart) int { return slices.Index(order, a.When) - slices.Index(order, b.When) })
	return out
}
