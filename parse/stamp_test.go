package parse

import (
	"fmt"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"
)

func TestTimesOfDay(t *testing.T) {
	for _, c := range []struct {
		text, want string // "" is no time of day
	}{
		{"08:14:03", "8h14m3s"}, {"8:14:03", "8h14m3s"}, {"8:14", "8h14m0s"}, {"08:14:03.25", "8h14m3.25s"}, {"08:14:03,5", "8h14m3.5s"},
		{"8:14:03 AM", "8h14m3s"}, {"8:14:03 PM", "20h14m3s"}, {"12:00:00 AM", "0s"}, {"12:30 pm", "12h30m0s"}, {"8:14 a.m.", "8h14m0s"}, {"081403", "8h14m3s"},
		{"24:00:00", ""}, {"08:60:00", ""}, {"08:14:60", ""}, {"13:00 PM", ""}, {"0:30 AM", ""}, {"8", ""}, {"", ""}, {"8:1:3", ""}, {"08:14:03:01", ""},
		{"-8:14:03", ""}, {"08-14-03", ""}, {"noon", ""}, {"08:14:03.", ""}, {"08:14.5", ""},
	} {
		ns, _, ok := clock(c.text)
		got := ""
		if ok {
			got = time.Duration(ns).String()
		}
		if got != c.want {
			t.Errorf("%q: %q, want %q", c.text, got, c.want)
		}
	}
}

func TestDates(t *testing.T) {
	for _, c := range []struct {
		text  string
		order order
		want  string // "" is no date
	}{
		{"2026-11-02", "", "2026-11-02"}, {"2026/11/02", "", "2026-11-02"}, {"20261102", "", "2026-11-02"}, {"2026.11.02", "", "2026-11-02"},
		{"02.11.2026", "", "2026-11-02"}, {"02.11.2026", mdy, "2026-11-02"}, {"2.1.26", "", "2026-01-02"},
		{"03/04/2026", dmy, "2026-04-03"}, {"03/04/2026", mdy, "2026-03-04"}, {"03-04-2026", dmy, "2026-04-03"}, {"26/04/03", ymd, "2026-04-03"},
		{"03/04/2026", "", ""}, {"03/04/2026", ymd, ""}, {"31.04.2026", "", ""}, {"29.02.2026", "", ""}, {"29.02.2028", "", "2028-02-29"},
		{"13/13/2026", dmy, ""}, {"2026-13-01", "", ""}, {"2026-11", "", ""}, {"2026-11-02-03", "", ""}, {"0/1/2026", dmy, ""}, {"1969-12-31", "", ""},
		{"", "", ""}, {"today", "", ""}, {"02.11.202", "", ""},
	} {
		d, ok := scanDate(c.text)
		got := ""
		if n, good := d.days(c.order); ok && good {
			got = time.Unix(n*86400, 0).UTC().Format("2006-01-02")
		}
		if got != c.want {
			t.Errorf("%q as %q: %q, want %q", c.text, c.order, got, c.want)
		}
	}
}

// Any text: no panic, and what is taken for a time of day lies within the day.
// What Go's time package prints is read again as it was.
func FuzzTimes(f *testing.F) {
	for _, s := range []string{"2026-03-11T08:14:03", "03/11/2026 8:14:03 AM", "11.03.2026 08:14", "00:00:01.5", "2026-03-11T08:14:03+01:00", "2026-03-11 08:14:03Z", "T", " ", "1:", "99:99:99", "75:10", "20260311T081403"} {
		f.Add(s, int64(1773216843))
	}
	f.Fuzz(func(t *testing.T, s string, unix int64) {
		if ns, _, ok := clock(s); ok && (ns < 0 || ns >= day) {
			t.Errorf("%q: %v", s, time.Duration(ns))
		}
		if ns, _, ok := colons(s); ok && ns < 0 {
			t.Errorf("%q: %v", s, time.Duration(ns))
		}
		r := timeReader{search: func() (order, *Error) { return dmy, nil }}
		if st, ok, bad := r.read("", strings.ToValidUTF8(s, "")); ok && bad == nil && st.noDate && (st.ns < 0 || st.ns >= day) {
			t.Errorf("%q: %v", s, st)
		}
		at := time.Unix(unix&0xffffffff, 0).UTC()
		for _, layout := range []string{"2006-01-02T15:04:05", "02.01.2006 15:04:05", "2006/01/02 3:04:05 PM", "2006-01-02T15:04:05Z07:00"} {
			st, ok, bad := r.read("", at.Format(layout))
			if !ok || bad != nil || st.ns != at.UnixNano() {
				t.Errorf("%s: %v %v %v", at.Format(layout), st.ns, ok, bad)
			}
		}
	})
}

var london = func() *time.Location {
	l, err := time.LoadLocation("Europe/London")
	if err != nil {
		panic(err)
	}
	return l
}()

