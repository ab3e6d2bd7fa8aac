package pdf

import (
	"testing"

	"holdproof/report/daily"
)

// TestLimitsOf: a penetration test and a load of one programme are held to different
// seconds, two machines to different pulses, and the table says which is whose. The figures are invented.
func TestLimitsOf(t *testing.T) {
	finding := func(check string, low, high float64) daily.Finding {
		f := daily.Finding{Check: check, Unit: "s", Source: "invented", Sure: "computed"}
		if low > 0 {
			f.Low = &low
		}
		if high > 0 {
			f.High = &high
		}
		return f
	}
	same, three, one := finding("equilibration", 0, 15), finding("air-removal", 3, 0), finding("air-removal", 1, 0)
	plateau, within := 134.3, 1.1 // their sums are 133.20000000000002 and 135.4
	got := limitsOf([]daily.Cycle{
		{Steriliser: "S1", Kind: "steam penetration test", Programme: "134", Findings: []daily.Finding{finding("holding-time", 200, 0), finding("exposure-time", 0, 225), same, three}},
		{Steriliser: "S1", Kind: "control test", Programme: "134", Findings: []daily.Finding{finding("holding-time", 180, 0), same, three}},
		{Steriliser: "S1", Kind: "load", Programme: "134", Findings: []daily.Finding{finding("holding-time", 180, 0), same, three, finding("columns", 0, 0)}},
		{Steriliser: "S2", Kind: "load", Programme: "134", Findings: []daily.Finding{finding("holding-time", 180, 0), same, one}},
		{Kind: "air leakage test", Findings: []daily.Finding{finding("air-leakage", 0, 0.13)}},
		{Steriliser: "S1", Kind: "control test", Programme: "134", Findings: []daily.Finding{finding("reference", plateau-within, plateau+within)}},
	})
	want := []string{
		"holding-time | programme 134: steam penetration test | at least 200 s",
		"exposure-time | programme 134: steam penetration test | at most 225 s",
		"equilibration | programme 134 | at most 15 s",
		"air-removal | S1, programme 134 | at least 3 s",
		"holding-time | programme 134: control test, load | at least 180 s",
		"columns |  | ",
		"air-removal | S2, programme 134 | at least 1 s",
		"air-leakage | air leakage test | at most 0.13 s",
		"reference | programme 134: control test | 133.2 to 135.4 s",
	}
	if len(got) != len(want) {
		t.Fatalf("%d limits, expected %d", len(got), len(want))
	}
	for i, l := range got {
		if s := l.check + " | " + l.appliesTo + " | " + l.bounds; s != want[i] {
			t.Errorf("limit %d: %q, expected %q", i, s, want[i])
		}
	}
}

// TestLoadNobodyNoted: a load that nobody described says so; a test needs no description.
func TestLoadNobodyNoted(t *testing.T) {
	for _, c := range []struct {
		in   daily.Cycle
		want string
	}{
		{daily.Cycle{Kind: "load"}, "nobody noted what was in the load or who loaded it"},
		{daily.Cycle{Kind: "control test"}, ""},
		{daily.Cycle{Kind: "load", Load: daily.Load{Contents: "handpieces", Packs: 4}}, "handpieces, 4 packs"},
	} {
		if got := load(c.in); got != c.want {
			t.Errorf("%s: %q, expected %q", c.in.Kind, got, c.want)
		}
	}
}
