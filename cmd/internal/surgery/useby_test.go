package surgery

import (
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Days and months of the calendar; the end of a month stays one (computed by hand).
func TestUseBy(t *testing.T) {
	for _, c := range []struct{ from, keeps, want string }{
		{"2026-11-02", "6 months", "2027-05-02"},
		{"2026-11-02", "30 days", "2026-12-02"},
		{"2026-11-02", "1 day", "2026-11-03"},
		{"2026-08-31", "6 months", "2027-02-28"},
		{"2027-08-31", "6 months", "2028-02-29"}, // a leap year
		{"2026-01-31", "1 month", "2026-02-28"},
		{"2026-01-30", "1 month", "2026-02-28"},
		{"2028-02-29", "12 months", "2029-02-28"},
		{"2026-10-31", "13 months", "2027-11-30"},
		{"2026-12-31", "120 months", "2036-12-31"},
		{"2026-03-28", "2 days", "2026-03-30"}, // a day of 23 h between, in London
	} {
		k, ok := readKeeping(c.keeps)
		got, err := k.after(c.from)
		if !ok || err != nil || got != c.want {
			t.Errorf("%s after %s is %s, want %s (%t, %v)", c.keeps, c.from, got, c.want, ok, err)
		}
	}
	for _, text := range []string{"", "6", "months", "0 days", "6 weeks", "-1 day", "1.5 months", "121 months", "3661 days", "6  months", "06 months"} {
		if k, ok := readKeeping(text); ok {
			t.Errorf("%q is %+v", text, k)
		}
	}
	if _, err := (keeping{days: 1}).after("2026-13-01"); err == nil {
		t.Error("no such day")
	}
}

// What is said of a load at the machine is checked and completed.
func TestLoadAtMachine(t *testing.T) {
	r, _ := staffed(t, func(c *Configuration) { c.UseBy = "6 months" })
	no, six, none := int64(0), int64(6), AtMachine{Steriliser: "S1", Number: "20"}
	yes := true
	try := func(change func(*AtMachine)) (Decided, error) {
		m := none
		change(&m)
		return r.ReleaseAtMachine(t.Context(), m, as("lea"), Proof{}, "", time.Time{})
	}
	for _, c := range []struct {
		change       func(*AtMachine)
		why, instead string
	}{
		{func(m *AtMachine) { m.Load.Contents = "crown of Anna Berg" }, "looks like a person's name", "--yes"},
		{func(m *AtMachine) { m.Load.Packed = "toni" }, `nobody has the id "toni"`, "holdproof people"},
		{func(m *AtMachine) { m.Load.Count = &no }, "0 packs cannot be", "1 to 500"},
		{func(m *AtMachine) { m.Load.UseBy = "next year" }, "is no use-by date", "6 months"},
		{func(m *AtMachine) { m.Load.UseBy = "2026-11-01" }, "lies before the cycle", "Correct"},
	} {
		_, err := try(c.change)
		refusedFor(t, err, c.why, c.instead)
	}
	kept := func(number string) entry.Release {
		t.Helper()
		rows, err := logbook.Find[entry.Release](t.Context(), r.book.View, logbook.Filter{Number: number})
		if err != nil || len(rows) != 1 {
			t.Fatalf("%d releases of %s, %v", len(rows), number, err)
		}
		return rows[0].Said
	}
	done, err := try(func(m *AtMachine) {
		m.Indicator, m.Dry, m.Sealed = "passed", &yes, &yes
		m.Load = entry.Load{Number: "L-20", Contents: "examination sets", Count: &six, Wrapping: "wrapped", Loaded: "tom", Packed: "tom"}
	})
	if l := kept("20").Load; err != nil || l.UseBy != "2027-05-02" || l.Packed != "tom" || done.Waits != "Its record has not come yet. If it does not conform, a recall opens by itself." {
		t.Errorf("%+v %+v %v", l, done, err)
	}
	done, err = try(func(m *AtMachine) {
		m.Number, m.Load.Wrapping, m.Load.Contents, m.Sure = "21", "neither", "for Anna Berg", true
	})
	if l := kept("21").Load; err != nil || l.UseBy != "" || done.Waits[len(done.Waits)-len("Not said: packs dry, packs sealed, indicator changed."):] != "Not said: packs dry, packs sealed, indicator changed." {
		t.Errorf("what is not packed keeps until %q; %q %v", l.UseBy, done.Waits, err)
	}
	if _, err = try(func(m *AtMachine) { m.Number, m.Load.UseBy = "22", "30 days" }); err != nil || kept("22").Load.UseBy != "2026-12-02" {
		t.Errorf("%+v %v", kept("22").Load, err)
	}
	if _, err = try(func(m *AtMachine) { m.Number, m.Rejected, m.Load.Wrapping = "23", true, "wrapped" }); err != nil || kept("23").Load.UseBy != "" {
		t.Errorf("a rejected load keeps: %+v %v", kept("23").Load, err)
	}
	sound(t, r)
}

// A load that was rejected may say how long its packs were to keep, as one that is released.
func TestUseByOfRejected(t *testing.T) {
	r, _ := staffed(t)
	m := AtMachine{Steriliser: "S1", Number: "8", Rejected: true, Load: entry.Load{UseBy: "6 months"}}
	if _, err := r.ReleaseAtMachine(t.Context(), m, as("tom"), Proof{}, "", time.Time{}); err != nil {
		t.Fatal(err)
	}
	a, err := r.Awaited(t.Context(), "S1/8")
	if err != nil || a == nil || a.Load.UseBy != "2027-05-02" || !a.Rejected {
		t.Errorf("%+v, %v", a, err)
	}
}
