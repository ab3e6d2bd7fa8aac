package pdf

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/figure"
	"holdproof/validate"
)

// day is an invented day while a test puts it together.
type day struct {
	t testing.TB
	daily.Day
	Parts
}

func newDay(t testing.TB) *day {
	t.Helper()
	litres := 18.0
	count := int64(1047)
	return &day{t: t, Parts: Parts{Figures: map[string]figure.Cycle{}, Sources: map[string][]byte{}}, Day: daily.Day{
		Version: daily.Version, Program: "0.1.0", Date: "2026-11-02",
		Record: daily.Record{ID: "2026-11-02-r1", Revision: 1, Made: "2026-11-02T18:10:00Z",
			Previous: daily.Link{ID: "2026-10-30-r1", SHA256: hash("yesterday")}, LogSize: 812, LogRoot: hash("log")},
		Surgery:  daily.Surgery{Name: "Tern Quay Surgery", Zone: "Europe/London"},
		Settings: daily.Settings{File: "holdproof.yaml", SHA256: hash("settings"), Limits: "en", Routine: "england"},
		Signing:  daily.Signing{Second: "required"},
		Machines: []daily.Machine{{ID: "S1", Serial: "TQ-0417", Type: "B", Litres: &litres, Counter: &count}, {ID: "S2", Serial: "TQ-0988", Type: "B", Litres: &litres}},
	}}
}

func hash(s string) string { sum := sha256.Sum256([]byte(s)); return hex.EncodeToString(sum[:]) }

// source attaches invented bytes.
func (d *day) source(name, content string) {
	d.Day.Sources = append(d.Day.Sources, daily.Source{Name: name, SHA256: hash(content), Bytes: int64(len(content))})
	d.Parts.Sources[hash(content)] = []byte(content)
}

// judge adds a generated cycle, judged as a real one is.
func (d *day) judge(c fixtures.Cycle, machine, number string, hour, minute int) daily.Cycle {
	d.t.Helper()
	r := c.Readings()
	in := cycle.Readings{Seconds: make([]float64, len(r.Seconds)), Lines: make([]int, len(r.Seconds)), Pressure: &cycle.Pressure{Reference: cycle.Absolute, Heading: "pressure", KPa: r.KPa}}
	for i, s := range r.Seconds {
		in.Seconds[i], in.Lines[i] = s-r.Seconds[0], i+2
	}
	channel := func(role cycle.Role, heading string, values []float64) {
		ch := cycle.Channel{Role: role, Heading: heading}
		for _, v := range values {
			ch.Celsius = append(ch.Celsius, cycle.Celsius(v))
		}
		in.Channels = append(in.Channels, ch)
	}
	channel(cycle.Chamber, "chamber", r.Chamber)
	for i, l := range r.Loads {
		channel(cycle.LoadProbe, fmt.Sprintf("load %d", i+1), l)
	}
	h := cycle.Header{Steriliser: machine, Configured: true, Number: number,
		Start:  time.Date(2026, 11, 2, hour, minute, 3, 0, time.UTC),
		Label:  cycle.Label{Text: c.Label, Kind: kindOfLabel(c)},
		Source: cycle.Source{File: "export-" + machine + "-" + number + ".csv", FirstLine: 2, LastLine: len(r.Seconds) + 1}}
	if c.Leak == nil {
		h.Label.Numbers = []cycle.Number{{Value: 134, Unit: "C"}}
	}
	rec, err := cycle.New(h, in)
	if err != nil {
		d.t.Fatal(err)
	}
	set, _ := validate.LimitSetNamed("en")
	rules := validate.Rules{Set: set, Machine: validate.Machine{ID: machine, Type: "B"}}
	v := validate.Judge(rec, rules)
	out := daily.Judged(rec, v, validate.Instruct(v, false).Sentence, figure.Flags(v))
	d.Cycles = append(d.Cycles, out)
	d.Figures[out.ID] = figure.Cycle{Record: rec, Verdict: v, Absolute: validate.AbsolutePressure(rec, rules.Site)}
	return out
}

func kindOfLabel(c fixtures.Cycle) cycle.Kind {
	if c.Leak != nil {
		return cycle.LeakTest
	}
	return cycle.Load
}

// monday is a day with something of everything.
func monday(t testing.TB) *day {
	d := newDay(t)
	leak := d.judge(fixtures.Cycle{Leak: &fixtures.Leak{Rate: 0.064}, Label: "leak"}, "S1", "1041", 7, 5)
	d.judge(fixtures.Cycle{Label: "134", Draw: 1}, "S1", "1042", 8, 14)
	short := d.judge(fixtures.Cycle{Label: "134", Hold: 150, Draw: 2}, "S1", "1043", 9, 2)
	rerun := d.judge(fixtures.Cycle{Label: "134", Draw: 3}, "S1", "1044", 9, 50)
	d.judge(fixtures.Cycle{Label: "134", Draw: 4}, "S1", "1046", 11, 20)
	d.judge(fixtures.Cycle{Label: "134", Hold: 182, Draw: 5}, "S1", "1047", 14, 10)
	d.judge(fixtures.Cycle{Label: "134", Draw: 6}, "S2", "88", 8, 40)
	d.judge(fixtures.Cycle{Label: "134", Draw: 7, Faults: fixtures.Faults{CutEnd: 500}}, "S2", "89", 10, 40)
	d.Tests = []daily.Test{
		{Machine: "S1", Kind: "air leakage test", Due: true, State: "passed", At: "2026-11-02T07:32:00Z", By: "A. Perera", Cycle: leak.ID},
		{Machine: "S1", Kind: "steam penetration test", Due: true, State: "passed", At: "2026-11-02T08:02:00Z", By: "A. Perera", Detail: "indicator changed evenly"},
		{Machine: "S2", Kind: "steam penetration test", Due: true, State: "missing"},
	}
	d.Missing = []daily.Missing{{What: "steam penetration test", Machine: "S2", Reason: "the indicator pack was out of stock"}}
	for _, c := range d.Cycles {
		if c.Conforms() && c.Kind == "load" {
			d.Decisions = append(d.Decisions, daily.Decision{Cycle: c.ID, At: c.Start, Act: "released", By: "A. Perera", Role: "nurse"})
		}
	}
	d.Decisions = append(d.Decisions, daily.Decision{Cycle: short.ID, At: "2026-11-02T09:48:00Z", Act: "sent for reprocessing", By: "B. Lind", Role: "lead", Reason: "held too short", Rerun: rerun.ID})
	for i := range d.Cycles {
		d.Cycles[i].Load = daily.Load{Contents: "examination kits", Packs: 6, Packing: "wrapped", By: "A. Perera"}
	}
	d.Across = []daily.Across{{Check: "number-gap", Cycles: []string{rerun.ID}, Message: "number 1045 of S1 is missing", Remedy: "Export it, or enter why there is none."}}
	d.Duties = []daily.Duty{
		{When: "start of day", What: "water lines flushed", Where: "chair 1", State: "done", At: "2026-11-02T07:40:00Z", By: "A. Perera", Detail: "2 min, at least 2 min", Source: "HTM 01-05", Sure: "second-hand"},
		{When: "end of day", What: "steriliser drained and left open", Where: "S2", State: "missed"},
		{When: "weekly", What: "protein test", Where: "", State: "not due"},
	}
	d.source("export-S1.csv", "time,chamber\n1,2\n")
	d.source("export-S2.csv", "time,chamber\n3,4\n")
	return d
}
