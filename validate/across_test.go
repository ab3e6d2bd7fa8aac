package validate

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"holdproof/parse/cycle"
)

// day makes invented cycles of S1 on 2 November 2026 from a short text: "08:00 1042",
// each half an hour long, each with readings of its own.
func day(t *testing.T, rows ...string) []Summary {
	t.Helper()
	var out []Summary
	for i, row := range rows {
		clock, number, _ := strings.Cut(row, " ")
		at, err := time.Parse("2006-01-02 15:04", "2026-11-02 "+clock)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, Summary{ID: "S1-" + clock, Steriliser: "S1", Number: number, Start: at, End: at.Add(30 * time.Minute),
			Kind: cycle.Load, Outcome: Conforms, Readings: Digest{N: 100, Sum: [32]byte{byte(i + 1)}}})
	}
	return out
}

func at(clock string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", "2026-11-02 "+clock)
	if err != nil {
		panic(err)
	}
	return t
}

// told is the findings in short: check, then cycles without the steriliser's id.
func told(found []Across) string {
	var out []string
	for _, a := range found {
		out = append(out, a.Check+" "+strings.ReplaceAll(strings.Join(a.Cycles, " "), "S1-", ""))
	}
	return strings.Join(out, "; ")
}

// Numbers that count up, and what a surgery's records do with them. Invented.
func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		why  string
		rows []string
		want string
	}{
		{"in order", []string{"08:00 1042", "09:00 1043", "10:00 1044"}, ""},
		{"no cycle", nil, ""},
		{"one missing", []string{"08:00 1042", "09:00 1044"}, "number-gap 08:00 09:00"},
		{"two holes", []string{"08:00 1042", "09:00 1045", "10:00 1047"}, "number-gap 08:00 09:00; number-gap 09:00 10:00"},
		{"letters before", []string{"08:00 C-099", "09:00 C-100", "10:00 C-102"}, "number-gap 09:00 10:00"},
		{"two counters", []string{"08:00 A1", "09:00 B7", "10:00 A2", "11:00 B8"}, ""},
		{"no number said", []string{"08:00 1042", "09:00", "10:00 1043"}, ""},
		{"not a number", []string{"08:00 1042", "09:00 none", "10:00 1043"}, ""},
		{"twice", []string{"08:00 1042", "09:00 1042", "10:00 1043"}, "number-repeat 08:00 09:00"},
		{"three times", []string{"08:00 7", "09:00 07", "10:00 7"}, "number-repeat 08:00 09:00 10:00"},
		{"a number again, and on", []string{"08:00 1041", "09:00 1042", "10:00 1041", "11:00 1043"}, "number-repeat 08:00 10:00"},
		{"a number again at the end", []string{"08:00 1041", "09:00 1042", "10:00 1041"}, "number-repeat 08:00 10:00"},
		{"counter anew, another going on", []string{"08:00 A5000", "09:00 A1", "10:00 B9000"}, "number-reset 08:00 09:00"},
		{"clock put back", []string{"08:00 1042", "09:00 1044", "10:00 1043", "11:00 1045"}, "clock 09:00 10:00"},
		{"two numbers late", []string{"08:00 1", "09:00 2", "10:00 5", "11:00 3", "12:00 4", "13:00 6"}, "clock 10:00 11:00; clock 10:00 12:00"},
		{"counter anew", []string{"08:00 5000", "09:00 1", "10:00 2"}, "number-reset 08:00 09:00"},
		{"counter anew at the end", []string{"08:00 5000", "09:00 1"}, "number-reset 08:00 09:00"},
		{"counter anew, and a hole", []string{"08:00 5000", "09:00 1", "10:00 3"}, "number-gap 09:00 10:00; number-reset 08:00 09:00"},
		{"counter anew to numbers that were", []string{"08:00 1", "09:00 2", "10:00 3", "11:00 1", "12:00 2"},
			"number-repeat 08:00 11:00; number-repeat 09:00 12:00; number-reset 10:00 11:00"},
		{"one cycle inside another", []string{"08:00 1", "08:20 2"}, "overlap 08:00 08:20"},
		{"end to start", []string{"08:00 1", "08:30 2"}, ""},
	} {
		if got := told(AcrossCycles(day(t, c.rows...), Facts{})); got != c.want {
			t.Errorf("%s: %q, want %q", c.why, got, c.want)
		}
	}
}

