package parse

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// reckoning is what the times under a heading count from.
type reckoning int

const (
	unset   reckoning = iota
	local             // date and time of day on the site's clock
	fixed             // date, time of day and offset
	clocked           // a time of day; the date stands before the heading
	elapsed           // time since a start that stands before the heading
)

var reckoningNames = [...]string{"", "date and time of day in the zone of the site", "date, time of day and offset from UTC",
	"time of day, with the date before the heading", "time since the start, which stands before the heading"}

// timing follows the recorder's clock under one heading.
type timing struct {
	how   reckoning
	base  int64     // clocked: day of the last reading; elapsed: the start
	raw   int64     // last stamp as written
	shift int64     // hours that changes of the clock removed
	start time.Time // instant of the first stamp of the cycle, also of the block before
	from  int64     // that stamp
	have  bool      // raw, shift, start and from are of a reading before
	step  int64     // between the last two different stamps
}

// at returns the instant of the last stamp.
func (t *timing) at() time.Time {
	if !t.have {
		return t.start
	}
	return t.start.Add(time.Duration(t.raw - t.shift - t.from))
}

// readTime reads the time of the row. It returns false if there is none.
func (r *Reader) readTime() (stamp, bool, *Error) {
	l := r.layout
	if l.time < 0 {
		st, ok := r.elapsedCell(l.elapsed)
		return st, ok, nil
	}
	if l.time >= r.row.len() {
		return stamp{}, false, nil
	}
	if r.timing.how == elapsed {
		st, ok := r.elapsedCell(l.time)
		return st, ok, nil
	}
	dateCell := ""
	if l.date >= 0 {
		if l.date >= r.row.len() {
			return stamp{}, false, nil
		}
		if dateCell = trim(r.row.cell(l.date)); dateCell == "" {
			return stamp{}, false, nil
		}
	}
	st, ok, err := r.times.read(dateCell, trim(r.row.cell(l.time)))
	if err != nil {
		at := l.time
		if l.date >= 0 {
			at = l.date
		}
		return st, true, err.at(0, at+1, quote(trim(r.row.cell(at))))
	}
	if !ok && l.date < 0 && (r.timing.how == unset || r.timing.how == clocked) {
		if st, ok = r.elapsedCell(l.time); ok && r.timing.how == clocked {
			return stamp{}, false, nil
		}
	}
	return st, ok, nil
}

// elapsedCell reads a time since the start: mm:ss, hh:mm:ss, hh:mm, or a number.
func (r *Reader) elapsedCell(i int) (stamp, bool) {
	if i >= r.row.len() {
		return stamp{}, false
	}
	text, pattern := trim(r.row.cell(i)), r.layout.columns[i].pattern
	if strings.IndexByte(text, ':') >= 0 {
		ns, parts, ok := colons(text)
		if parts == 2 && pattern == "hh:mm" {
			ns *= 60
		}
		return stamp{ns: ns, noDate: true, since: true}, ok
	}
	if strings.Contains(pattern, ":") {
		pattern = ""
	}
	ns, ok := secondsOf(text, r.dec, pattern)
	return stamp{ns: ns, noDate: true, since: true}, ok
}

// reckon settles at the first reading under a heading what times count from.
func (r *Reader) reckon(st stamp, line int) (stamp, *Error) {
	t, b := &r.timing, &r.block
	at := max(r.layout.time, r.layout.elapsed)
	if r.layout.time >= 0 {
		at = r.layout.time
	}
	missing := func(want, remedy string) *Error {
		return &Error{File: r.file, Line: line, Column: at + 1, Found: quote(trim(r.row.cell(at))) + ", a time without a date", Want: want, Remedy: remedy}
	}
	if st.noDate && !st.since {
		if other, ok := r.elapsedCell(at); ok && r.runsFromStart(st.ns, other.ns) {
			st = other
		}
	}
	switch {
	case st.since && (!b.hasDate || !b.hasClock):
		if b.dateErr != nil {
			return st, b.dateErr
		}
		return st, missing("the start of the cycle before the headings, such as Start: 2026-11-02 08:14:03", "Export the cycle with date and time of its start.")
	case st.since:
		t.how, t.base = elapsed, b.date*day+b.clock
	case st.noDate && !b.hasDate:
		if b.dateErr != nil {
			return st, b.dateErr
		}
		return st, missing("a date beside the time or before the headings, such as Date: 2026-11-02", "Export the cycle with its date.")
	case st.noDate && !b.hasClock && st.ns == 0:
		return st, missing("a time of day, or the start of the cycle before the headings", "Export the cycle with date and time of its start: 00:00:00 may be midnight or the start.")
	case st.noDate:
		t.how, t.base = clocked, b.date
		if b.hasClock && st.ns < b.clock-day/2 {
			t.base++ // the cycle began before midnight, its readings after
		}
	case st.fixed:
		t.how = fixed
	default:
		t.how = local
	}
	r.understood.Times = reckoningNames[t.how]
	return st, nil
}

