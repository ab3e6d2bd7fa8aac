package desk

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
	"holdproof/fixtures"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// years is a logbook that was kept for a long time: two machines, four cycles a day and
// machine, a file a machine and day, what people do on every day, and both signatures.
type years struct {
	*site
	days   int
	cycles int
	first  time.Time
	asks   *caller
}

// longKept keeps days up to that of the site. Every figure in it is invented.
func longKept(t testing.TB, days int) *years {
	t.Helper()
	s := newSite(t)
	y := &years{site: s, days: days}
	y.first = time.Date(2026, 11, 2, 0, 0, 0, 0, time.UTC).AddDate(0, 0, 1-days)
	folder := t.TempDir()
	var names []string
	for i := range days {
		for m := range 2 {
			names = append(names, y.export(folder, i, m))
		}
	}
	if _, err := s.records.Import(t.Context(), surgery.Arriving{Paths: names, Via: surgery.ViaCommand}, &receiver{zone: time.UTC}); err != nil {
		t.Fatal(err)
	}
	y.people()
	return y
}

// export writes what one machine did on one day: its tests and two loads, one of which
// was held too short every fiftieth day.
func (y *years) export(folder string, day, machine int) string {
	y.t.Helper()
	at := y.first.AddDate(0, 0, day)
	var list []fixtures.Cycle
	for n := range 4 {
		c := fixtures.Cycle{Start: at.Add(time.Duration(8+2*n)*time.Hour + time.Duration(day%60)*time.Minute), Steriliser: []string{"TQ-0417", "TQ-0522"}[machine],
			Number: fmt.Sprint(1 + 4*day + n), Label: "134 wrapped", Interval: 10, Draw: uint64(8*day + 4*machine + n)}
		switch {
		case n == 0:
			c.Label, c.Hold = "Helix", 207
		case n == 1:
			c.Label = "Control test"
		case n == 2 && day%50 == 49:
			c.Hold = 158
		}
		list = append(list, c)
	}
	y.cycles += len(list)
	dialect := fixtures.Dialect{Preamble: true}
	if machine == 1 {
		dialect.Comma, dialect.DecimalComma = ';', true
	}
	text, err := fixtures.CSV(dialect, list...)
	if err != nil {
		y.t.Fatal(err)
	}
	name := filepath.Join(folder, fmt.Sprintf("S%d-%s.csv", 1+machine, at.Format(time.DateOnly)))
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		y.t.Fatal(err)
	}
	return name
}

// people enters what was done on each day but the last: lines, tests, decisions, both
// signatures. It writes the entries themselves, since a person's acts take a passphrase.
func (y *years) people() {
	y.t.Helper()
	book, err := logbook.Open(y.t.Context(), y.records.Dir(), logbook.Options{Now: y.clock.now})
	if err != nil {
		y.t.Fatal(err)
	}
	defer book.Close()
	cycles, err := book.Cycles(y.t.Context(), logbook.CycleFilter{})
	if err != nil || len(cycles) != y.cycles {
		y.t.Fatalf("%d cycles of %d, %v", len(cycles), y.cycles, err)
	}
	size, err := book.Checkpoint(y.t.Context())
	if err != nil {
		y.t.Fatal(err)
	}
	of := map[string][]logbook.Cycle{}
	for _, c := range cycles {
		of[c.Day] = append(of[c.Day], c)
	}
	earlier := ""
	var drafts []entry.Draft
	for i := range y.days - 1 {
		day := y.first.AddDate(0, 0, i)
		drafts = append(drafts, dayActs(day, of[day.Format(time.DateOnly)])...)
		for _, meaning := range []string{"prepared", "reviewed"} {
			b := entry.Signature{Day: day.Format(time.DateOnly), Revision: 1, Meaning: meaning, Role: "operate", File: day.Format(time.DateOnly) + ".pdf",
				SHA256: entry.Sum(fmt.Append(nil, meaning, i)), Size: 1, Certificate: entry.Sum([]byte("certificate")), TimeFrom: "entry",
				Covers: size.Size + int64(len(drafts)), Root: entry.Sum([]byte("root")), PreviousDay: earlier}
			drafts = append(drafts, acted(day.Add(19*time.Hour), "lea", b))
			earlier = b.SHA256
		}
	}
	if _, err := book.Write(y.t.Context(), func(w *logbook.Batch) error { return w.AddAll(drafts) }); err != nil {
		y.t.Fatal(err)
	}
}

