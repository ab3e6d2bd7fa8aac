package logbook

import (
	"reflect"
	"testing"

	"holdproof/report/logbook/entry"
)

// The sources of the cycles of some days are those of each of them.
func TestSourcesOfDays(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 20)
	mustKeep(t, b, 9, 20)
	twice := verdictOf(1, entry.Sum(export(1, 20))) // and in another file of those kept
	v := twice.Body.(entry.Verdict)
	v.Sources = append(v.Sources, entry.Source{SHA256: entry.Sum(export(9, 20)), File: "z.csv", FirstLine: 3, LastLine: 4})
	twice.Body = v
	mustWrite(t, b, twice)
	all, err := b.Cycles(ctx, CycleFilter{})
	if err != nil || len(all) != 2 {
		t.Fatalf("%d cycles, %v", len(all), err)
	}
	for _, days := range [][2]string{{"2000-01-01", "2099-12-31"}, {dayOf(1), dayOf(1)}} {
		got, err := b.SourcesOf(ctx, days[0], days[1])
		if err != nil {
			t.Fatal(err)
		}
		of := 0
		for _, c := range all {
			want, err := b.Sources(ctx, c.Key)
			if err != nil || c.Key == keyOf(1) && len(want) != 2 {
				t.Fatalf("%v, %v", want, err)
			}
			if c.Day < days[0] || c.Day > days[1] {
				continue
			}
			of++
			if !reflect.DeepEqual(got[c.Key], want) {
				t.Errorf("%s: %v, expected %v", c.Key, got[c.Key], want)
			}
		}
		if of == 0 || len(got) != of {
			t.Errorf("from %s to %s: %d of %d", days[0], days[1], len(got), of)
		}
	}
	if got, err := b.SourcesOf(ctx, "2000-01-01", "2000-12-31"); err != nil || len(got) != 0 {
		t.Errorf("%v, %v", got, err)
	}
}
