package validate

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// streak is a stretch of cycles of one steriliser whose numbers count up: of one prefix,
// between two resets that were entered, or from a drop of the numbers on.
type streak struct {
	epoch   int        // how many resets were entered before it
	dropped *numbered  // the last cycle before an unexplained drop; nil if there was none
	cycles  []numbered // in order of start

	lowest, highest int64
	seen            map[int64]bool
}

// streaksOf cuts the cycles of a steriliser into streaks. A number below the highest so far
// is a drop, unless it fills a hole or the numbers go on above it afterwards: then the
// records are out of order or a number came twice, and no counter was reset.
func streaksOf(cycles []Summary, resets []Reset) []streak {
	var out []streak
	at := map[string]int{} // the current streak of a prefix
	var all []numbered
	for _, c := range cycles {
		if n, ok := numberOf(c); ok {
			all = append(all, n)
		}
	}
	for i, c := range all {
		e := epoch(c.Summary, resets)
		j, known := at[c.prefix]
		fresh := streak{epoch: e}
		switch {
		case !known || out[j].epoch != e:
		case out[j].drops(c, next(all[i+1:], c.prefix)):
			fresh.dropped = &out[j].cycles[len(out[j].cycles)-1]
		default:
			out[j].add(c)
			continue
		}
		at[c.prefix] = len(out)
		fresh.add(c)
		out = append(out, fresh)
	}
	return out
}

func epoch(c Summary, resets []Reset) int {
	n := 0
	for _, r := range resets {
		if r.Steriliser == c.Steriliser && !r.At.After(c.Start) {
			n++
		}
	}
	return n
}

func next(rest []numbered, prefix string) *numbered {
	for i := range rest {
		if rest[i].prefix == prefix {
			return &rest[i]
		}
	}
	return nil
}

// drops tells whether c, with after behind it, begins a new streak.
func (r streak) drops(c numbered, after *numbered) bool {
	switch {
	case c.n >= r.highest, r.lowest < c.n && !r.seen[c.n]:
		return false
	case after != nil:
		return after.n < r.highest
	}
	return !r.seen[c.n]
}

func (r *streak) add(c numbered) {
	if r.seen == nil {
		r.lowest, r.highest, r.seen = c.n, c.n, map[int64]bool{}
	}
	r.lowest, r.highest, r.seen[c.n] = min(r.lowest, c.n), max(r.highest, c.n), true
	r.cycles = append(r.cycles, c)
}

func numberGaps(s side) []Across {
	var out []Across
	for _, r := range s.streaks {
		byNumber := slices.SortedStableFunc(slices.Values(r.cycles), func(a, b numbered) int { return cmp.Compare(a.n, b.n) })
		for i := 1; i < len(byNumber); i++ {
			a, b := byNumber[i-1], byNumber[i]
			if b.n-a.n < 2 {
				continue
			}
			missing := fmt.Sprintf("cycle %s%d is", a.prefix, a.n+1)
			if b.n-a.n > 2 {
				missing = fmt.Sprintf("cycles %s%d to %s%d are", a.prefix, a.n+1, a.prefix, b.n-1)
			}
			out = append(out, Across{Cycles: ids(a.Summary, b.Summary),
				Message: fmt.Sprintf("%s missing on %s, between %s (%s) and %s (%s)", missing, s.called(), a.Number, when(a.Start), b.Number, when(b.Start)),
				Remedy:  "Export and import what is missing, or write down what became of it."})
		}
	}
	return out
}

// numberRepeats looks within the time between two resets that were entered: there a
// number names one cycle. Two different records with one start are a repeat as well.
func numberRepeats(s side) []Across {
	type key struct {
		prefix string
		n      int64
		epoch  int
	}
	var order []key
	found := map[key][]Summary{}
	for _, r := range s.streaks {
		for _, c := range r.cycles {
			k := key{c.prefix, c.n, r.epoch}
			if found[k] == nil {
				order = append(order, k)
			}
			found[k] = append(found[k], c.Summary)
		}
	}
	var out []Across
	for _, k := range order {
		copies := found[k]
		if len(copies) < 2 {
			continue
		}
		out = append(out, Across{Cycles: ids(copies...),
			Message: fmt.Sprintf("%d cycles on %s have the number %s: %s", len(copies), s.called(), copies[0].Number, list(ids(copies...))),
			Remedy:  "Release none of them before the lead has found out which is which."})
	}
	return append(out, oneStart(s)...)
}

