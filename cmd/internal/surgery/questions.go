package surgery

import (
	"context"
	"fmt"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// fineDays is the longest period that is answered day by day; a longer one is answered
// month by month, with every exception (ours: two months fit on a page).
const fineDays = 62

// Replies answers the twelve questions of an inspector for the days from one to another,
// ends included, for one steriliser or for all (""). It reads no clock: what lies ahead
// is told by the time of the last entry.
//
// A period of one day is answered cycle by cycle, one of up to two months day by day, a
// longer one month by month with every exception. Months are read one after another.
//
// Errors: a date that is none, a period that ends before it begins: a [*Refusal].
func (r *Records) Replies(ctx context.Context, from, to, machine string) ([]daily.Reply, error) {
	if err := checkPeriod(from, to); err != nil {
		return nil, err
	}
	var out []daily.Reply
	err := r.book.Read(ctx, func(v *logbook.View) error {
		a, err := r.asking(ctx, v, from, to, machine)
		if err != nil {
			return err
		}
		out, err = a.replies()
		return err
	})
	return out, err
}

// replies walks through the period and answers.
func (a *asking) replies() ([]daily.Reply, error) {
	if err := a.walk(); err != nil {
		return nil, err
	}
	var out []daily.Reply
	for i, q := range a.questions {
		reply, err := q.reply()
		if err != nil {
			return nil, err
		}
		reply.Number, reply.Question = i+1, daily.Questions()[i]
		out = append(out, reply)
	}
	a.sayUnknown(out)
	return out, nil
}

func checkPeriod(from, to string) error {
	for _, day := range []string{from, to} {
		if err := checkDay(day); err != nil {
			return err
		}
	}
	if to < from {
		return &Refusal{Why: fmt.Sprintf("the period ends on %s, before it begins on %s", dayWords(to), dayWords(from)), Instead: "Give the earlier day first."}
	}
	return nil
}

// question gathers what answers one of the twelve.
type question interface {
	add(*stretch) error
	reply() (daily.Reply, error)
}

// grain is how finely a period is answered.
type grain int

const (
	byCycle grain = iota
	byDay
	byMonth
)

// asking is one walk through a period that answers all questions.
type asking struct {
	r         *Records
	ctx       context.Context
	v         *logbook.View
	from, to  string // asked for
	machine   string
	grain     grain
	people    map[string]entry.Person
	names     map[string]string
	tip       entry.Checkpoint
	last      string   // local date of the last entry: days after it lie ahead
	first     string   // day of the first cycle
	ahead     []string // days after it that have entries, such as one that is known to be closed
	questions []question
	also      func(*stretch) error // what else is done with each stretch, nil for nothing
}

func (r *Records) asking(ctx context.Context, v *logbook.View, from, to, machine string) (*asking, error) {
	a := &asking{r: r, ctx: ctx, v: v, from: from, to: to, machine: machine, people: map[string]entry.Person{}}
	begin, _ := time.Parse(time.DateOnly, from) // both were checked
	end, _ := time.Parse(time.DateOnly, to)
	switch days := int(end.Sub(begin).Hours()/24) + 1; {
	case days == 1:
		a.grain = byCycle
	case days <= fineDays:
		a.grain = byDay
	default:
		a.grain = byMonth
	}
	all, err := everybody(ctx, v)
	if err != nil {
		return nil, err
	}
	a.names = map[string]string{}
	for _, p := range all {
		a.people[p.Person], a.names[p.Person] = p, p.Name
	}
	if a.tip, err = v.Checkpoint(ctx); err != nil {
		return nil, err
	}
	a.last = r.localDay(a.tip.Time.Time)
	first, err := v.Cycles(ctx, logbook.CycleFilter{Limit: 1})
	if err != nil {
		return nil, err
	}
	if a.first = a.last; len(first) > 0 {
		a.first = first[0].Day
	}
	a.questions = []question{&askOrder{asking: a}, &askCycles{asking: a}, &askTests{asking: a}, &askOwed{a}, &askMachines{asking: a}, &askBad{asking: a},
		&askWindow{asking: a}, &askPeople{a}, &askWater{asking: a}, &askChanges{asking: a}, &askWhole{asking: a}, &askClosed{asking: a}}
	return a, nil
}

// stretch is a month of the period, or what the period has of it, with what was entered.
type stretch struct {
	from, to   string
	cycles     []logbook.Cycle // of the machine asked for, by day, machine and number
	days       []logbook.Day
	notes      []logbook.Row[entry.Note] // that count
	releases   map[int64]logbook.Row[entry.Release]
	decisions  map[int64]logbook.Row[entry.Decision]
	recalls    map[int64]logbook.Row[entry.Recall]
	signatures map[int64]logbook.Row[entry.Signature]
	between    []Between
	corrected  map[string]bool // days on which an entry was corrected or withdrawn
	tested     []testedDay
	readings   map[string]*logbook.Row[entry.Note] // of tests, by their key
	gates      []validate.DayTest                  // the tests that are owed before the first load
}

// testedDay is a day with cycles and how its tests stood.
type testedDay struct {
	day     string
	answers []daily.Answer
	tests   []daily.Test
}

// walk goes through the period a month at a time.
func (a *asking) walk() error {
	first, last, err := a.v.Span(a.ctx)
	if err != nil {
		return err
	}
	end := min(a.to, max(last, a.last))
	for from := max(a.from, first); first != "" && from <= end; {
		if err := a.ctx.Err(); err != nil {
			return err
		}
		t, err := time.Parse(time.DateOnly, from)
		if err != nil {
			return err
		}
		next := time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC)
		to := min(end, next.AddDate(0, 0, -1).Format(time.DateOnly))
		s, err := a.read(from, to)
		if err != nil {
			return err
		}
		for _, d := range s.days {
			if d.Day > a.last {
				a.ahead = append(a.ahead, d.Day)
			}
		}
		for _, q := range a.questions {
			if err := q.add(s); err != nil {
				return err
			}
		}
		if a.also != nil {
			if err := a.also(s); err != nil {
				return err
			}
		}
		from = next.Format(time.DateOnly)
	}
	return nil
}

