package surgery

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// testStands is what a test of a steriliser amounts to.
type testStands int

const (
	testOpen testStands = iota // it has still to be read or decided
	testGood
	testBad
)

// standsAs tells it of one test: good if it is settled and its record is no worse than
// borderline; bad if it failed, is not proven, or was read as failed.
func (r *Records) standsAs(ctx context.Context, v *logbook.View, c logbook.Cycle) (testStands, error) {
	switch {
	case c.Outcome == Failed.String() || c.Outcome == NotProven.String():
		return testBad, nil
	case c.Settled:
		return testGood, nil
	}
	notes, err := logbook.Find[entry.Note](ctx, v, logbook.Filter{Cycle: c.Key})
	if err != nil {
		return testOpen, err
	}
	switch r.testStands(c, readingsOf(notes)[c.Key]).state {
	case "failed":
		return testBad, nil
	case "passed":
		return testGood, nil
	}
	return testOpen, nil
}

// lastTest finds the newest good test of a kind on a machine before a moment, nil if
// there is none, and the earliest bad one between it and that moment. One that is open
// counts as neither.
func (r *Records) lastTest(ctx context.Context, v *logbook.View, machine, kind string, before time.Time) (good, bad *logbook.Cycle, err error) {
	const few = 16 // most often the test of the day before is a good one
	for limit := few; ; limit *= 8 {
		list, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: machine, Kind: kind, To: r.localDay(before), Newest: true, Limit: limit})
		if err != nil {
			return nil, nil, err
		}
		bad = nil
		for i, c := range list {
			if !c.Start.Before(before) {
				continue
			}
			stands, err := r.standsAs(ctx, v, c)
			switch {
			case err != nil:
				return nil, nil, err
			case stands == testGood:
				return &list[i], bad, nil
			case stands == testBad:
				bad = &list[i]
			}
		}
		if len(list) < limit {
			return nil, bad, nil
		}
	}
}

// loadsBetween are the loads that began after a test, nil for all, and before a moment.
func (r *Records) loadsBetween(ctx context.Context, v *logbook.View, machine string, after *logbook.Cycle, before time.Time) ([]logbook.Cycle, error) {
	f := logbook.CycleFilter{Steriliser: machine, Kind: cycle.Load.String(), To: r.localDay(before)}
	if after != nil {
		f.From = after.Day
	}
	list, err := v.Cycles(ctx, f)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(list, func(c logbook.Cycle) bool {
		return !c.Start.Before(before) || after != nil && !c.Start.After(after.Start.Time)
	}), nil
}

// Window is the loads of a machine between the last good test of a kind and the first bad
// one after it, or a moment where there is none.
type Window struct {
	Kind  string
	Good  *Shown // nil: none before
	Bad   *Shown // nil: none since; the window ends at Until
	Until time.Time
	Loads []Shown
}

// Windows returns them for each kind of test that a machine had before a moment.
func (r *Records) Windows(ctx context.Context, machine string, before time.Time) ([]Window, error) {
	var out []Window
	for _, kind := range kindsOfTest {
		var good, bad *logbook.Cycle
		err := r.book.Read(ctx, func(v *logbook.View) (err error) {
			good, bad, err = r.lastTest(ctx, v, machine, kind.String(), before)
			return err
		})
		if err != nil {
			return nil, err
		}
		if good == nil && bad == nil {
			continue
		}
		w, err := r.showWindow(ctx, Window{Kind: kind.String(), Until: before}, machine, good, bad)
		if err != nil {
			return nil, err
		}
		out = append(out, w)
	}
	return out, nil
}