func TestOverlapBehindALongCycle(t *testing.T) {
	cycles := day(t, "08:00 1", "08:40 2", "09:30 3")
	cycles[0].End = at("10:00")
	if got := told(AcrossCycles(cycles, Facts{})); got != "overlap 08:00 08:40; overlap 08:00 09:30" {
		t.Errorf("%q", got)
	}
}

func TestResetThatWasEntered(t *testing.T) {
	cycles := day(t, "08:00 1", "09:00 2", "10:00 5000", "11:00 1", "12:00 2", "13:00 4")
	reset := Reset{"S1", at("10:45")}
	want := "number-gap 09:00 10:00; number-gap 12:00 13:00"
	if got := told(AcrossCycles(cycles, Facts{Resets: []Reset{reset}})); got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := told(AcrossCycles(cycles, Facts{Resets: []Reset{{"S1", at("11:00")}}})); got != want {
		t.Errorf("entered at the minute of the start: %q, want %q", got, want)
	}
	other := Reset{"S2", at("10:45")}
	if got := told(AcrossCycles(cycles, Facts{Resets: []Reset{other}})); !strings.Contains(got, "number-reset 10:00 11:00") {
		t.Errorf("explained by an entry for another machine: %q", got)
	}
}

func TestCounter(t *testing.T) {
	cycles := day(t, "08:00 1042", "09:00 1043")
	for _, c := range []struct {
		why   string
		count int64
		at    string
		reset string
		want  string
	}{
		{"agrees", 1043, "18:00", "", ""},
		{"the last is missing", 1044, "18:00", "", "counter 09:00"},
		{"lower", 1042, "18:00", "", "counter 09:00"},
		{"before the second", 1042, "08:50", "", ""},
		{"before any", 1041, "07:00", "", "counter "},
		{"reset since", 0, "18:00", "17:00", ""},
		{"reset since, and used", 2, "18:00", "17:00", "counter "},
	} {
		f := Facts{Counters: []Counter{{"S1", at(c.at), c.count}}}
		if c.reset != "" {
			f.Resets = []Reset{{"S1", at(c.reset)}}
		}
		got := AcrossCycles(cycles, f)
		if told(got) != c.want {
			t.Errorf("%s: %q, want %q", c.why, told(got), c.want)
		}
		for _, a := range got {
			if a.Cycles == nil {
				t.Errorf("%s: no list of cycles is null in JSON", c.why)
			}
		}
	}
	again := Counter{"S9", at("18:00"), 3}
	if got := told(AcrossCycles(nil, Facts{Counters: []Counter{again, again}})); got != "counter " {
		t.Errorf("a machine without any record: %q", got)
	}
}

func TestLoadsBeforeTests(t *testing.T) {
	cycles := day(t, "08:00 1", "09:00 2", "10:00 3")
	cycles[0].Kind = cycle.PenetrationTest
	for _, c := range []struct {
		why  string
		test DayTest
		want string
	}{
		{"passed in time", DayTest{"S1", "2026-11-02", "steam penetration test", at("08:40")}, ""},
		{"passed at the start of the load", DayTest{"S1", "2026-11-02", "steam penetration test", at("09:00")}, ""},
		{"passed after a load", DayTest{"S1", "2026-11-02", "steam penetration test", at("09:30")}, "test-before-load 09:00"},
		{"never passed", DayTest{"S1", "2026-11-02", "steam penetration test", time.Time{}}, "test-before-load 09:00 10:00"},
		{"another day", DayTest{"S1", "2026-11-03", "steam penetration test", time.Time{}}, ""},
		{"another machine", DayTest{"S2", "2026-11-02", "steam penetration test", time.Time{}}, ""},
	} {
		if got := told(AcrossCycles(cycles, Facts{Tests: []DayTest{c.test, c.test}})); got != c.want {
			t.Errorf("%s: %q, want %q", c.why, got, c.want)
		}
	}
}