func acted(at time.Time, by string, b entry.Body) entry.Draft {
	return entry.Draft{At: at, By: by, Proved: "passphrase of an invented key", Body: b}
}

// dayActs is what people entered on a day: sixteen notes, and what became of each load.
func dayActs(day time.Time, cycles []logbook.Cycle) []entry.Draft {
	date := day.Format(time.DateOnly)
	var out []entry.Draft
	for _, clock := range []int{7, 9, 11, 18} {
		for _, chair := range []string{"chair 1", "chair 2"} {
			two := 2.0
			out = append(out, acted(day.Add(time.Duration(clock)*time.Hour), "ben", entry.Note{Duty: "water lines flushed", Day: date, Place: chair, Outcome: "done", Value: &two, Unit: "min", Data: noData}),
				acted(day.Add(time.Duration(clock)*time.Hour), "ben", entry.Note{Duty: "suction looked at", Day: date, Place: chair, Outcome: "done", Data: noData}))
		}
	}
	for _, c := range cycles {
		switch {
		case c.Kind != "load":
			out = append(out, acted(c.End.Time, "lea", entry.Note{Duty: map[string]string{"control test": "control test read", "steam penetration test": "penetration test read"}[c.Kind], Day: date, Steriliser: c.Steriliser, Cycle: c.Key, Outcome: "passed", Data: noData, Settled: true}))
		case c.Outcome == "conforms":
			out = append(out, acted(c.End.Time, "lea", entry.Decision{Cycle: c.Key, Day: c.Day, Act: "release", Verdict: entry.Ref(c.VerdictEntry), Settled: true}))
		default:
			out = append(out, acted(c.End.Time, "lea", entry.Decision{Cycle: c.Key, Day: c.Day, Act: "reprocess", Verdict: entry.Ref(c.VerdictEntry), Settled: true}))
		}
	}
	return out
}

var noData = json.RawMessage("null")

// asked are the pages of a long logbook, each with another day or cycle at every turn,
// so that nothing is measured that was only remembered.
func (y *years) asked() []struct {
	name string
	path func(i int) string
} {
	day := func(i int) string { return y.first.AddDate(0, 0, (i*37)%(y.days-1)).Format(time.DateOnly) }
	key := func(i int) string {
		n := (i * 37) % (y.days - 1)
		return "S1-" + y.first.AddDate(0, 0, n).Add(time.Duration(8+2*(i%4))*time.Hour+time.Duration(n%60)*time.Minute).Format("20060102-150405")
	}
	always := func(path string) func(int) string { return func(int) string { return path } }
	return []struct {
		name string
		path func(i int) string
	}{
		{"today", always("/")},
		{"a day", func(i int) string { return "/day/" + day(i) }},
		{"a cycle", func(i int) string { return "/cycle/" + key(i) }},
		{"readings", func(i int) string { return "/cycle/" + key(i) + "/readings" }},
		{"a month", func(i int) string { return "/days?month=" + day(i)[:7] }},
		{"find", always("/find")},
		{"find a machine", always("/find?machine=S1")},
		{"find a number", func(i int) string { return fmt.Sprintf("/find?machine=S2&number=%d", 1+i*37%(4*y.days)) }},
		{"find a period", func(i int) string { return "/find?from=" + day(i) + "&machine=S1" }},
		{"find what failed", always("/find?outcome=failed")},
		{"find a person", always("/find?person=lea")},
		{"find what waits", always("/find?waiting=yes")},
		{"find tests", always("/find?kind=steam+penetration+test")},
		{"find none", always("/find?outcome=borderline&person=ben")},
		{"since the last good test", always("/find?window=S1")},
		{"a question", func(i int) string { return fmt.Sprint("/question/", 1+i%12) }},
		{"drift", always("/drift")},
		{"the sheet", always("/sheet")},
		{"a load", always("/load")},
		{"people", always("/people")},
		{"judging", always("/judging")},
		{"note", always("/note")},
		{"the sheet", always("/sheet")},
		{"a load at the machine", always("/load")},
		{"an entry", func(i int) string { return fmt.Sprintf("/entry/%d", 40+i*37%(4*y.days)) }},
		{"entries of a day", func(i int) string { return "/day/" + day(i) + "/entries" }},
	}
}
