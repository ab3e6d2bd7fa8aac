package cycle

import (
	"math"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"
)

func TestNewRefuses(t *testing.T) {
	two := []Celsius{20, 21}
	for _, c := range []struct {
		why string
		r   Readings
		say string
	}{
		{"no reading", Readings{}, "at least one"},
		{"lines missing", Readings{Seconds: []float64{0, 1}, Lines: []int{2}}, "1 lines for 2"},
		{"a short column", Readings{Seconds: []float64{0}, Lines: []int{2}, Channels: []Channel{{Heading: "T", Celsius: two}}}, `under "T"`},
		{"a short pressure", Readings{Seconds: []float64{0}, Lines: []int{2}, Pressure: &Pressure{}}, "0 pressures"},
		{"a late first reading", Readings{Seconds: []float64{1}, Lines: []int{2}}, "not at 0"},
		{"a repeated time", Readings{Seconds: []float64{0, 0}, Lines: []int{2, 3}}, "the one before at 0 s"},
		{"no number for a time", Readings{Seconds: []float64{0, math.NaN()}, Lines: []int{2, 3}}, "NaN"},
		{"lines backwards", Readings{Seconds: []float64{0, 1}, Lines: []int{3, 2}}, "line 2"},
	} {
		if _, err := New(Header{}, c.r); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: got %v, want %q", c.why, err, c.say)
		}
	}
}

// Europe/London leaves summer time on 25 October 2026 at 01:00 UTC (tz database):
// 01:30 local comes twice.
func TestIDInTheRepeatedHour(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		utc, want string
	}{
		{"2026-10-25T00:30:00Z", "S1-20261025-013000"},
		{"2026-10-25T01:30:00Z", "S1-20261025-013000b"},
		{"2026-10-25T02:30:00Z", "S1-20261025-023000"},
		{"2026-03-29T01:30:00Z", "S1-20260329-023000"},
		{"2026-11-02T08:14:03Z", "S1-20261102-081403"},
	} {
		at, err := time.Parse(time.RFC3339, c.utc)
		if err != nil {
			t.Fatal(err)
		}
		r, err := New(Header{Steriliser: "S1", Start: at.In(london)}, Readings{Seconds: []float64{0}, Lines: []int{2}})
		if err != nil {
			t.Fatal(err)
		}
		if got := r.ID(); got != c.want {
			t.Errorf("%s: got %s, want %s", c.utc, got, c.want)
		}
	}
}

func TestNamesGoThereAndBack(t *testing.T) {
	for k := Load; k <= LeakTest; k++ {
		if got := KindNamed(k.String()); got != k || k.String() == "" {
			t.Errorf("kind %d: %q names %d", k, k.String(), got)
		}
	}
	if KindNamed("") != KindUnsaid || KindNamed("unheard of") != KindUnsaid || Kind(99).String() != "" {
		t.Error("a name nobody knows must be unsaid")
	}
	if Unknown.Judged() || Other.Judged() || NotConnected.Judged() || !Chamber.Judged() || !Drain.Judged() || !LoadProbe.Judged() {
		t.Error("judged are chamber, drain and load")
	}
}
