package parse

import (
	"math"
	"strings"
	"time"
)

// second is the unit of stamps: nanoseconds since 1970-01-01 on the recorder's
// clock, or since the start for elapsed times.
const (
	second = int64(time.Second)
	day    = 24 * 3600 * second
)

// order is how day, month and year follow each other.
type order string

const (
	orderUnknown order = ""
	dmy          order = "dmy"
	mdy          order = "mdy"
	ymd          order = "ymd"
)

// date is three numbers of a date as written, not yet put in order. The year of
// a settled one is in full.
type date struct {
	a, b, c int
	order   order // settled by the form, orderUnknown if two orders are possible
	short   bool  // a year of two digits
}

// scanDate reads the numbers of a date. The forms are 2026-11-02, 2026/11/02,
// 20261102, 02.11.2026 (dots are day first, always), 02/11/2026 and 02-11-2026,
// the last three also with a year of two digits; and with the name of the month, see
// [namedDate].
func scanDate(s string) (date, bool) {
	if d, n := namedDate(s); n > 0 {
		return d, n == len(s)
	}
	if len(s) == 8 && !strings.ContainsAny(s, "-/.") {
		y, m, d := digits(s[:4]), digits(s[4:6]), digits(s[6:])
		return date{y, m, d, ymd, false}, y >= 0 && m >= 0 && d >= 0
	}
	sep := strings.IndexAny(s, "-/.")
	if sep < 0 {
		return date{}, false
	}
	mark := s[sep]
	second := strings.IndexByte(s[sep+1:], mark)
	if second < 0 {
		return date{}, false
	}
	second += sep + 1
	x, y, z := s[:sep], s[sep+1:second], s[second+1:]
	d := date{a: digits(x), b: digits(y), c: digits(z)}
	if d.a < 0 || d.b < 0 || d.c < 0 || len(y) > 2 {
		return date{}, false
	}
	switch {
	case len(x) == 4 && len(z) <= 2:
		d.order = ymd
	case len(x) > 2 || (len(z) != 4 && len(z) != 2):
		return date{}, false
	case mark == '.':
		d.order, d.short = dmy, len(z) == 2
	default:
		d.short = len(z) == 2
	}
	return d, true
}

// digits reads one to four digits; -1 for anything else.
func digits(s string) int {
	if len(s) == 0 || len(s) > 4 {
		return -1
	}
	n := 0
	for i := 0; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return -1
		}
		n = n*10 + int(s[i]-'0')
	}
	return n
}

// evidence returns the order that only this date can have, orderUnknown if two
// orders are possible. With a year of two digits, 25/04/26 may have the year first.
func (d date) evidence() order {
	switch {
	case d.order != orderUnknown:
		return d.order
	case d.short && d.b <= 12 && d.c <= 31:
		return orderUnknown
	case d.a > 12 && d.b <= 12:
		return dmy
	case d.b > 12 && d.a <= 12:
		return mdy
	}
	return orderUnknown
}

// days returns the day of the date in days since 1970-01-01.
func (d date) days(o order) (int64, bool) {
	if d.order != orderUnknown {
		o = d.order
	}
	var y, m, dd int
	switch o {
	case dmy:
		y, m, dd = d.c, d.b, d.a
	case mdy:
		y, m, dd = d.c, d.a, d.b
	case ymd:
		y, m, dd = d.a, d.b, d.c
		if d.order == ymd {
			break
		}
		if !d.short {
			return 0, false
		}
	default:
		return 0, false
	}
	if d.short {
		y += 2000
	}
	if y < 1970 || y > 2199 || m < 1 || m > 12 || dd < 1 {
		return 0, false
	}
	t := time.Date(y, time.Month(m), dd, 0, 0, 0, 0, time.UTC)
	if t.Day() != dd {
		return 0, false
	}
	return t.Unix() / 86400, true
}

// clock reads a time of day: 8:14, 08:14:03, 08:14:03.25, 8:14:03 AM, 081403.
// It returns nanoseconds since midnight and the number of parts that were written.
func clock(s string) (ns int64, parts int, ok bool) {
	if len(s) == 8 && s[2] == ':' && s[5] == ':' {
		h, m, sec := two(s[0:2]), two(s[3:5]), two(s[6:8])
		if uint(h) < 24 && uint(m) < 60 && uint(sec) < 60 {
			return int64(h*3600+m*60+sec) * second, 3, true
		}
	}
	s, half := half(s)
	ns, parts, ok = colons(s)
	if !ok && len(s) == 6 && half == 0 {
		if n := [3]int{two(s[:2]), two(s[2:4]), two(s[4:])}; n[0] >= 0 && n[1] >= 0 && n[2] >= 0 && n[1] < 60 && n[2] < 60 {
			ns, parts, ok = int64(n[0]*3600+n[1]*60+n[2])*second, 3, true
		}
	}
	if parts == 2 {
		ns *= 60 // what colons took for minutes and seconds
		if ns%(60*second) != 0 {
			return 0, 0, false
		}
	}
	if half != 0 {
		hour := ns / (3600 * second)
		if hour < 1 || hour > 12 {
			return 0, 0, false
		}
		ns -= hour * 3600 * second
		ns += (hour%12 + int64(half-1)*12) * 3600 * second
	}
	return ns, parts, ok && ns < day
}

