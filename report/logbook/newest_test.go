package logbook

import (
	"slices"
	"testing"

	"holdproof/report/logbook/entry"
)

// However the newest are looked for, they are those that looking at every cycle finds.
func TestNewestAreTheNewest(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	for n := range 40 {
		mustKeep(t, b, n, 5)
	}
	all, err := b.Cycles(ctx, CycleFilter{})
	if err != nil || len(all) != 40 {
		t.Fatalf("%d cycles, %v", len(all), err)
	}
	slices.SortFunc(all, func(a, b Cycle) int { return b.Start.Compare(a.Start.Time) })
	acted := map[string]bool{}
	for i, c := range all {
		if i%3 == 0 {
			mustWrite(t, b, entry.Draft{At: c.End.Time, By: "nurse", Proved: "passphrase", Body: entry.Decision{Cycle: c.Key, Day: c.Day, Act: "quarantine", Verdict: entry.Ref(c.VerdictEntry)}})
			acted[c.Key] = true
		}
	}
	days := []string{"", all[30].Day, all[20].Day, all[5].Day}
	tried := 0
	for _, from := range days {
		for _, to := range days {
			for _, outcome := range []string{"", "conforms", "failed"} {
				for _, kind := range []string{"", "load", "control test"} {
					for _, machine := range []string{"", "S1", "S9"} {
						for _, often := range []bool{false, true} {
							f := CycleFilter{From: from, To: to, Outcome: outcome, Kind: kind, Steriliser: machine, Newest: true, Limit: 7, often: often}
							if often {
								f.Person = "nurse"
							}
							var want []string
							for _, c := range all {
								if (from == "" || c.Day >= from) && (to == "" || c.Day <= to) && (outcome == "" || c.Outcome == outcome) && (kind == "" || c.Kind == kind) &&
									(machine == "" || c.Steriliser == machine) && (!often || acted[c.Key]) && len(want) < 7 {
									want = append(want, c.Key)
								}
							}
							tried += min(1, len(want))
							found(t, b, f, want)
						}
					}
				}
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d questions have an answer", tried)
	}
}

func found(t *testing.T, b *Book, f CycleFilter, want []string) {
	t.Helper()
	list, err := b.Cycles(ctx, f)
	var got []string
	for _, c := range list {
		got = append(got, c.Key)
	}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%+v:\n%v, %v, expected\n%v", f, got, err, want)
	}
}