// runsFromStart tells whether a time without a date counts from the start rather
// than from midnight: it does if the start before the heading says so.
func (r *Reader) runsFromStart(clock, since int64) bool {
	b := &r.block
	if !b.hasClock {
		return false
	}
	near := clock - b.clock
	if near < 0 {
		near += day
	}
	return near > pause && since <= pause
}

// written returns the stamp on one axis for the whole block: nanoseconds since
// 1970 on the recorder's clock, midnight crossed.
func (t *timing) written(st stamp) int64 {
	switch t.how {
	case clocked:
		ns := t.base*day + st.ns
		if t.have && ns < t.raw-day/2 {
			ns += day
		}
		return ns
	case elapsed:
		return t.base + st.ns
	}
	return st.ns
}

// instant returns the moment that a local time names first, or the second of two
// if the file has passed the first.
func (r *Reader) instant(ns int64, how reckoning) (at time.Time, skipped bool) {
	if how == fixed || (how == elapsed && r.block.fixed) {
		if how == elapsed {
			ns += r.block.zone
		}
		return time.Unix(0, ns).In(r.zone()), false
	}
	u := time.Unix(0, ns).UTC()
	at = time.Date(u.Year(), u.Month(), u.Day(), u.Hour(), u.Minute(), u.Second(), u.Nanosecond(), r.zone())
	if civil(at) != ns {
		return at, true
	}
	first, second := at, at
	for _, d := range []time.Duration{-time.Hour, time.Hour} {
		if other := at.Add(d); civil(other) == ns {
			if d < 0 {
				first = other
			} else {
				second = other
			}
		}
	}
	if last := r.timing.at(); !last.Before(first) && last.Before(first.Add(2*time.Hour)) {
		return second, false
	}
	return first, false
}

// civil returns what a clock of the zone shows, on the axis of stamps.
func civil(t time.Time) int64 {
	_, east := t.Zone()
	return t.UnixNano() + int64(east)*second
}

// advance places a stamp after the one before. It removes a step of exactly one
// hour where the zone changes its clock, and says so in hour.
func (r *Reader) advance(ns int64) (at int64, hour int64) {
	t := &r.timing
	at = ns - t.shift
	step := at - (t.raw - t.shift)
	if t.how == fixed || t.how == elapsed || (step >= 0 && step < 3600*second) {
		return at, 0
	}
	last := t.at()
	for _, hour := range []int64{-3600 * second, 3600 * second} {
		left := step - hour
		if left < 0 || left > pause {
			continue
		}
		next := last.Add(time.Duration(left))
		_, before := last.Zone()
		_, after := next.Zone()
		if int64(after-before)*second == hour && civil(next) == ns {
			return at - hour, hour
		}
	}
	return at, 0
}

// long writes a length of time as people do: 21 min 39 s.
func long(d time.Duration) string {
	seconds := strconv.FormatFloat((d%time.Minute).Seconds(), 'f', -1, 64) + " s"
	if d < time.Minute {
		return seconds
	}
	return fmt.Sprintf("%d min %s", d/time.Minute, seconds)
}

// stepBack says what is wrong with a reading that is older than the one before.
func (r *Reader) stepBack(line int, before, now int64) *Error {
	at := max(r.layout.time, 0)
	if r.layout.time < 0 {
		at = r.layout.elapsed
	}
	return &Error{File: r.file, Line: line, Column: at + 1, Found: fmt.Sprintf("%s, %s before the reading above", quote(trim(r.row.cell(at))), long(time.Duration(before-now))),
		Want: "a time after the reading above", Remedy: "Export the cycle again with the oldest reading first. If the recorder's clock was set during the cycle, run the load again."}
}
