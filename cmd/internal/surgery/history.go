package surgery

import (
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// history keeps of each cycle what is needed to lay it beside the others.
type history struct {
	list []validate.Summary
	at   map[startOf]int    // index into list
	last map[string]decided // the last cycle of a steriliser that was decided
	// reread finds a record again that was let go: the shorter of two exports of a
	// cycle can only be told by the readings of the longer. It may return nil.
	reread func(file string, start time.Time) *cycle.Record
	files  []string // where list was read
}

type startOf struct {
	steriliser string
	start      time.Time
}

type decided struct {
	start         time.Time
	again, failed bool
}

// add takes a cycle, in the order of the exports, and tells whether the one before
// on its steriliser failed. Another export of the same cycle is not another failure.
func (h *history) add(j Judged) (again bool) {
	if h.at == nil {
		h.at, h.last = map[startOf]int{}, map[string]decided{}
	}
	s := j.summary()
	before := h.last[s.Steriliser]
	again = before.failed
	if before.start.Equal(s.Start) {
		again = before.again
	}
	switch s.Outcome {
	case Failed:
		h.last[s.Steriliser] = decided{s.Start, again, true}
	case Conforms, Borderline:
		h.last[s.Steriliser] = decided{start: s.Start}
	}
	h.keep(startOf{s.Steriliser, s.Start.UTC()}, s, j)
	return again
}

// keep adds a summary; of two exports of one cycle that of the longer record stays.
func (h *history) keep(key startOf, s validate.Summary, j Judged) {
	if i, there := h.at[key]; there && j.Record != nil {
		kept := h.list[i].Readings
		if validate.Extends(j.Record, kept) {
			h.list[i], h.files[i] = s, j.File
			return
		}
		if kept.N > s.Readings.N && h.reread != nil {
			if r := h.reread(h.files[i], s.Start); r != nil && validate.Extends(r, s.Readings) {
				return
			}
		}
	}
	h.at[key] = len(h.list)
	h.list, h.files = append(h.list, s), append(h.files, j.File)
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