func TestSameReadings(t *testing.T) {
	cycles := day(t, "08:00 1", "09:00 2", "10:00 3")
	cycles[2].Readings = cycles[0].Readings
	got := AcrossCycles(cycles, Facts{})
	if told(got) != "same-readings 08:00 10:00" || !got[0].StopsRelease() {
		t.Errorf("%q", told(got))
	}
	cycles[2].Steriliser = "S2"
	got = AcrossCycles(cycles, Facts{})
	if told(got) != "same-readings 08:00 10:00" || got[0].Steriliser != "S1" {
		t.Errorf("on two machines: %q", told(got))
	}
	cycles[0].Readings, cycles[2].Readings = Digest{N: 1}, Digest{N: 1}
	if got := told(AcrossCycles(cycles, Facts{})); got != "" {
		t.Errorf("cycles of one reading: %q", got)
	}
	cycles[0].Readings, cycles[2].Readings = Digest{}, Digest{}
	if got := told(AcrossCycles(cycles, Facts{})); got != "" {
		t.Errorf("cycles without readings: %q", got)
	}
}

func TestSameStart(t *testing.T) {
	cycles := day(t, "08:00 1", "08:00 1", "09:00 2")
	if got := told(AcrossCycles(cycles, Facts{})); got != "number-repeat 08:00 08:00" {
		t.Errorf("other readings: %q", got)
	}
	cycles[1].Number = ""
	got := AcrossCycles(cycles, Facts{})
	if told(got) != "number-repeat 08:00 08:00" || !got[0].StopsRelease() {
		t.Errorf("other readings without a number: %q", told(got))
	}
	if got := told(AcrossCycles(day(t, "08:00 1", "08:00", "08:00 2", "08:00", "09:00 3"), Facts{})); got != "number-repeat 08:00 08:00 08:00 08:00" {
		t.Errorf("four records of one start are one finding: %q", got)
	}
	cycles[1].Readings = cycles[0].Readings
	if got := told(AcrossCycles(cycles, Facts{})); got != "" {
		t.Errorf("one cycle from two exports: %q", got)
	}
	cycles[0].Readings, cycles[1].Readings = Digest{}, Digest{}
	if got := told(AcrossCycles(cycles, Facts{})); got != "number-repeat 08:00 08:00" {
		t.Errorf("two records without readings: %q", got)
	}
}

// Europe/London went back on 25 October 2026 at 01:00 UTC and forward on 29 March 2026
// at 01:00 UTC (tz database).
func TestClockChanges(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		utc string
		hit bool
	}{
		{"2026-10-24T23:59:59Z", false}, {"2026-10-25T00:00:00Z", true}, {"2026-10-25T01:30:00Z", true}, {"2026-10-25T02:00:00Z", false},
		{"2026-03-29T00:30:00Z", true}, {"2026-03-29T01:30:00Z", true}, {"2026-03-29T02:00:00Z", false}, {"2026-11-02T08:00:00Z", false},
	} {
		start, err := time.Parse(time.RFC3339, c.utc)
		if err != nil {
			t.Fatal(err)
		}
		s := Summary{ID: "x", Steriliser: "S1", Start: start.In(london), End: start.Add(time.Minute), Readings: Digest{N: 1}}
		if got := len(AcrossCycles([]Summary{s}, Facts{})) == 1; got != c.hit {
			t.Errorf("%s: clock %v, want %v", c.utc, got, c.hit)
		}
	}
}

func TestFailedAgain(t *testing.T) {
	cycles := day(t, "08:00 1", "09:00 2", "10:00 3", "11:00 4", "12:00 5", "13:00 6", "14:00 7")
	for i, o := range []Outcome{Failed, NotProven, Failed, Conforms, Failed, Borderline, Failed} {
		cycles[i].Outcome = o
	}
	if got := FailedAgain(cycles); !slices.Equal(got, []string{"S1-10:00"}) {
		t.Errorf("%q", got)
	}
	cycles[0].Steriliser = "S2"
	if got := FailedAgain(cycles); got != nil {
		t.Errorf("failures on two machines: %q", got)
	}
}

