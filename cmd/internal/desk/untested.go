package desk

import (
	"context"
	"slices"

	"holdproof/cmd/internal/surgery"
)

// machineDay is a machine on a day.
type machineDay struct{ machine, day string }

// untested are sentences on the tests that the machines of these cycles lack on their
// days. They stand beside every button that releases a load.
func (d *Desk) untested(ctx context.Context, of ...machineDay) ([]string, error) {
	var out []string
	for i, m := range of {
		if m.machine == "" || slices.Contains(of[:i], m) {
			continue
		}
		text, err := d.records.TestsMissing(ctx, m.machine, m.day)
		if err != nil {
			return nil, err
		}
		if text != "" {
			out = append(out, text)
		}
	}
	return out, nil
}

// saysWhy refuses a release without the day's tests of which nobody says why.
func (d *Desk) saysWhy(ctx context.Context, do surgery.Deciding) error {
	if do.Do != surgery.DoRelease || do.Reason != "" {
		return nil
	}
	var of []machineDay
	for _, key := range do.Cycles {
		c, err := d.records.ShownCycle(ctx, key)
		if err != nil {
			return err
		}
		of = append(of, machineDay{c.Steriliser, c.Day})
	}
	lacks, err := d.untested(ctx, of...)
	if err != nil || len(lacks) == 0 {
		return err
	}
	return &surgery.Refusal{Why: lacks[0], Instead: "Go back, and give the reason why it is released without them."}
}

// machinesOf are those whose loads of the day can be released now.
func machinesOf(day surgery.DayShown) []machineDay {
	var out []machineDay
	for _, l := range day.Ready.Loads {
		i := slices.IndexFunc(day.Shown, func(s surgery.Shown) bool { return s.Key == l.Key })
		if i >= 0 {
			out = append(out, machineDay{day.Shown[i].Steriliser, day.Date})
		}
	}
	return out
}
