package surgery

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// owes lays out what the routine owes on the day, as it stands once the day is over.
func (b *dayBuilder) owes() error {
	o, err := b.r.owing(b.ctx, b.v, b.day.Date)
	if err != nil {
		return err
	}
	lines, err := o.lines()
	if err != nil {
		return err
	}
	b.owed = o.withoutUnused(lines)
	for _, l := range b.owed {
		if duty, _ := dutyNamed(l.Duty); duty.Kind != "" && l.Before != OwedNoGate {
			b.gates = append(b.gates, validate.DayTest{Steriliser: l.Steriliser, Day: b.day.Date, Name: duty.Kind})
		}
	}
	c := b.r.settings.Value
	for _, x := range c.RoutineChanges {
		b.day.Settings.Changes = append(b.day.Settings.Changes, daily.RoutineChange{Duty: x.Duty, Change: x.words(), Because: x.Reason})
	}
	return nil
}

// words say what a change of the routine changes.
func (x RoutineChange) words() string {
	if x.Drop {
		return "not owed here"
	}
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if x.Low != nil {
		add("at least %s", strings.TrimSpace(number(*x.Low)+" "+x.Unit))
	}
	if x.High != nil {
		add("at most %s", strings.TrimSpace(number(*x.High)+" "+x.Unit))
	}
	if x.Every != "" {
		add("every %s", x.Every)
	}
	if x.When != "" {
		add("%s", x.When)
	}
	if x.Per != "" && x.What != "" {
		add("for each %s", x.Per)
	}
	if x.What != "" {
		add("%s", strings.TrimSuffix(x.What, "."))
	}
	return strings.Join(out, ", ")
}

// shownElsewhere are duties that a record shows in a place of their own.
var shownElsewhere = []string{dutyPenetration, dutyControl, dutyLeak, dutyCounter, dutyClosed, dutyOutOfUse, dutyBackInUse, dutyProposed, dutyExplained}

// duties lays out the routine line by line, then what else people noted that day. Tests
// owed each day stand among the tests, loads among the cycles, and the signatures speak
// for themselves. A day on which nothing was done, closed or not, is not told line by line.
func (b *dayBuilder) duties() {
	if len(b.day.Cycles) == 0 && !slices.ContainsFunc(b.notes, func(n logbook.Row[entry.Note]) bool { return n.Said.Duty != dutyClosed }) {
		return
	}
	c := b.r.settings.Value
	if len(c.Chairs) == 0 && slices.ContainsFunc(c.routineInForce().Lines, func(l routineLine) bool { return l.Per == "water line" }) {
		b.remark("no chair is named in the settings (chairs), so nothing is owed for water lines and suction")
	}
	of := map[string]bool{}
	for _, o := range b.owed {
		of[o.Duty+"\x00"+o.Steriliser+o.Place] = true
		of[o.Duty] = of[o.Duty] || o.Where() == ""
		duty, _ := dutyNamed(o.Duty)
		if o.Proof != "note" || duty.Kind != "" && o.Daily() {
			continue
		}
		b.day.Duties = append(b.day.Duties, b.dutyOwed(o))
	}
	var rest []logbook.Row[entry.Note]
	for _, n := range b.notes {
		if s := n.Said; (!slices.Contains(shownElsewhere, s.Duty) || dataOf(s).Without != nil) && !of[s.Duty] && !of[s.Duty+"\x00"+s.Steriliser+s.Place] {
			rest = append(rest, n)
		}
	}
	slices.SortStableFunc(rest, func(x, y logbook.Row[entry.Note]) int {
		return cmp.Or(x.At.Compare(y.At), cmp.Compare(x.Said.Duty, y.Said.Duty), cmp.Compare(x.Said.Steriliser+x.Said.Place, y.Said.Steriliser+y.Said.Place),
			cmp.Compare(x.Said.Text, y.Said.Text))
	})
	for _, n := range rest {
		b.day.Duties = append(b.day.Duties, b.dutyNoted(n))
	}
}

