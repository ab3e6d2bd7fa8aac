package surgery

import (
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
)

func day(text string) time.Time {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return t
}

// A certificate past its due date is a remark on a record by the record's day, and
// never by today's.
func TestCertificatePastDue(t *testing.T) {
	m := machine{certificate: &Certificate{Number: "C-11", Date: day("2026-01-10"), Due: day("2027-01-10")}}
	for start, want := range map[string]int{"2026-11-02": 0, "2027-01-10": 0, "2027-01-11": 1} {
		if got := m.remarks(cycle.Header{Start: day(start)}); len(got) != want {
			t.Errorf("%s: %q", start, got)
		}
	}
	if got := (machine{}).remarks(cycle.Header{Start: day("2027-01-11")}); len(got) != 0 {
		t.Errorf("no certificate: %q", got)
	}
}

// The reason of looser limits is printed on every record judged with them.
func TestLooserBecauseIsPrinted(t *testing.T) {
	c := Configuration{Limits: "mine", LimitSets: []LimitSet{{Name: "mine", Source: "report 7", LooserBecause: "the maker allows it",
		Programmes: []OwnLimit{{Name: "134", SterilisingC: 134, BandK: 4, HoldS: 120}}}}}
	if f := c.Faults(); len(f) > 0 {
		t.Fatalf("%+v", f)
	}
	var to heard
	if _, err := Check(t.Context(), c, Exports{Files: []string{written(t, "a.csv", fixtures.Cycle{Hold: 130})}}, &to); err != nil {
		t.Fatal(err)
	}
	j := to.cycles[0]
	if j.Outcome() != Conforms || !strings.Contains(strings.Join(j.Remarks(), "\n"), "the maker allows it") {
		t.Errorf("%s, remarks %q", j.Outcome(), j.Remarks())
	}
}

// The settings of a machine are for its records and for no other's.
func TestRulesAreThoseOfTheMachine(t *testing.T) {
	c := Configuration{Sterilisers: []Steriliser{
		{ID: "S1", Programme: "134", AirRemoval: &AirRemoval{Pulses: 9, BelowKPa: 20}},
		{ID: "S2", Programme: "134"},
	}}
	var to heard
	files := []string{written(t, "a.csv", fixtures.Cycle{Steriliser: "S1"}), written(t, "b.csv", fixtures.Cycle{Steriliser: "S2"}), written(t, "c.csv", fixtures.Cycle{Steriliser: "S9"})}
	if _, err := Check(t.Context(), c, Exports{Files: files}, &to); err != nil {
		t.Fatal(err)
	}
	for i, want := range []Outcome{Failed, Conforms, Conforms} {
		if got := to.cycles[i].Outcome(); got != want {
			t.Errorf("%s: %s, want %s", to.cycles[i].ID(), got, want)
		}
	}
	if got := to.cycles[2].ID(); got != "S9-20261102-081403" {
		t.Errorf("an unknown steriliser is called %s", got)
	}
}
