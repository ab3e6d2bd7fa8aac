package surgery

import (
	"errors"
	"strings"
	"testing"

	"holdproof/report/logbook/entry"
)

// The table a second time, as it would be told: which roles are enough for each act.
// o, r and l are operate, release and lead.
var asTold = []struct {
	act Act
	may string
}{
	{ActRelease, "rl"}, {ActReject, "orl"}, {ActSecond, "rl"}, {ActQuarantine, "orl"}, {ActReprocess, "orl"}, {ActUsed, "orl"},
	{ActRecall, "orl"}, {ActFollow, "orl"}, {ActClose, "l"}, {ActNote, "orl"}, {ActExplain, "rl"}, {ActOddTest, "l"}, {ActBackInUse, "l"},
	{ActCorrectOwn, "orl"}, {ActCorrect, "l"}, {ActPeople, "l"}, {ActPrepare, "orl"}, {ActReview, "l"}, {ActInspect, "l"}, {ActBag, "l"},
}

// Every act with every set of roles.
func TestRights(t *testing.T) {
	if len(asTold) != len(rights) {
		t.Fatalf("%d acts in the table, %d here", len(rights), len(asTold))
	}
	for _, row := range asTold {
		for set := range 1 << len(roles) {
			p := entry.Person{Person: "lea"}
			want := false
			for i, role := range roles {
				if set&(1<<i) == 0 {
					continue
				}
				p.May = append(p.May, entry.May{Act: role, Since: "2026-11-02"})
				want = want || strings.Contains(row.may, role[:1])
			}
			err := may(p, row.act, "2026-11-02")
			if (err == nil) != want {
				t.Errorf("%q with %v: %v, want %t", row.act, p.May, err, want)
			}
			var no *Refusal
			if err != nil && (!errors.As(err, &no) || !strings.HasPrefix(no.Why, "lea may not "+string(row.act)+": ") || no.Instead == "") {
				t.Errorf("%q is refused as %v", row.act, err)
			}
		}
	}
	if may(entry.Person{Person: "lea", May: []entry.May{{Act: "lead", Since: "2026-11-02"}}}, "burn the house down", "2026-11-02") == nil {
		t.Error("an act that is not in the table is allowed")
	}
}

// A role counts from its first day to its last, ends included, on every day asked for.
func TestRightsInTime(t *testing.T) {
	p := entry.Person{Person: "lea", May: []entry.May{
		{Act: "release", Since: "2026-11-02", Until: "2026-11-30"}, {Act: "release", Since: "2027-01-01"}}}
	for _, c := range []struct {
		days string
		want string // in the refusal, "" for none
	}{
		{"2026-11-01", "begins on 2 Nov 2026"}, {"2026-11-02", ""}, {"2026-11-30", ""}, {"2026-12-01", "ended on 30 Nov 2026"}, {"2027-01-01", ""},
		{"2026-11-30 2026-12-01", "ended on 30 Nov 2026"}, {"2026-11-02 2027-03-01", ""},
	} {
		err := may(p, ActRelease, strings.Fields(c.days)...)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.days, err, c.want)
		}
	}
}