// dutyOwed is a line of the routine as the record has it.
func (b *dayBuilder) dutyOwed(o Owed) daily.Duty {
	d := daily.Duty{When: o.When, What: o.Duty, Where: o.Where(), State: o.State.String(), At: b.at(o.At), By: b.who(o.By), Detail: join(o.Detail, o.More),
		Source: o.Source, Sure: o.Sure, Count: o.Count, Value: o.Value, Low: o.Low, High: o.High, LimitSource: o.LimitSource, LimitSure: o.LimitSure,
		Product: o.Product, Concentration: o.Strength, In: b.at(o.From), Out: b.at(o.To), Last: o.Last, LastBy: b.who(o.LastBy), DueBy: o.Next,
		Changed: o.Changed, Text: o.Text, Before: o.Before.String()}
	if o.Value != nil {
		d.ValueUnit = o.ValueUnit
	}
	if o.Low != nil || o.High != nil {
		d.Unit = o.Unit
	}
	if o.Every.Days+o.Every.Months > 0 {
		d.Every = o.Every.String()
	}
	if o.Daily() { // a day owes its own
		d.DueBy = ""
	}
	if o.Text != "" && strings.HasSuffix(o.Detail, ": "+o.Text) {
		d.Text = ""
	}
	return d
}

// dutyNoted is what was noted and the routine does not owe there.
func (b *dayBuilder) dutyNoted(n logbook.Row[entry.Note]) daily.Duty {
	s, data := n.Said, dataOf(n.Said)
	d := daily.Duty{When: "as it occurred", What: s.Duty, Where: cmp.Or(s.Place, s.Steriliser), State: "done", At: b.at(n.At), By: b.who(n.By), Detail: b.detail(s),
		Product: data.Product, Concentration: data.Strength}
	if data.Without != nil {
		d.Detail = join(d.Detail, "without: "+strings.Join(data.Without, ", ")+", since "+n.Reason)
	}
	switch s.Outcome {
	case "not done":
		d.State = "open"
	case "failed":
		d.State = "failed"
	}
	return d
}

// detail is what a note says beside its duty: result, figure, times, words.
func (b *dayBuilder) detail(s entry.Note) string {
	out := ""
	if s.Outcome == "passed" || s.Outcome == "failed" || s.Outcome == "not done" {
		out = s.Outcome
	}
	if s.Value != nil {
		out = join(out, number(*s.Value)+" "+s.Unit)
	}
	if !s.From.IsZero() || !s.To.IsZero() {
		out = join(out, b.span(s))
	}
	data := dataOf(s)
	if data.Times > 1 {
		out = join(out, fmt.Sprintf("%d times", data.Times))
	}
	return join(join(out, data.words()), s.Text)
}

// span is in and out of a note as far as they were said; what has no end says nothing of it.
func (b *dayBuilder) span(s entry.Note) string {
	clock := func(t entry.Time) string { return t.In(b.r.zone).Format("2 Jan 15:04") }
	switch {
	case s.To.IsZero():
		return "from " + clock(s.From)
	case s.From.IsZero():
		return "to " + clock(s.To)
	}
	return "from " + clock(s.From) + " to " + clock(s.To)
}

// closures says whether the surgery was closed or a machine out of service.
func (b *dayBuilder) closures() error {
	for _, n := range b.notes {
		if n.Said.Duty == dutyClosed {
			b.day.Closed = append(b.day.Closed, daily.Closure{Reason: orUnsaid(n.Said.Text), By: b.who(n.By)})
		}
	}
	day, err := time.ParseInLocation(time.DateOnly, b.day.Date, b.r.zone)
	if err != nil {
		return err
	}
	out, err := b.r.outages(b.ctx, b.v, b.day.Date)
	if err != nil {
		return err
	}
	next := day.AddDate(0, 0, 1)
	for _, o := range out {
		if !o.to.IsZero() && !o.to.After(day) {
			continue
		}
		c := daily.Closure{Machine: o.machine, Reason: orUnsaid(o.reason), By: b.who(o.by)}
		if o.from.After(day) {
			c.From = b.at(o.from)
		}
		if !o.to.IsZero() && o.to.Before(next) {
			c.To = b.at(o.to)
		}
		b.day.Closed = append(b.day.Closed, c)
	}
	return nil
}

func orUnsaid(reason string) string {
	if reason == "" {
		return "no reason was entered"
	}
	return reason
}
