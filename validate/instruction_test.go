package validate

import (
	"slices"
	"testing"

	"holdproof/parse/cycle"
)

// The sentences, typed a second time. Common practice, no source.
const (
	repack  = "Do not use this load. Repack it and run it again."
	tooHot  = "Do not use this load until the lead has looked: it was too hot."
	outUse  = "Take the steriliser out of use. Tell the lead."
	export  = "Do not use this load. Export the record again."
	aside   = "Keep this load aside. The lead decides."
	retest  = "Run this test again before any load."
	setting = "Ask the lead to set site.altitude_m."
)

func TestInstruct(t *testing.T) {
	good := Finding{Check: "sampling", Outcome: Conforms}
	is := func(check string, o Outcome) Finding { return Finding{Check: check, Outcome: o} }
	gauge := Finding{Check: "steam-agreement", Outcome: NotProven, Key: "site.altitude_m"}
	for _, c := range []struct {
		why      string
		kind     cycle.Kind
		again    bool
		findings []Finding
		want     string
		cause    Cause
	}{
		{"conforms", cycle.Load, false, []Finding{good}, "", CauseConforms},
		{"conforms after a failure", cycle.Load, true, []Finding{good}, "", CauseConforms},
		{"a test that conforms", cycle.LeakTest, false, []Finding{good}, "", CauseConforms},
		{"short hold", cycle.Load, false, []Finding{good, is("holding-time", Failed)}, repack, CauseLoad},
		{"kind unsaid", cycle.KindUnsaid, false, []Finding{is("holding-time", Failed)}, repack, CauseLoad},
		{"not proven by its readings", cycle.Load, false, []Finding{is("holding-time", NotProven), is("record-gap", NotProven)}, repack, CauseLoad},
		{"too hot", cycle.Load, false, []Finding{is("temperature-ceiling", Failed)}, tooHot, CauseHot},
		{"too hot and short", cycle.Load, false, []Finding{is("holding-time", Failed), is("temperature-ceiling", Failed)}, tooHot, CauseHot},
		{"too hot by one reading", cycle.Load, false, []Finding{is("temperature-ceiling", Borderline)}, aside, CauseBorderline},
		{"second failure", cycle.Load, true, []Finding{is("holding-time", Failed)}, outUse, CauseMachine},
		{"second failure, too hot", cycle.Load, true, []Finding{is("temperature-ceiling", Failed)}, outUse, CauseMachine},
		{"not proven after a failure", cycle.Load, true, []Finding{is("holding-time", NotProven)}, repack, CauseLoad},
		{"failed leak test", cycle.LeakTest, false, []Finding{is("air-leakage", Failed)}, outUse, CauseMachine},
		{"failed penetration test", cycle.PenetrationTest, false, []Finding{is("holding-time", Failed)}, outUse, CauseMachine},
		{"failed control test", cycle.ControlTest, false, []Finding{is("reference", Failed)}, outUse, CauseMachine},
		{"leak test not proven", cycle.LeakTest, false, []Finding{is("air-leakage", NotProven)}, retest, CauseTestUnproven},
		{"a test's record cut", cycle.PenetrationTest, false, []Finding{is("record-complete", NotProven)}, retest, CauseTestUnproven},
		{"unreadable", cycle.Load, false, nil, export, CauseUnreadable},
		{"unreadable after a failure", cycle.Load, true, nil, export, CauseUnreadable},
		{"its readings were refused", cycle.Load, false, Unreadable(cycle.Header{}, 7, "why", "remedy").Findings, export, CauseUnreadable},
		{"cut", cycle.Load, false, []Finding{good, is("record-complete", NotProven)}, export, CauseCut},
		{"cut in the hold", cycle.Load, false, []Finding{is("holding-time", Failed), is("record-complete", NotProven)}, export, CauseCut},
		{"cut, and air in it", cycle.Load, false, []Finding{is("steam-agreement", Failed), is("record-complete", NotProven)}, repack, CauseLoad},
		{"setting", cycle.Load, false, []Finding{good, gauge}, setting, CauseSetting},
		{"setting for a test", cycle.LeakTest, false, []Finding{gauge}, setting, CauseSetting},
		{"setting beside a borderline", cycle.Load, false, []Finding{gauge, is("holding-time", Borderline)}, setting, CauseSetting},
		{"setting beside readings", cycle.Load, false, []Finding{gauge, is("holding-time", NotProven)}, repack, CauseLoad},
		{"setting beside a failure", cycle.Load, false, []Finding{gauge, is("holding-time", Failed)}, repack, CauseLoad},
		{"borderline", cycle.Load, false, []Finding{good, is("holding-time", Borderline)}, aside, CauseBorderline},
		{"perhaps a leak test", cycle.LeakTest, false, []Finding{is("kind", Borderline)}, aside, CauseBorderline},
		{"nothing was assessed", cycle.Load, false, []Finding{is("drying", NotAssessed)}, repack, CauseLoad},
	} {
		got := Instruct(Verdict{Kind: c.kind, Findings: c.findings}, c.again)
		if got.Sentence != c.want || got.Cause != c.cause {
			t.Errorf("%s: %d %q, want %d %q", c.why, got.Cause, got.Sentence, c.cause, c.want)
		}
	}
}

func TestInstructionKeys(t *testing.T) {
	v := Verdict{Findings: []Finding{
		{Check: "a", Outcome: NotProven, Key: "site.altitude_m"},
		{Check: "b", Outcome: Borderline, Key: "sterilisers.export.columns"},
		{Check: "c", Outcome: NotProven, Key: "site.altitude_m"},
		{Check: "d", Outcome: NotAssessed, Key: "sterilisers.drying"},
		{Check: "e", Outcome: Conforms, Key: "limits"},
	}}
	if got := Instruct(v, false).Keys; !slices.Equal(got, []string{"site.altitude_m", "sterilisers.export.columns"}) {
		t.Errorf("keys %q", got)
	}
}

// Only a verdict that conforms says nothing, whatever the findings.
func TestSilenceOnlyForConforming(t *testing.T) {
	for _, s := range sentences {
		if s.sentence == "" || s.cause == CauseConforms {
			t.Errorf("row %+v", s)
		}
	}
	checks := []string{"holding-time", "temperature-ceiling", "record-complete", "air-leakage"}
	for kind := cycle.KindUnsaid; kind <= cycle.LeakTest; kind++ {
		for code := range 5 * 5 * 5 * 5 {
			v := Verdict{Kind: kind}
			for i, rest := 0, code; i < len(checks); i, rest = i+1, rest/5 {
				v.Findings = append(v.Findings, Finding{Check: checks[i], Outcome: Outcome(rest % 5)})
			}
			for _, again := range []bool{false, true} {
				if got := Instruct(v, again); (got.Sentence == "") != (v.Outcome() == Conforms) {
					t.Fatalf("%v %v: %q", kind, v.Findings, got.Sentence)
				}
			}
		}
	}
}
