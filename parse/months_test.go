package parse

import (
	"strings"
	"testing"

	"holdproof/parse/cycle"
)

// Dates with the month by its name, in all six languages; what is none stays none.
func TestNamedDates(t *testing.T) {
	for _, c := range []struct{ in, date, clock string }{
		{"2 Nov 2026 08:14:03", "2026-11-02", "08:14:03"},
		{"02-Nov-2026 08:14:03", "2026-11-02", "08:14:03"},
		{"02-NOV-26 08:14:03", "2026-11-02", "08:14:03"},
		{"02-Oct-2026 08:14:03", "2026-10-02", "08:14:03"},
		{"2. März 2026 08:14:03", "2026-03-02", "08:14:03"},
		{"2. Dez. 2026, 08:14:03", "2026-12-02", "08:14:03"},
		{"14 août 2026 08:14:03", "2026-08-14", "08:14:03"},
		{"14 févr. 2026 08:14:03", "2026-02-14", "08:14:03"},
		{"2 enero 2026 08:14:03", "2026-01-02", "08:14:03"},
		{"2 gen 2026 08:14:03", "2026-01-02", "08:14:03"},
		{"2 października 2026 08:14:03", "2026-10-02", "08:14:03"},
		{"2 PAŹ 2026 08:14:03", "2026-10-02", "08:14:03"},
		{"2026-Nov-02 08:14:03", "2026-11-02", "08:14:03"},
		{"2 November 2026", "2026-11-02", ""},
	} {
		day, clock := splitStamp(c.in)
		d, ok := scanDate(day)
		n, real := d.days(orderUnknown)
		want, _ := scanDate(c.date)
		m, _ := want.days(orderUnknown)
		if !ok || !real || n != m || clock != c.clock {
			t.Errorf("%q: day %d (%v, %v), clock %q; expected day %d, clock %q", c.in, n, ok, real, clock, m, c.clock)
		}
	}
	for _, in := range []string{"2 Nox 2026", "2 Nov", "Nov 2 2026", "2 Nov 202", "31 Nov 2026", "2Nov2026", "2 Nov 20261", "22026 Nov 2", "2 Bar 2026"} {
		d, ok := scanDate(in)
		if _, real := d.days(orderUnknown); ok && real {
			t.Errorf("%q was read as a date", in)
		}
	}
}

func TestMonthsTable(t *testing.T) {
	count := [13]int{}
	for _, m := range months() {
		count[m]++
	}
	for m := 1; m <= 12; m++ {
		if count[m] < 6 {
			t.Errorf("month %d has %d names", m, count[m])
		}
	}
	for _, bad := range []string{"en,13,x", "en,1,jan\nde,2,Jan", "en,1,", ",1,jan"} {
		if _, err := readMonths([]byte("language,month,name\n" + bad + "\n")); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}

// oneRecord reads a file of one cycle.
func oneRecord(t *testing.T, text string) *cycle.Record {
	t.Helper()
	r, err := Open("a.csv", strings.NewReader(text), Options{})
	if err != nil {
		t.Fatalf("%s\n%v", text, err)
	}
	c, err := r.Next()
	if err != nil || c.Record == nil {
		t.Fatalf("%s\n%v %v", text, c.Problems, err)
	}
	return c.Record
}

// A whole file whose dates name their months reads as the same file in figures.
func TestFileWithNamedMonths(t *testing.T) {
	const head = "Time;Chamber [°C];Pressure [kPa abs]\n"
	figures := head + "02.11.2026 23:59:58;20.1;101.0\n02.11.2026 23:59:59;20.2;101.1\n03.11.2026 00:00:00;20.3;101.2\n"
	for _, named := range []string{
		strings.NewReplacer("02.11.2026", "2 Nov 2026", "03.11.2026", "3 Nov 2026").Replace(figures),
		strings.NewReplacer("02.11.2026", "02-nov-26", "03.11.2026", "03-nov-26").Replace(figures),
		strings.NewReplacer("02.11.2026", "2. listopada 2026", "03.11.2026", "3. listopada 2026").Replace(figures),
		"Start: 2 Nov 2026 23:59:58\n" + strings.NewReplacer("02.11.2026 23:59:58", "0", "02.11.2026 23:59:59", "1", "03.11.2026 00:00:00", "2").Replace(figures),
		"Date: Mon 2 Nov 2026\n" + strings.NewReplacer("02.11.2026 ", "", "03.11.2026 ", "").Replace(figures),
		strings.NewReplacer("Time", "Date;Time", "02.11.2026 ", "2 novembre 2026;", "03.11.2026 ", "3 novembre 2026;").Replace(figures),
	} {
		want, got := oneRecord(t, figures), oneRecord(t, named)
		if got == nil || !got.Header().Start.Equal(want.Header().Start) || got.Len() != 3 || got.Readings().Seconds[2] != 2 {
			t.Errorf("%s\ncame to %+v", named, got)
		}
	}
}
