package surgery

import (
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// keeping is how long packs keep, by the calendar of the site.
type keeping struct{ days, months int }

// Bounds of how long packs keep (ours): ten years.
const (
	mostKeptDays   = 3660
	mostKeptMonths = 120
)

var keepingForm = regexp.MustCompile(`^([1-9][0-9]{0,3}) (day|month)s?$`)

// readKeeping reads a time such as 6 months or 30 days; false where it is none, or more
// than ten years.
func readKeeping(text string) (keeping, bool) {
	m := keepingForm.FindStringSubmatch(text)
	if m == nil {
		return keeping{}, false
	}
	n, _ := strconv.Atoi(m[1]) // four digits at most
	if m[2] == "day" {
		return keeping{days: n}, n <= mostKeptDays
	}
	return keeping{months: n}, n <= mostKeptMonths
}

// after is the last day on which packs of a cycle of that local date may be used. Days
// and months are those of the calendar; where a month has no such day it is its last:
// one month after 31 January is 28 or 29 February.
//
// Error: a date that is none.
func (k keeping) after(day string) (string, error) {
	from, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return "", fmt.Errorf("found the day %q, expected one such as 2026-11-02", day)
	}
	if k.months == 0 {
		return from.AddDate(0, 0, k.days).Format(time.DateOnly), nil
	}
	first := time.Date(from.Year(), from.Month()+time.Month(k.months), 1, 0, 0, 0, 0, time.UTC)
	last := first.AddDate(0, 1, -1).Day()
	return first.AddDate(0, 0, min(from.Day(), last)-1).Format(time.DateOnly), nil
}

// useByFaults refuses a time that packs cannot keep.
func (c Configuration) useByFaults(f *faults) {
	if _, ok := readKeeping(c.UseBy); c.UseBy != "" && !ok {
		f.add("use_by", fmt.Sprintf("%q", c.UseBy), "days or months such as 6 months, ten years at most", "Write a number and days or months, or take the line out.")
	}
}

// usableUntil is the use-by date of a load of a local date: the date that is given, or
// for a time such as "30 days" that long after, or for "" the time that the settings
// have. "" where none of them says.
//
// Error: a [*Refusal]: neither a date nor a time; a date before the cycle.
func (r *Records) usableUntil(given, day string) (string, error) {
	if given == "" {
		given = r.settings.Value.UseBy
	}
	if given == "" {
		return "", nil
	}
	if k, ok := readKeeping(given); ok {
		return k.after(day)
	}
	if _, err := time.Parse(time.DateOnly, given); err != nil {
		return "", &Refusal{Why: fmt.Sprintf("%q is no use-by date", given), Instead: "Write a day such as 2027-05-02, or how long the packs keep such as \"6 months\"."}
	}
	if given < day {
		return "", &Refusal{Why: fmt.Sprintf("the use-by date %s lies before the cycle of %s", dayWords(given), dayWords(day)), Instead: "Correct the date."}
	}
	return given, nil
}