func two(s string) int {
	if s[0] < '0' || s[0] > '9' || s[1] < '0' || s[1] > '9' {
		return -1
	}
	return int(s[0]-'0')*10 + int(s[1]-'0')
}

// half takes AM or PM off a time of day: 0 if there is none, 1 for AM, 2 for PM.
func half(s string) (string, int) {
	if len(s) < 3 {
		return s, 0
	}
	if c := s[len(s)-1]; c != 'm' && c != 'M' && c != '.' {
		return s, 0
	}
	low := strings.ToLower(s)
	for _, h := range []struct {
		mark string
		half int
	}{{"a.m.", 1}, {"p.m.", 2}, {"am", 1}, {"pm", 2}} {
		if strings.HasSuffix(low, h.mark) {
			return strings.TrimRight(s[:len(s)-len(h.mark)], " "), h.half
		}
	}
	return s, 0
}

// colons reads mm:ss or hh:mm:ss with a fraction of the last part. The first part
// may have up to four digits: an elapsed time does not stop at an hour.
func colons(s string) (ns int64, parts int, ok bool) {
	var fraction int64
	if i := strings.IndexAny(s, ".,"); i >= 0 {
		if fraction, ok = fractionOf(s[i+1:]); !ok {
			return 0, 0, false
		}
		s = s[:i]
	}
	var n [3]int
	for {
		part, rest, more := strings.Cut(s, ":")
		if parts == 3 || (parts > 0 && len(part) != 2) {
			return 0, 0, false
		}
		if n[parts] = digits(part); n[parts] < 0 || (parts > 0 && n[parts] > 59) {
			return 0, 0, false
		}
		parts++
		if !more {
			break
		}
		s = rest
	}
	switch parts {
	case 2:
		return int64(n[0]*60+n[1])*second + fraction, 2, true
	case 3:
		return int64(n[0]*3600+n[1]*60+n[2])*second + fraction, 3, true
	}
	return 0, 0, false
}

// fractionOf reads the digits behind the decimal sign of a second.
func fractionOf(s string) (int64, bool) {
	if len(s) == 0 || len(s) > 9 {
		return 0, false
	}
	n, unit := int64(0), second
	for i := 0; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = n*10 + int64(s[i]-'0')
		unit /= 10
	}
	return n * unit, true
}

// offset takes Z or +01:00 off the end of a time of day, in seconds east.
func offset(s string) (rest string, east int, has bool) {
	if n := len(s); n > 1 && (s[n-1] == 'Z' || s[n-1] == 'z') {
		return s[:n-1], 0, true
	}
	i := strings.LastIndexAny(s, "+-")
	if i < 4 {
		return s, 0, false
	}
	zone := strings.Replace(s[i+1:], ":", "", 1)
	if len(zone) == 2 {
		zone += "00"
	}
	if len(zone) != 4 || two(zone[:2]) < 0 || two(zone[2:]) < 0 || two(zone[:2]) > 14 || two(zone[2:]) > 59 {
		return s, 0, false
	}
	east = two(zone[:2])*3600 + two(zone[2:])*60
	if s[i] == '-' {
		east = -east
	}
	return strings.TrimRight(s[:i], " "), east, true
}

// seconds reads an elapsed time as a number in the given unit.
func secondsOf(s string, dec byte, unit string) (int64, bool) {
	v, ok := number(s, dec)
	if !ok && dec == 0 {
		if v, ok = number(s, '.'); !ok {
			v, ok = number(s, ',')
		}
	}
	scale := map[string]float64{"": 1, "s": 1, "min": 60, "h": 3600, "ms": 0.001}[unit]
	if !ok || scale == 0 || math.Abs(v*scale) > 1e7 || v < 0 {
		return 0, false
	}
	if unit == "ms" {
		return int64(math.Round(v * 1e6)), true
	}
	return int64(math.Round(v * scale * 1e9)), true
}