// Whatever the order of cycles and facts, the findings are the same, and the input
// stays as it was; each has a sentence, a remedy and only ids that were given.
func TestOrderMakesNoDifference(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 2026))
	for round := range 300 {
		var cycles []Summary
		var f Facts
		for i := range 12 {
			start := at("08:00").Add(time.Duration(rng.IntN(10)) * 15 * time.Minute)
			steriliser := []string{"S1", "S2", ""}[rng.IntN(3)]
			cycles = append(cycles, Summary{ID: fmt.Sprintf("%s-%d-%d", steriliser, start.Unix(), i), Steriliser: steriliser,
				Number: fmt.Sprint(rng.IntN(9)), Start: start, End: start.Add(time.Duration(rng.IntN(60)) * time.Minute),
				Kind: cycle.Kind(1 + rng.IntN(4)), Outcome: Outcome(rng.IntN(5)), Readings: Digest{N: 1 + rng.IntN(2), Sum: [32]byte{byte(rng.IntN(9))}}})
		}
		for range 3 {
			steriliser, when := []string{"S1", "S2", ""}[rng.IntN(3)], at("08:00").Add(time.Duration(rng.IntN(600))*time.Minute)
			f.Resets = append(f.Resets, Reset{steriliser, when})
			f.Counters = append(f.Counters, Counter{steriliser, when, int64(rng.IntN(9))})
			f.Tests = append(f.Tests, DayTest{steriliser, "2026-11-02", fmt.Sprint("test ", rng.IntN(2)), when})
		}
		want, again := AcrossCycles(cycles, f), FailedAgain(cycles)
		for _, a := range want {
			if a.Check == "" || a.Message == "" || a.Remedy == "" || a.Cycles == nil {
				t.Fatalf("round %d: %+v says too little", round, a)
			}
			for _, id := range a.Cycles {
				if !slices.ContainsFunc(cycles, func(s Summary) bool { return s.ID == id }) {
					t.Fatalf("round %d: nobody gave %q", round, id)
				}
			}
		}
		for range 4 {
			rng.Shuffle(len(cycles), func(i, j int) { cycles[i], cycles[j] = cycles[j], cycles[i] })
			rng.Shuffle(3, func(i, j int) {
				f.Resets[i], f.Resets[j] = f.Resets[j], f.Resets[i]
				f.Counters[i], f.Counters[j] = f.Counters[j], f.Counters[i]
				f.Tests[i], f.Tests[j] = f.Tests[j], f.Tests[i]
			})
			before := slices.Clone(cycles)
			if got := AcrossCycles(cycles, f); !reflect.DeepEqual(got, want) {
				t.Fatalf("round %d: %s\nwant %s", round, told(got), told(want))
			}
			if !slices.Equal(FailedAgain(cycles), again) || !slices.Equal(before, cycles) {
				t.Fatalf("round %d: the order made a difference, or the input changed", round)
			}
		}
	}
}

// Ten years of a surgery with one steriliser.
func BenchmarkAcrossCycles(b *testing.B) {
	var cycles []Summary
	for i := range 20000 {
		start := at("08:00").Add(time.Duration(i) * time.Hour)
		cycles = append(cycles, Summary{ID: fmt.Sprint(i), Steriliser: "S1", Number: fmt.Sprint(1000 + i), Start: start, End: start.Add(30 * time.Minute),
			Kind: cycle.Load, Outcome: Conforms, Readings: Digest{N: 2400, Sum: [32]byte{byte(i), byte(i >> 8)}}})
	}
	for b.Loop() {
		if got := AcrossCycles(cycles, Facts{}); len(got) != 0 {
			b.Fatal(told(got[:1]))
		}
	}
}