// oneStart finds other readings at the same start, where the numbers do not tell
// already; all that start together are one finding.
func oneStart(s side) []Across {
	var out []Across
	for i := 0; i < len(s.cycles); {
		n := 1
		for i+n < len(s.cycles) && s.cycles[i+n].Start.Equal(s.cycles[i].Start) {
			n++
		}
		together := s.cycles[i : i+n]
		i += n
		number := together[0].Number
		if n == 1 || (number != "" && !slices.ContainsFunc(together, func(c Summary) bool { return c.Number != number })) {
			continue
		}
		out = append(out, Across{Cycles: ids(together...),
			Message: fmt.Sprintf("%d different records of %s start at %s", n, s.called(), when(together[0].Start)),
			Remedy:  "Release none of them before the lead has found out which is which."})
	}
	return out
}

func numberResets(s side) []Across {
	var out []Across
	for _, r := range s.streaks {
		if r.dropped == nil {
			continue
		}
		c := r.cycles[0]
		out = append(out, Across{Cycles: ids(r.dropped.Summary, c.Summary),
			Message: fmt.Sprintf("the cycle numbers of %s drop from %s (%s) to %s (%s)", s.called(), r.dropped.Number, when(r.dropped.Start), c.Number, when(c.Start)),
			Remedy:  "Write down why, such as a service; that explains it."})
	}
	return out
}

// clocks finds numbers that run against the time of day, and starts within the hour
// that a change of the clock repeats or skips, as long as that change is.
func clocks(s side) []Across {
	var out []Across
	for _, r := range s.streaks {
		highest, seen := r.cycles[0], map[int64]bool{}
		for _, c := range r.cycles {
			repeat := seen[c.n]
			seen[c.n] = true
			if c.n < highest.n && !repeat {
				out = append(out, Across{Cycles: ids(highest.Summary, c.Summary),
					Message: fmt.Sprintf("cycle %s on %s starts at %s, before cycle %s (%s)", highest.Number, s.called(), when(highest.Start), c.Number, when(c.Start)),
					Remedy:  "Compare the clock of the steriliser with a trusted one, and write it down."})
			}
			if c.n > highest.n {
				highest = c
			}
		}
	}
	for _, c := range s.cycles {
		if change, ok := clockChange(c.Start); ok {
			out = append(out, Across{Cycles: ids(c),
				Message: fmt.Sprintf("a cycle on %s starts at %s, where the clock changed at %s", s.called(), when(c.Start), change.Format("15:04 MST")),
				Remedy:  "Check that the clock of the steriliser was changed too."})
		}
	}
	return out
}

// clockChange returns the change of the zone's clock that t is nearer to than the
// change is long. A change shorter than 10 min or longer than 3 h is a matter of
// history or law, not of summer time.
func clockChange(t time.Time) (time.Time, bool) {
	from, to := t.ZoneBounds()
	for _, at := range []time.Time{from, to} {
		if at.IsZero() {
			continue
		}
		_, after := at.Zone()
		_, before := at.Add(-time.Second).Zone()
		long := time.Duration(after-before) * time.Second
		if long = long.Abs(); long < 10*time.Minute || long > 3*time.Hour {
			continue
		}
		if d := t.Sub(at); -long <= d && d < long {
			return at, true
		}
	}
	return time.Time{}, false
}

// counters compares what a machine counted with the number of the last cycle that had
// started by then; after a reset that was entered since, with none.
func counters(s side) []Across {
	entered := slices.Clone(s.facts.Counters)
	slices.SortFunc(entered, func(a, b Counter) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Count, b.Count)) })
	var out []Across
	for _, e := range slices.Compact(entered) {
		if e.Steriliser != s.name {
			continue
		}
		a := Across{Cycles: []string{}, Remedy: "Export and import what is missing, or read the counter again."}
		last, named := int64(0), "there is no record before"
		for _, c := range s.cycles {
			n, ok := numberOf(c)
			if ok && !c.Start.After(e.At) && epoch(c, s.facts.Resets) == epoch(Summary{Steriliser: s.name, Start: e.At}, s.facts.Resets) {
				last, named, a.Cycles = n.n, fmt.Sprintf("the last record before is cycle %s (%s)", c.Number, when(c.Start)), ids(c)
			}
		}
		if e.Count == last {
			continue
		}
		a.Message = fmt.Sprintf("%s counted %d at %s, and %s", s.called(), e.Count, when(e.At), named)
		out = append(out, a)
	}
	return out
}