// seconds of the readings of each cycle, starts, and what was remarked; a refused
// cycle shows its problem.
func timeline(t *testing.T, in string, o Options) string {
	t.Helper()
	cycles, bad := readAll("x.csv", in, o)
	var out []string
	for _, c := range cycles {
		line := c.Header.Start.Format(time.RFC3339)
		if c.Record != nil {
			line += fmt.Sprint(" ", c.Record.Readings().Seconds)
		}
		for _, r := range c.Header.Remarks {
			line += fmt.Sprintf(" (%d: %s)", r.Line, r.Text)
		}
		for _, p := range c.Problems {
			line += fmt.Sprintf(" [%d: %s]", p.Line, p.Found)
		}
		out = append(out, line)
	}
	if bad != nil {
		out = append(out, bad.Error())
	}
	return strings.Join(out, "\n")
}

func at(heading string, times ...string) string {
	return heading + "\n" + strings.Join(times, ",20\n") + ",20\n"
}

func TestTimelines(t *testing.T) {
	const h = "time,chamber [°C]"
	for _, c := range []struct{ why, in, want string }{
		{"one reading a second", at(h, "2026-03-11T08:14:03", "2026-03-11T08:14:04"), "2026-03-11T08:14:03Z [0 1]"},
		{"fractions", at(h, "2026-03-11T08:14:03.25", "2026-03-11T08:14:03.75", "2026-03-11T08:14:04.25"), "2026-03-11T08:14:03Z [0 0.5 1]"},
		{"minutes, three readings each: the last over the distance between the two before it", at(h, "2026-03-11 08:14", "2026-03-11 08:14", "2026-03-11 08:14", "2026-03-11 08:15", "2026-03-11 08:15", "2026-03-11 08:15", "2026-03-11 08:17", "2026-03-11 08:17"),
			"2026-03-11T08:14:00Z [0 20 40 60 100 140 180 210]"},
		{"two stamps: the last over the distance between them", at(h, "2026-03-11 08:14:00", "2026-03-11 08:14:01", "2026-03-11 08:14:01"), "2026-03-11T08:14:00Z [0 1 1.5]"},
		{"midnight, date before the heading", "Date: 2026-03-11\n" + at(h, "23:59:58", "23:59:59", "00:00:00", "00:00:01"), "2026-03-11T23:59:58Z [0 1 2 3]"},
		{"begun before midnight, read after", "Start: 2026-03-11 23:59:58\n" + at(h, "00:00:05", "00:00:06"), "2026-03-12T00:00:05Z [0 1]"},
		{"date and time in two columns over midnight", "date,time,chamber [°C]\n2026-03-11,23:59:59,20\n2026-03-12,00:00:00,20\n", "2026-03-11T23:59:59Z [0 1]"},
		{"a spreadsheet's date column", "date,time,chamber [°C]\n11.03.2026 00:00,08:14:03,20\n11.03.2026 00:00,08:14:04,20\n", "2026-03-11T08:14:03Z [0 1]"},
		{"12-hour clock over noon", at(h, "2026/03/11 11:59:59 AM", "2026/03/11 12:00:00 PM"), "2026-03-11T11:59:59Z [0 1]"},
		{"elapsed seconds", "Start: 2026-03-11 08:14:03\n" + at("time [s],chamber [°C]", "0", "0.5", "10"), "2026-03-11T08:14:03Z [0 0.5 10]"},
		{"a start with a stroke", "Start: 11.03.2026 / 08:14:03 Uhr\n" + at("time [s],chamber [°C]", "0", "1"), "2026-03-11T08:14:03Z [0 1]"},
		{"a start with PM before the date", "Start: 8:14:03 PM, 2026-03-11\n" + at("time [s],chamber [°C]", "0", "1"), "2026-03-11T20:14:03Z [0 1]"},
		{"a start with an offset", "Start: 2026-03-11T08:14:03+01:00\n" + at("time [s],chamber [°C]", "0", "1"), "2026-03-11T07:14:03Z [0 1]"},
		{"elapsed minutes as numbers", "Start: 2026-03-11 08:14:03\n" + at("time [min],chamber [°C]", "0", "0.5", "1"), "2026-03-11T08:14:03Z [0 30 60]"},
		{"elapsed mm:ss beyond an hour", "Start: 2026-03-11 08:14:03\n" + at("elapsed,chamber [°C]", "59:59", "60:00", "69:59"), "2026-03-11T09:14:02Z [0 1 600]"},
		{"elapsed without the word: numbers", "Date: 2026-03-11\nTime: 08:14:03\n" + at(h, "0", "1"), "2026-03-11T08:14:03Z [0 1]"},
		{"elapsed without the word: it does not begin at the start's time of day", "Start: 2026-03-11 08:14:03\n" + at(h, "00:00:00", "00:00:01"), "2026-03-11T08:14:03Z [0 1]"},
		{"time of day near the start is a time of day", "Start: 2026-03-11 00:03:00\n" + at(h, "00:03:05", "00:03:06"), "2026-03-11T00:03:05Z [0 1]"},
		{"offsets", at(h, "2026-03-11T08:14:03+01:00", "2026-03-11T08:14:04+01:00"), "2026-03-11T07:14:03Z [0 1]"},
		{"an offset among times without", at(h, "2026-03-11T08:14:03", "2026-03-11T08:14:04Z"), `2026-03-11T08:14:03Z [3: "2026-03-11T08:14:04Z"]`},
	} {
		if got := timeline(t, c.in, Options{}); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.why, got, c.want)
		}
	}
}

