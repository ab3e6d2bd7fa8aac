package surgery

import (
	"fmt"
	"slices"
	"time"

	"holdproof/report/logbook/entry"
)

// Act is something a person does, as a refusal names it: "may not …".
type Act string

// The acts that ask who does them.
const (
	ActRelease    Act = "release a load"
	ActReject     Act = "reject a load at the machine"
	ActSecond     Act = "be the second person of a borderline release"
	ActQuarantine Act = "put a load in quarantine"
	ActReprocess  Act = "send a load back to be processed again"
	ActUsed       Act = "say that a load was used already"
	ActRecall     Act = "open a recall"
	ActFollow     Act = "follow a recall"
	ActClose      Act = "close a recall"
	ActNote       Act = "note what was done"
	ActExplain    Act = "explain what lies between cycles"
	ActOddTest    Act = "pass a test whose record is borderline"
	ActBackInUse  Act = "put a steriliser back in service"
	ActCorrectOwn Act = "correct an entry of one's own"
	ActCorrect    Act = "correct an entry of somebody else"
	ActPeople     Act = "change who may do what"
	ActPrepare    Act = "sign a day as prepared"
	ActReview     Act = "sign a day as reviewed"
	ActInspect    Act = "start a session for an inspector"
	ActBag        Act = "sign the checkpoint of a bag"
)

// The roles, as entries name them.
const (
	roleOperate = "operate"
	roleRelease = "release"
	roleLead    = "lead"
)

// Roles are what a person may hold, in the order of the table of rights.
var roles = []string{roleOperate, roleRelease, roleLead}

// rights says which role is enough for which act (ours, after common practice): to be
// careful is everybody's right, to let a load go is not.
var rights = []struct {
	act                    Act
	operate, release, lead bool
}{
	{ActRelease, false, true, true},
	{ActReject, true, true, true},
	{ActSecond, false, true, true},
	{ActQuarantine, true, true, true},
	{ActReprocess, true, true, true},
	{ActUsed, true, true, true},
	{ActRecall, true, true, true},
	{ActFollow, true, true, true},
	{ActClose, false, false, true},
	{ActNote, true, true, true},
	{ActExplain, false, true, true},
	{ActOddTest, false, false, true},
	{ActBackInUse, false, false, true},
	{ActCorrectOwn, true, true, true},
	{ActCorrect, false, false, true},
	{ActPeople, false, false, true},
	{ActPrepare, true, true, true},
	{ActReview, false, false, true},
	{ActInspect, false, false, true},
	{ActBag, false, false, true},
}

// enough are the roles of which one is needed for the act; none for an act that is
// not in the table, which nobody may do.
func enough(act Act) []string {
	var out []string
	for _, r := range rights {
		if r.act != act {
			continue
		}
		for i, is := range []bool{r.operate, r.release, r.lead} {
			if is {
				out = append(out, roles[i])
			}
		}
	}
	return out
}

// holds tells whether the person holds a role on a local date.
func holds(p entry.Person, role, day string) bool {
	return slices.ContainsFunc(p.May, func(m entry.May) bool {
		return m.Act == role && m.Since <= day && (m.Until == "" || day <= m.Until)
	})
}

// may returns nil if the person may do the act on the day it happened and still may
// today, when it is entered: somebody who has left enters nothing, whatever its date.
func may(p entry.Person, act Act, days ...string) error {
	needed := enough(act)
	for _, day := range days {
		if !slices.ContainsFunc(needed, func(role string) bool { return holds(p, role, day) }) {
			return &Refusal{Why: fmt.Sprintf("%s may not %s: %s", p.Person, act, missing(p, needed, day)),
				Instead: fmt.Sprintf("Ask somebody with the role %s. holdproof people shows who has it.", Alternatives(needed))}
		}
	}
	return nil
}

// missing says why none of the roles was held on the day.
func missing(p entry.Person, needed []string, day string) string {
	for _, m := range p.May {
		if !slices.Contains(needed, m.Act) {
			continue
		}
		if m.Until != "" && m.Until < day {
			return fmt.Sprintf("the role %s ended on %s", m.Act, dayWords(m.Until))
		}
		if m.Since > day {
			return fmt.Sprintf("the role %s begins on %s, and this is of %s", m.Act, dayWords(m.Since), dayWords(day))
		}
	}
	return fmt.Sprintf("the role %s is needed", Alternatives(needed))
}

// Refusal is an act that the rules do not allow: why, and what is allowed instead.
type Refusal struct {
	Why     string // such as "lea may not close a recall: the role lead is needed"
	Instead string // a sentence
	Field   string // of a note: the flag or column that it is about, "" none of them
	Confirm bool   // the same again, with Sure set, is kept
}

func (e *Refusal) Error() string { return e.Why }

// dayWords writes a date as people do: 2 Nov 2026.
func dayWords(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.Format("2 Jan 2006")
}