// showWindow fills a window between two tests, either of which may be missing.
func (r *Records) showWindow(ctx context.Context, w Window, machine string, good, bad *logbook.Cycle) (Window, error) {
	ask := ShownQuery{Steriliser: machine, Kind: cycle.Load.String()}
	for _, t := range []struct {
		of   *logbook.Cycle
		into **Shown
	}{{good, &w.Good}, {bad, &w.Bad}} {
		if t.of == nil {
			continue
		}
		s, err := r.ShownCycle(ctx, t.of.Key)
		if err != nil {
			return w, err
		}
		*t.into = &s
	}
	if good != nil {
		ask.From = good.Day
	}
	if bad != nil {
		w.Until = bad.Start.In(r.zone)
	}
	ask.To = r.localDay(w.Until)
	loads, err := r.ShownCycles(ctx, ask)
	w.Loads = slices.DeleteFunc(loads, func(s Shown) bool {
		return !s.Start.Before(w.Until) || good != nil && !s.Start.After(good.Start.Time)
	})
	return w, err
}

// askWindow answers the seventh question: loads between the last good test and the first
// bad one, for each bad test of the period.
type askWindow struct {
	*asking
	rows     [][]daily.Cell
	bad      int
	loads    int
	after    int // of these, those after a test that a person read as failed
	tests    int
	goods    map[[2]string]logbook.Cycle // the newest good test, by machine and kind
	inBad    map[[2]string]bool
	machines []string
}

func (q *askWindow) add(s *stretch) error {
	if q.goods == nil {
		q.goods, q.inBad = map[[2]string]logbook.Cycle{}, map[[2]string]bool{}
	}
	read, err := q.readFailed(s)
	if err != nil {
		return err
	}
	tests := slices.DeleteFunc(slices.Clone(s.cycles), func(c logbook.Cycle) bool { return !isTest(c) })
	slices.SortStableFunc(tests, func(x, y logbook.Cycle) int { return x.Start.Compare(y.Start.Time) })
	for _, c := range tests {
		q.tests++
		stands, err := q.r.standsAs(q.ctx, q.v, c)
		if err != nil {
			return err
		}
		k := [2]string{c.Steriliser, c.Kind}
		switch {
		case stands == testGood:
			q.goods[k], q.inBad[k] = c, false
		case stands == testBad && !q.inBad[k]:
			q.inBad[k] = true
			i := slices.IndexFunc(read, func(t failedTest) bool { return t.cycle == c.Key })
			if i >= 0 {
				q.failed(s, read[i], q.cycleCell(c))
				continue
			}
			if err := q.window(s, c); err != nil {
				return err
			}
		}
	}
	for _, t := range read {
		if t.cycle == "" {
			q.failed(s, t, dayCell(t.note.Said.Day))
		}
	}
	for _, c := range s.cycles {
		if !slices.Contains(q.machines, c.Steriliser) {
			q.machines = append(q.machines, c.Steriliser)
		}
	}
	return nil
}

// window adds the loads before a bad test.
func (q *askWindow) window(s *stretch, bad logbook.Cycle) error {
	q.bad++
	good, known := q.goods[[2]string{bad.Steriliser, bad.Kind}]
	after := &good
	if !known {
		var err error
		if after, _, err = q.r.lastTest(q.ctx, q.v, bad.Steriliser, bad.Kind, bad.Start.Time); err != nil {
			return err
		}
	}
	loads, err := q.r.loadsBetween(q.ctx, q.v, bad.Steriliser, after, bad.Start.Time)
	if err != nil {
		return err
	}
	since := plain("no good one before")
	if after != nil {
		since = q.cycleCell(*after)
		since.Text += ", " + q.moment(after.Start.Time)
	}
	to := q.cycleCell(bad)
	to.Marked, to.Outcome, to.Text = true, worst(outcomeOf(bad), NotProven), to.Text+", "+q.moment(bad.Start.Time)
	if len(loads) == 0 {
		q.rows = append(q.rows, []daily.Cell{plain(bad.Kind), since, to, plain("no load"), plain("")})
	}
	for _, c := range loads {
		q.loads++
		did, _ := q.became(s, c)
		cell := q.cycleCell(c)
		cell.Text += ", " + q.moment(c.Start.Time)
		q.rows = append(q.rows, []daily.Cell{plain(bad.Kind), since, to, cell, plain(did)})
	}
	return nil
}

