package surgery

import (
	"bytes"
	"math/rand/v2"
	"regexp"
	"testing"
	"time"

	"holdproof/report/daily"
)

// manyFacts are notes of the invented Monday, each with its own time: some say the same
// thing twice and otherwise.
func manyFacts() []Noting {
	two, short, late, early := 2.0, 1.5, 1049.0, 1040.0
	var out []Noting
	for i, chair := range []string{"chair 1", "chair 2"} {
		minute := []string{"1", "2"}[i]
		out = append(out,
			Noting{Duty: "water lines flushed", Place: chair, Outcome: "done", Value: &two, At: at("07:1" + minute + ":00")},
			Noting{Duty: "water lines flushed", Place: chair, Outcome: "done", Value: &short, At: at("07:0" + minute + ":00")}, // done again, longer
			Noting{Duty: "suction looked at", Place: chair, Outcome: "not done", Text: "no patient", At: at("07:20:00")},
			Noting{Duty: dutyDisinfected, Place: chair, Outcome: "done", Product: "rinse", Strength: "3 %", From: at("17:00:00"), To: at("17:1" + minute + ":00"), At: at("17:12:30")},
			// Typed the day after, at whatever time that is: taken out too early, after one that was not; and twice with no time at all.
			Noting{Duty: dutyDisinfected, Day: monday, Place: chair, Product: "rinse", Strength: "3 %", From: at("18:30:00"), To: at("18:3" + minute + ":00")},
			Noting{Duty: dutyDisinfected, Day: monday, Place: chair, Product: "rinse", Strength: "3 %", From: at("18:00:00"), To: at("18:25:00")},
			Noting{Duty: dutyFlushedEnd, Day: monday, Place: chair, Outcome: "done", Value: &two},
			Noting{Duty: dutyFlushedEnd, Day: monday, Place: chair, Outcome: "done", Value: &short})
	}
	for _, machine := range []string{"S1", "S2"} {
		out = append(out,
			Noting{Duty: "reservoir filled", Steriliser: machine, Outcome: "done", At: at("07:05:00")},
			Noting{Duty: dutyCounter, Steriliser: machine, Value: &late, At: at("17:30:00")},
			Noting{Duty: dutyCounter, Steriliser: machine, Value: &early, At: at("12:30:00")},
			Noting{Duty: "seal and interlock tested", Steriliser: machine, Outcome: "failed", At: at("07:30:00")},
			Noting{Duty: "seal and interlock tested", Steriliser: machine, Outcome: "passed", At: at("07:40:00")})
	}
	return append(out,
		Noting{Duty: dutyPenetration, Cycle: "1041", Outcome: "failed", At: at("08:30:00"), Text: "read against the window"},
		Noting{Duty: dutyPenetration, Cycle: "1041", Outcome: "passed", At: at("08:40:00"), Text: "even colour"},
		Noting{Duty: dutyControl, Cycle: "1042", Outcome: "passed", At: at("08:50:00")},
		Noting{Duty: dutyOutOfUse, Steriliser: "S2", Text: "door", At: at("17:00:00")},
		Noting{Duty: "hands and surfaces", Outcome: "done", At: at("07:00:00")})
}

// entryNumbers are the places of entries in the log, which differ with their order.
var entryNumbers = regexp.MustCompile(`entry \d+`)

// saidOf is what the record of the day says, without where its entries stand in the log.
func saidOf(t *testing.T, d daily.Day) []byte {
	t.Helper()
	d.Record = daily.Record{ID: "x", Revision: 1, Made: d.Record.Made}
	d.Settings.SHA256 = "" // the settings of these tests stand for no file
	data, err := d.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	return entryNumbers.ReplaceAll(data, []byte("entry"))
}

// No order of the entries of one day changes what its record says, nor what it owes: the
// same facts are entered in many orders.
func TestNoOrderOfEntriesMatters(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	var first []byte
	var owed []Owed
	for round := range 5 {
		s := signedSite(t, chairs)
		s.demoDay(t)
		s.clock.Time = at("18:00:00").AddDate(0, 0, 1) // the day after, some is entered late
		facts, loads := manyFacts(), []string{"S1/1043", "S1/1044", "S1/1046", "S1/1049"}
		if round > 0 {
			r.Shuffle(len(facts), func(i, j int) { facts[i], facts[j] = facts[j], facts[i] })
			r.Shuffle(len(loads), func(i, j int) { loads[i], loads[j] = loads[j], loads[i] })
		}
		for _, n := range facts {
			n.By = by("mara")
			s.clock.Time = s.clock.Add(time.Minute)
			if _, err := s.Note(t.Context(), n); err != nil {
				t.Fatalf("%s at %s%s: %v", n.Duty, n.Steriliser, n.Place, err)
			}
		}
		for _, load := range loads {
			if _, err := s.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{load}, By: by("lea")}); err != nil {
				t.Fatal(err)
			}
		}
		said := saidOf(t, s.day(t, monday))
		lines, err := s.Owed(t.Context(), monday)
		if err != nil {
			t.Fatal(err)
		}
		for i := range lines {
			lines[i].Entry = 0
		}
		if round == 0 {
			first, owed = said, lines
			continue
		}
		if !bytes.Equal(said, first) {
			t.Errorf("in another order the record says\n%s\nand not\n%s", differing(said, first), differing(first, said))
		}
		for i, l := range lines {
			if l.short() != owed[i].short() || l.Where() != owed[i].Where() || l.ByName != owed[i].ByName || !l.At.Equal(owed[i].At) || l.Text != owed[i].Text {
				t.Errorf("in another order %s at %s is %s and not %s", l.Duty, l.Where(), l.short(), owed[i].short())
			}
		}
	}
}

// differing is the part of a that b does not have.
func differing(a, b []byte) []byte {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	return a[max(0, i-200):min(len(a), i+200)]
}
