package validate

import (
	"slices"

	"holdproof/parse/cycle"
)

// Cause is why a person is told something. The zero value is a record that could not
// be read, so that a verdict nobody filled in never tells a person to go on.
type Cause int

// The causes.
const (
	CauseUnreadable   Cause = iota // nothing was judged: no findings, or only that the record cannot be read
	CauseConforms                  // nothing to do
	CauseMachine                   // a test failed, or the second failure in a row on a machine
	CauseHot                       // the load failed the temperature ceiling
	CauseCut                       // the record does not begin or end with the cycle
	CauseLoad                      // the load failed, or is not proven by its readings
	CauseTestUnproven              // a test that is not proven
	CauseSetting                   // only a setting is missing
	CauseBorderline                // the lead decides
)

// sentences is what a person is told, one sentence a cause (common practice, no
// source; the words are ours). A cause that is missing says nothing.
var sentences = []struct {
	cause    Cause
	sentence string
}{
	{CauseUnreadable, "Do not use this load. Export the record again."},
	{CauseMachine, "Take the steriliser out of use. Tell the lead."},
	{CauseHot, "Do not use this load until the lead has looked: it was too hot."},
	{CauseCut, "Do not use this load. Export the record again."},
	{CauseLoad, "Do not use this load. Repack it and run it again."},
	{CauseTestUnproven, "Run this test again before any load."},
	{CauseSetting, "Ask the lead to set KEY."},
	{CauseBorderline, "Keep this load aside. The lead decides."},
}

// Instruction is the one thing to do about a cycle.
type Instruction struct {
	Cause    Cause
	Sentence string // "" if the cycle conforms
	// Keys are the settings whose absence kept a finding from conforming, in the order
	// of the findings, each once. Where Cause is [CauseSetting] the sentence names the
	// first; it is due once per machine, not per cycle.
	Keys []string
}

// Instruct returns what the person at the machine is told about a cycle. again says
// that the cycle before on the same steriliser failed too (see [FailedAgain]).
//
// Of several causes the first in this order counts: a failed test or a second failure,
// too hot, a cut record, readings that fail or do not prove, a missing setting,
// borderline. A failed hold in a cut record counts as cut: the missing readings may
// hold the rest.
func Instruct(v Verdict, again bool) Instruction {
	cause := causeOf(v, again)
	in := Instruction{Cause: cause, Keys: missingKeys(v)}
	for _, s := range sentences {
		if s.cause == cause {
			in.Sentence = s.sentence
		}
	}
	if cause == CauseSetting {
		in.Sentence = SettingSentence(in.Keys[0])
	}
	return in
}

// SettingSentence is what is said, once per machine, about a setting that is missing.
func SettingSentence(key string) string { return "Ask the lead to set " + key + "." }

func causeOf(v Verdict, again bool) Cause {
	test := v.Kind == cycle.ControlTest || v.Kind == cycle.PenetrationTest || v.Kind == cycle.LeakTest
	switch v.Outcome() {
	case Conforms:
		return CauseConforms
	case Borderline:
		return CauseBorderline
	case Failed:
		switch {
		case test || again:
			return CauseMachine
		case has(v, "temperature-ceiling", Failed):
			return CauseHot
		case cut(v) && !failsBeside(v, "holding-time"):
			return CauseCut
		}
		return CauseLoad
	}
	switch {
	case len(v.Findings) == 0 || has(v, readableCheck.name, NotProven):
		return CauseUnreadable
	case onlySettings(v):
		return CauseSetting
	case test:
		return CauseTestUnproven
	case cut(v):
		return CauseCut
	}
	return CauseLoad
}

func has(v Verdict, check string, o Outcome) bool {
	return slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Check == check && f.Outcome == o })
}

func cut(v Verdict) bool { return has(v, "record-complete", NotProven) }

// failsBeside tells whether any other check than the named one failed.
func failsBeside(v Verdict, check string) bool {
	return slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Check != check && f.Outcome == Failed })
}

// onlySettings tells whether every finding that is not proven has a key that would
// settle it, and there is at least one.
func onlySettings(v Verdict) bool {
	any := false
	for _, f := range v.Findings {
		if f.Outcome != NotProven {
			continue
		}
		if f.Key == "" {
			return false
		}
		any = true
	}
	return any
}

func missingKeys(v Verdict) []string {
	var keys []string
	for _, f := range v.Findings {
		if (f.Outcome == NotProven || f.Outcome == Borderline) && f.Key != "" && !slices.Contains(keys, f.Key) {
			keys = append(keys, f.Key)
		}
	}
	return keys
}