// read gathers a stretch.
func (a *asking) read(from, to string) (*stretch, error) {
	s := &stretch{from: from, to: to, corrected: map[string]bool{}}
	var err error
	if s.cycles, err = a.v.Cycles(a.ctx, logbook.CycleFilter{Steriliser: a.machine, From: from, To: to}); err != nil {
		return nil, err
	}
	if s.days, err = a.v.Days(a.ctx, from, to); err != nil {
		return nil, err
	}
	notes, err := logbook.Find[entry.Note](a.ctx, a.v, logbook.Filter{From: from, To: to, Superseded: true})
	if err != nil {
		return nil, err
	}
	for _, n := range notes {
		if n.CorrectedBy == 0 && !n.Withdrawn {
			s.notes = append(s.notes, n)
		} else {
			s.corrected[n.Said.Day] = true
		}
	}
	s.readings = readingsOf(s.notes)
	if s.releases, err = byNumberIn[entry.Release](a, s); err != nil {
		return nil, err
	}
	if s.decisions, err = byNumberIn[entry.Decision](a, s); err != nil {
		return nil, err
	}
	if s.recalls, err = byNumberIn[entry.Recall](a, s); err != nil {
		return nil, err
	}
	if s.signatures, err = byNumberIn[entry.Signature](a, s); err != nil {
		return nil, err
	}
	period, err := a.r.across(a.ctx, a.v, from, to)
	if err != nil {
		return nil, err
	}
	for _, f := range period.Findings {
		if a.machine == "" || f.Steriliser == a.machine {
			s.between = append(s.between, f)
		}
	}
	return s, a.tests(s)
}

// byNumberIn returns the entries of one type of the stretch by their number.
func byNumberIn[B entry.Body](a *asking, s *stretch) (map[int64]logbook.Row[B], error) {
	rows, err := logbook.Find[B](a.ctx, a.v, logbook.Filter{From: s.from, To: s.to, Superseded: true})
	out := map[int64]logbook.Row[B]{}
	for _, row := range rows {
		out[row.Number] = row
		if row.CorrectedBy != 0 || row.Withdrawn {
			s.corrected[entry.FactsOf(row.Said).Day] = true
		}
	}
	return out, err
}

// tests lays out, day by day, how the tests stood, as the records of the days do. That a
// machine was out of service that day explains no missing test where it ran a load.
func (a *asking) tests(s *stretch) error {
	var err error
	if s.gates, err = a.r.dayTests(a.ctx, a.v, s.cycles); err != nil {
		return err
	}
	for i := 0; i < len(s.cycles); {
		j := i
		for j < len(s.cycles) && s.cycles[j].Day == s.cycles[i].Day {
			j++
		}
		b := a.builder(s, s.cycles[i].Day)
		b.gates = s.gates
		b.machines()
		b.tests()
		d := testedDay{day: b.day.Date, tests: b.day.Tests}
		for _, answer := range b.day.BeforeLoads() {
			if a.machine == "" || answer.Machine == a.machine {
				d.answers = append(d.answers, answer)
			}
		}
		s.tested = append(s.tested, d)
		i = j
	}
	return nil
}

// builder is that of a day, with the cycles and notes of it that are known already.
func (a *asking) builder(s *stretch, day string) *dayBuilder {
	b := &dayBuilder{r: a.r, ctx: a.ctx, v: a.v, people: a.people}
	b.day = daily.Day{Version: daily.Version, Date: day, Surgery: daily.Surgery{Name: a.r.settings.Value.Site.Name, Zone: a.r.zone.String()}}
	b.settings()
	for _, n := range s.notes {
		if n.Said.Day == day {
			b.notes = append(b.notes, n)
		}
	}
	for _, c := range s.cycles {
		if c.Day == day {
			b.cycles = append(b.cycles, c)
			b.day.Cycles = append(b.day.Cycles, daily.Cycle{ID: c.Key, Steriliser: c.Steriliser, Number: c.Number, Start: b.at(c.Start.Time), Kind: c.Kind, Outcome: c.Outcome})
		}
	}
	return b
}

// who is the name of a person; the id where nobody has it.
func (a *asking) who(id string) string {
	if n := a.names[id]; n != "" {
		return n
	}
	return id
}

// moment writes a time as people do, in the site's zone.
func (a *asking) moment(t time.Time) string { return t.In(a.r.zone).Format("2 Jan 2006 15:04") }

func (a *asking) clock(t time.Time) string { return t.In(a.r.zone).Format("15:04") }

// LogSize is how many entries the logbook holds: what was answered before may be shown
// again as long as it is the same.
func (r *Records) LogSize(ctx context.Context) (int64, error) {
	tip, err := r.book.Checkpoint(ctx)
	return tip.Size, err
}

// Cell and Reply are an answer and a cell of it, for rooms that import one.
type (
	Cell   = daily.Cell
	Reply  = daily.Reply
	CellTo = daily.Reference
)

// Questions are the twelve, in their order.
func Questions() [12]string { return daily.Questions() }

// What a reference leads to.
const (
	ToCycle   = daily.ToCycle
	ToDay     = daily.ToDay
	ToMonth   = daily.ToMonth
	ToPerson  = daily.ToPerson
	ToMachine = daily.ToMachine
	ToEntry   = daily.ToEntry
	ToRecord  = daily.ToRecord
)
