package logbook

import (
	"encoding/json"
	"testing"

	"holdproof/report/logbook/entry"
)

func TestCharted(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 20)
	mustKeep(t, b, 9, 20) // failed
	again := func(number int, measured string) {
		t.Helper()
		d := verdictOf(number, entry.Sum(export(number, 20)))
		v := d.Body.(entry.Verdict)
		v.Measured = json.RawMessage(measured)
		d.Body = v
		mustWrite(t, b, d)
	}
	get := func(f ChartedFilter) []Charted {
		t.Helper()
		list, err := b.Charted(ctx, f)
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	if all := get(ChartedFilter{}); len(all) != 2 || all[0].SteamMean != nil || all[0].Cycle != keyOf(1) {
		t.Fatalf("figures that a verdict does not have: %+v", all)
	}
	again(1, `{"steam_mean_k":-0.25,"equilibration_s":null,"leak_kpa_per_min":0.05,"plateau_mean_c":135.3,"heating_s":402.5,"vacuum_s":17,"gauge":true}`)
	got := get(ChartedFilter{Outcome: "conforms"})
	if len(got) != 1 {
		t.Fatalf("%+v", got)
	}
	c := got[0]
	if c.Steriliser != "S1" || c.Kind != "load" || c.Programme != "134" || !c.Start.Equal(startOf(1)) || !c.Gauge || c.Equilibration != nil {
		t.Errorf("%+v", c)
	}
	for name, f := range map[string]struct {
		is   *float64
		want float64
	}{"steam": {c.SteamMean, -0.25}, "leak": {c.Leak, 0.05}, "plateau": {c.PlateauMean, 135.3}, "heating": {c.Heating, 402.5}, "vacuum": {c.Vacuum, 17}} {
		if f.is == nil || *f.is != f.want {
			t.Errorf("%s: %v, expected %v", name, f.is, f.want)
		}
	}
	if none := get(ChartedFilter{Steriliser: "S2"}); len(none) != 0 {
		t.Errorf("%+v", none)
	}
	if before := get(ChartedFilter{To: dayOf(1)}); len(before) != 1 {
		t.Errorf("up to a day: %+v", before)
	}
	again(1, `{"steam_mean_k":"warm","gauge":1,"vacuum_s":3}`) // the newest counts, and what is no figure is none
	if c := get(ChartedFilter{To: dayOf(1)})[0]; c.SteamMean != nil || c.Gauge || c.Leak != nil || c.Vacuum == nil {
		t.Errorf("%+v", c)
	}
	if a := mustAudit(t, b); !a.OK() {
		t.Errorf("%+v", a.Problems)
	}
}
