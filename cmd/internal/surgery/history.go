package surgery

import (
	"time"

	"holdproof/validate"
)

// history keeps of each cycle what is needed to lay it beside the others.
type history struct {
	list   []validate.Summary
	at     map[startOf]int // index into list
	failed map[string]bool // the last cycle of a steriliser that was decided
}

type startOf struct {
	steriliser string
	start      time.Time
}

// add takes a cycle, in the order of the exports, and tells whether the one before
// on its steriliser failed.
func (h *history) add(j Judged) (again bool) {
	if h.at == nil {
		h.at, h.failed = map[startOf]int{}, map[string]bool{}
	}
	name := j.Header.Steriliser
	again = h.failed[name]
	switch j.Outcome() {
	case Failed:
		h.failed[name] = true
	case Conforms, Borderline:
		h.failed[name] = false
	}
	s := j.summary()
	key := startOf{name, s.Start.UTC()}
	if i, there := h.at[key]; there && j.Record != nil && validate.Extends(j.Record, h.list[i].Readings) {
		h.list[i] = s // a later export of the same cycle, as long or longer
		return again
	}
	h.at[key] = len(h.list)
	h.list = append(h.list, s)
	return again
}

// across returns what shows only when the cycles are laid side by side.
func (h *history) across() []validate.Across {
	return validate.AcrossCycles(h.list, validate.Facts{})
}

func (j Judged) summary() validate.Summary {
	s := validate.Summary{ID: j.ID(), Steriliser: j.Header.Steriliser, Number: j.Header.Number,
		Start: j.Header.Start, End: j.Header.Start, Kind: j.Verdict.Kind, Outcome: j.Outcome(), Readings: j.readings}
	if j.Record != nil {
		seconds := j.Record.Readings().Seconds
		s.End = s.Start.Add(time.Duration(seconds[len(seconds)-1] * float64(time.Second)))
	}
	return s
}
