package surgery

import (
	"errors"
	"fmt"

	"holdproof/report/logbook"
)

// toRelease counts the loads of a day that conform and were not released.
type toRelease struct {
	free, held int // held: something else has to be settled first

	machines map[string][]logbook.Cycle // all cycles of the day, by steriliser
}

// words says how many there are and whether they can go.
func (n toRelease) words() string {
	loads := func(n int, one, more string) string {
		if n == 1 {
			return "1 load " + one
		}
		return fmt.Sprintf("%d loads %s", n, more)
	}
	const first = "settle first what is said above of its test or number."
	switch {
	case n.held == 0:
		return loads(n.free, "conforms and waits for release.", "conform and wait for release.")
	case n.free == 0:
		return loads(n.held, "conforms and cannot be released yet: ", "conform and cannot be released yet: ") + first
	}
	return loads(n.free, "conforms and waits for release. ", "conform and wait for release. ") +
		loads(n.held, "more cannot be released yet: ", "more cannot be released yet: ") + first
}

// conforming counts a load that conforms. What keeps it is what [Records.Conforming]
// would say, asked in the order in which it costs least.
func (w *waits) conforming(c logbook.Cycle, days map[string]*toRelease) error {
	if !c.Configured {
		return nil
	}
	n := days[c.Day]
	if n == nil {
		n = &toRelease{machines: map[string][]logbook.Cycle{}}
		days[c.Day] = n
	}
	day, looked := n.machines[c.Steriliser]
	if !looked {
		var err error
		if day, err = w.v.Cycles(w.ctx, logbook.CycleFilter{Steriliser: c.Steriliser, From: c.Day, To: c.Day}); err != nil {
			return err
		}
		n.machines[c.Steriliser] = day
	}
	err := w.r.testsPassed(w.ctx, w.v, c, day)
	var no *Refusal
	switch {
	case w.stopped[c.Key], errors.As(err, &no):
		n.held++
		return nil
	}
	n.free++
	return err
}