// Europe/London, tz database (read through Go's time/tzdata): summer time began on
// 29 March 2026 at 01:00 UTC and ends on 25 October 2026 at 01:00 UTC.
func TestChangesOfTheClock(t *testing.T) {
	const h = "time,chamber [°C]"
	for _, c := range []struct{ why, in, want string }{
		{"back", at(h, "2026-10-25T01:59:58", "2026-10-25T01:59:59", "2026-10-25T01:00:00", "2026-10-25T01:00:01"),
			"2026-10-25T01:59:58+01:00 [0 1 2 3] (4: the clock went back by one hour here; the hour was removed)"},
		{"forward", at(h, "2026-03-29T00:59:58", "2026-03-29T00:59:59", "2026-03-29T02:00:00", "2026-03-29T02:00:01"),
			"2026-03-29T00:59:58Z [0 1 2 3] (4: the clock went forward by one hour here; the hour was removed)"},
		{"back at another moment is no change of the clock", at(h, "2026-10-25T03:59:59", "2026-10-25T03:00:00"), `2026-10-25T03:59:59Z [3: "2026-10-25T03:00:00", 59 min 59 s before the reading above]`},
		{"half an hour back", at(h, "2026-10-25T01:59:59", "2026-10-25T01:30:00"), `2026-10-25T01:59:59+01:00 [3: "2026-10-25T01:30:00", 29 min 59 s before the reading above]`},
		{"a recorder that stays in winter time", at(h, "2026-03-29T00:59:59", "2026-03-29T01:00:00"), "2026-03-29T00:59:59Z [0 1]"},
		{"a time of day without a date in the column", "Date: 2026-10-25\n" + at(h, "01:59:59", "01:00:00"), "2026-10-25T01:59:59+01:00 [0 1] (4: the clock went back by one hour here; the hour was removed)"},
		{"an hour's pause elsewhere splits", at(h, "2026-03-28T00:59:59", "2026-03-28T02:00:00"), "2026-03-28T00:59:59Z [0]\n2026-03-28T02:00:00Z [0]"},
		{"a start in the hour that is skipped", at(h, "2026-03-29T01:30:00", "2026-03-29T01:30:01"), "2026-03-29T02:30:00+01:00 [0 1] (2: the clock of the zone skips this hour; the start may be wrong by one hour)"},
		{"the second cycle lies in the second of the two hours", at(h, "2026-10-25T01:20:00", "2026-10-25T01:20:01") + "2026-10-25T01:10:00,20\n", `2026-10-25T01:20:00+01:00 [4: "2026-10-25T01:10:00", 10 min 1 s before the reading above]`},
	} {
		if got := timeline(t, c.in, Options{Zone: london}); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.why, got, c.want)
		}
	}
	// Two blocks: the second must be in the second of the two hours.
	in := "Cycle: 1\n" + at(h, "2026-10-25T01:50:00", "2026-10-25T01:50:01") + "Cycle: 2\n" + at(h, "2026-10-25T01:40:00", "2026-10-25T01:40:01")
	want := "2026-10-25T01:50:00+01:00 [0 1]\n2026-10-25T01:40:00Z [0 1]"
	if got := timeline(t, in, Options{Zone: london}); got != want {
		t.Errorf("two blocks:\n%s\nwant\n%s", got, want)
	}
}

func TestDayAndMonth(t *testing.T) {
	const h = "time,chamber [°C]"
	early, late := "2026-04-03T08:00:00Z [0]", "2026-04-25T08:00:00Z [0]"
	for _, c := range []struct{ why, in, want string }{
		{"a later reading settles it", at(h, "03/04/2026 08:00:00", "25/04/2026 08:00:00"), early + "\n" + late},
		{"a later reading settles it the other way", at(h, "04/03/2026 08:00:00", "04/25/2026 08:00:00"), early + "\n" + late},
		{"one day in either order", at(h, "04/04/2026 08:00:00"), "2026-04-04T08:00:00Z [0]"},
		{"dots are day first", at(h, "03.04.2026 08:00:00"), early},
		{"the pattern in the heading", at("date/time (dd/mm/yyyy),chamber [°C]", "03/04/2026 08:00:00"), early},
		{"nothing settles it", at(h, "03/04/2026 08:00:00"), `x.csv:2:1: found "03/04/2026 08:00:00", expected a date of which day and month can be told apart`},
		{"both orders are there", at(h, "03/04/2026 08:00:00", "25/04/2026 08:00:00", "04/26/2026 08:00:00"), "x.csv:2:1: found dates with the day first and dates with the month first, expected one order of day and month in a file"},
	} {
		if got := timeline(t, c.in, Options{}); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.why, got, c.want)
		}
	}
	if got := timeline(t, at(h, "03/04/2026 08:00:00"), hinted1(Hints{DateOrder: "dmy"})); got != early {
		t.Errorf("configured: %s", got)
	}
}
