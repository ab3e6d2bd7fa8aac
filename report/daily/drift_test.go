package daily

import (
	"bytes"
	"strings"
	"testing"
)

// withDrift is the invented day with a leak rate that rises.
func withDrift(t testing.TB) Day {
	t.Helper()
	d := invented(t)
	number := func(v float64) *float64 { return &v }
	d.Drift = []Drift{{Name: "S1 leak tests", State: "moves", Says: "the leak rate rose by 0.03 kPa/min", ToDo: "Tell the engineer.", What: "Leak rate", Quantity: "leak_kpa_per_min",
		Unit: "kPa/min", Digits: 3, Pace: "0.001", Since: "2026-07-13T07:32:34+01:00", Centre: number(0.025), Low: number(0.01), High: number(0.04), Limits: []float64{0.129},
		Marks: []DriftMark{{"2026-07-06T07:31:34+01:00", "2026-07-06T07:31:34+01:00", 0.024, 0.024, 0.024, 1}, {"2026-07-13T07:32:34+01:00", "2026-11-02T07:34:10Z", 0.03, 0.05, 0.04, 2}}},
		{Name: "S1 134", State: "still", Says: "steady over 33 cycles"}}
	return d
}

func TestDriftInJSON(t *testing.T) {
	d := withDrift(t)
	b, err := d.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	again, err := Parse(b)
	if err != nil || len(again.Drift) != 2 || !again.Drift[0].Moves() || again.Drift[1].Moves() || again.Drift[0].Marks[1].Cycles != 2 {
		t.Fatalf("%+v, %v", again.Drift, err)
	}
	if !bytes.Contains(b, []byte(`"marks": []`)) {
		t.Error("an empty list is not written as one")
	}
	d.Drift = nil
	if b, err = d.Marshal(); err != nil || bytes.Contains(b, []byte(`"drift"`)) {
		t.Errorf("a day without drift names it, %v", err)
	}
}

func TestDriftRefused(t *testing.T) {
	old := withDrift(t)
	old.Version, old.Duties, old.Settings.Changes = first, nil, nil
	if err := old.Check(); err == nil || !strings.Contains(err.Error(), "only version 2 can say") {
		t.Errorf("a first version with drift: %v", err)
	}
	for say, spoil := range map[string]func(*Drift){
		`has the state ""`:        func(x *Drift) { x.State = "" },
		"the change of S1":        func(x *Drift) { x.Since = "" },
		"a mark of S1 leak tests": func(x *Drift) { x.Marks[0].From = "yesterday" },
		"is of 0 cycles":          func(x *Drift) { x.Marks[1].Cycles = 0 },
		"mean 0.9":                func(x *Drift) { x.Marks[1].Mean = 0.9 },
		"is of 1 cycles from 2026-12": func(x *Drift) {
			x.Marks[0].From = "2026-12-06T07:31:34Z"
		},
		"is of 2 cycles from 2026-07-01": func(x *Drift) { x.Marks[1].From = "2026-07-01T07:32:34+01:00" },
	} {
		d := withDrift(t)
		spoil(&d.Drift[0])
		if err := d.Check(); err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("%s: %v", say, err)
		}
	}
}