// readFailed are the tests that a person read as failed, with a record or without one.
func (q *askWindow) readFailed(s *stretch) ([]failedTest, error) {
	notes := slices.DeleteFunc(slices.Clone(s.notes), func(n logbook.Row[entry.Note]) bool {
		return n.Said.Outcome != "failed" || q.machine != "" && n.Said.Steriliser != q.machine
	})
	if len(notes) == 0 {
		return nil, nil
	}
	return q.r.failedTests(q.ctx, q.v, notes)
}

// failed adds the loads that a test which a person read as failed calls into question:
// also those that ran after it, until the next good one.
func (q *askWindow) failed(s *stretch, t failedTest, to daily.Cell) {
	q.bad++
	since := plain("no good one before")
	if !t.good.IsZero() {
		since = plain(q.moment(t.good))
	}
	if t.cycle == "" { // it is known by its time alone
		to.Text = ""
	}
	to.Marked, to.Outcome, to.Text = true, Failed, strings.TrimPrefix(to.Text+", "+q.moment(t.ran)+", read as failed", ", ")
	if len(t.loads) == 0 {
		q.rows = append(q.rows, []daily.Cell{plain(t.kind()), since, to, plain("no load"), plain("")})
	}
	for _, c := range t.loads {
		did, _ := q.became(s, c)
		cell := q.cycleCell(c)
		cell.Text += ", " + q.moment(c.Start.Time)
		q.loads++
		if c.Start.After(t.ran) {
			q.after++
			cell.Text += ", after it"
		}
		q.rows = append(q.rows, []daily.Cell{plain(t.kind()), since, to, cell, plain(did)})
	}
}

func (q *askWindow) reply() (daily.Reply, error) {
	out := daily.Reply{Rows: q.rows, Outcome: Conforms, Columns: []string{"Test", "Last good one", "First bad one", "Load between", "What became of it"}}
	if q.bad > 0 {
		out.Outcome = NotProven
		out.Short = fmt.Sprintf("%s bad in this time; %s before, since the last good test of the same kind.", capital(count(q.bad, "test was", "tests were")), count(q.loads-q.after, "load ran", "loads ran"))
		if q.after > 0 {
			out.Short += fmt.Sprintf(" %s after it and before the next good one.", capital(count(q.after, "load ran", "loads ran")))
		}
		return out, nil
	}
	if len(q.machines) == 0 {
		out.Outcome, out.Short = NotAssessed, "No cycle is recorded."
		return out, nil
	}
	out.Columns = []string{"Machine", "Test", "Last good one", "Loads since, to the end of the period"}
	out.Short = fmt.Sprintf("No test was bad in this time; %s.", count(q.tests, "test was run", "tests were run"))
	if q.tests == 0 {
		out.Outcome, out.Short = NotProven, "No test was run in this time."
	}
	return out, q.lastOnes(&out)
}

// lastOnes adds the last good test of each kind and how many loads came after it.
func (q *askWindow) lastOnes(out *daily.Reply) error {
	end, err := time.ParseInLocation(time.DateOnly, q.to, q.r.zone)
	if err != nil {
		return err
	}
	end = end.AddDate(0, 0, 1)
	slices.Sort(q.machines)
	for _, m := range q.machines {
		for _, kind := range kindsOfTest {
			good, bad, err := q.r.lastTest(q.ctx, q.v, m, kind.String(), end)
			if err != nil {
				return err
			}
			if good == nil && bad == nil {
				continue
			}
			loads, err := q.r.loadsBetween(q.ctx, q.v, m, good, end)
			if err != nil {
				return err
			}
			cell := plain("no good one")
			if good != nil {
				cell = q.cycleCell(*good)
				cell.Text += ", " + q.moment(good.Start.Time)
			}
			out.Rows = append(out.Rows, []daily.Cell{{Text: stranger(m), To: daily.Reference{Kind: daily.ToMachine, ID: m}}, plain(kind.String()), cell, plain(fmt.Sprint(len(loads)))})
		}
	}
	return nil
}
