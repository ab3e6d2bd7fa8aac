package surgery

import (
	"bytes"
	"slices"

	"holdproof/report/archive"
	"holdproof/report/daily"
	"holdproof/report/logbook"
)

// pages packs what a browser shows: one page a day that has anything, each written before
// the next is laid out, and the first page.
func (w *bagWriter) pages() error {
	a, err := w.r.asking(w.ctx, w.v, w.asked.From, w.asked.To, w.asked.Steriliser)
	if err != nil {
		return err
	}
	p := &bagPages{bagWriter: w, asking: a, figures: newDrawnFiles(w.r, w.ctx, w.v)}
	defer p.figures.forget()
	a.also = p.stretch
	replies, err := a.replies()
	if err != nil {
		return err
	}
	if err := p.flush(nil); err != nil {
		return err
	}
	x := archive.Overview{Surgery: daily.Surgery{Name: w.r.settings.Value.Site.Name, Zone: w.r.zone.String()}, Program: w.r.world.Version,
		From: w.asked.From, To: w.asked.To, Machine: w.asked.Steriliser, Made: w.local(w.tip.Time.Time), LogSize: w.tip.Size, LogRoot: w.tip.RootText(),
		Ends: a.unknown(), Days: p.daysToTheEnd(), Replies: p.inBag(replies)}
	out, err := w.pack.Create(archive.Index)
	if err != nil {
		return err
	}
	if err := archive.WriteIndex(out, x); err != nil {
		return err
	}
	return out.Close()
}

// daysToTheEnd are the days of the period, those after the end of the logbook too.
func (p *bagPages) daysToTheEnd() []archive.OverviewDay {
	day := p.asked.From
	if n := len(p.days); n > 0 {
		day = back(p.days[n-1].Date, -1)
	}
	out := p.days
	for ; day <= p.asked.To; day = back(day, -1) {
		x := archive.OverviewDay{Date: day}
		if p.asking.isDark(day) {
			x.State = "nothing is known"
		}
		out = append(out, x)
	}
	return out
}

// inBag says of the second and the eleventh question what holds for a bag.
func (p *bagPages) inBag(replies []daily.Reply) []daily.Reply {
	if len(replies[1].Notes) > 0 {
		replies[1].Notes = []string{"The page of a day shows of each cycle its temperature with the band and the hold, every check with its figure, limit, uncertainty and source, and who did what. " +
			"The curve with all its lines stands in the signed record of the day, and every reading in the export; the page leads to both."}
	}
	r := &replies[10]
	r.Short = "Check it with HOW-TO-CHECK.txt: every file has its sum, the sums and the log are signed, and the log shows that no entry was left out."
	if p.by == nil {
		r.Short = "Check it with HOW-TO-CHECK.txt: every file has its sum, and the log shows that no entry was left out. Nobody signed this bag."
	}
	r.Notes = append([]string{"This page cannot prove itself. What proves it is computed on your computer, with programs that are not ours."}, r.Notes...)
	if len(p.out.Missing) > 0 {
		r.Outcome = NotProven
		r.Short = "Not complete: " + join(p.out.Missing[0], plural(len(p.out.Missing)-1, "", "and more")) + ". " + r.Short
	}
	return replies
}

// bagPages writes the pages of the days.
type bagPages struct {
	*bagWriter
	asking  *asking
	figures *drawnFiles
	days    []archive.OverviewDay
	waiting *archive.DayPage // laid out, and not written until the day after it is known
	written *writtenPage     // the one before it
}

// stretch lays out the days of a month.
func (p *bagPages) stretch(s *stretch) error {
	full := map[string]logbook.Day{}
	for _, d := range s.days {
		full[d.Day] = d
	}
	verdicts := map[string]logbook.Cycle{}
	list, err := p.v.Cycles(p.ctx, logbook.CycleFilter{Steriliser: p.asked.Steriliser, From: s.from, To: s.to, Verdicts: true})
	if err != nil {
		return err
	}
	for _, c := range list {
		verdicts[c.Key] = c
	}
	for day := s.from; day <= s.to; day = back(day, -1) {
		stands, there := full[day]
		x := archive.OverviewDay{Date: day, State: "nothing recorded"}
		if !there {
			switch {
			case p.asking.isDark(day):
				x.State = "nothing is known"
			case day < p.asking.first:
				x.State = ""
			}
			p.days = append(p.days, x)
			continue
		}
		page, err := p.page(s, stands, verdicts)
		if err != nil {
			return err
		}
		x.Page, x.State, x.Tallies, x.Records = true, page.State, page.Day.Tallies(), page.Records
		for _, c := range page.Day.Closed {
			if c.Machine == "" {
				x.Closed = c.Reason
			}
		}
		p.days = append(p.days, x)
		if err := p.flush(page); err != nil {
			return err
		}
	}
	return nil
}

// flush has the page that waits written, and lets another one wait. It is written while
// the next one is laid out, and packed before the one after it is begun.
func (p *bagPages) flush(next *archive.DayPage) error {
	if err := p.packed(); err != nil {
		return err
	}
	if p.waiting != nil {
		if next != nil {
			p.waiting.Next, next.Previous = next.Day.Date, p.waiting.Day.Date
		}
		p.written = writePage(*p.waiting)
	}
	p.waiting = next
	if next == nil {
		return p.packed()
	}
	return nil
}

// packed waits for the page that is being written, if there is one, and packs it.
func (p *bagPages) packed() error {
	w := p.written
	if p.written = nil; w == nil {
		return nil
	}
	if err := <-w.done; err != nil {
		return err
	}
	return p.pack.Add(w.name, w.text.Bytes())
}

// writtenPage is a page while it is written.
type writtenPage struct {
	name string
	text bytes.Buffer
	done chan error // of capacity 1: a page that nobody asks for any more holds nobody
}

func writePage(page archive.DayPage) *writtenPage {
	w := &writtenPage{name: "data/" + archive.DayFile(page.Day.Date), done: make(chan error, 1)}
	go func() { w.done <- archive.WriteDay(&w.text, page) }()
	return w
}

// page lays out one day: what was recorded and decided. What it owed beside its tests is
// told by its signed record.
func (p *bagPages) page(s *stretch, stands logbook.Day, verdicts map[string]logbook.Cycle) (*archive.DayPage, error) {
	b := p.asking.builder(s, stands.Day)
	b.day.Program, b.day.Cycles = p.r.world.Version, nil
	b.before, b.gates = stands, s.gates
	for i, c := range b.cycles {
		b.cycles[i] = verdicts[c.Key]
		out, err := b.cycle(b.cycles[i])
		if err != nil {
			return nil, err
		}
		b.day.Cycles = append(b.day.Cycles, out)
	}
	for _, f := range s.between {
		if last := f.Cycles[max(0, len(f.Cycles)-1):]; len(last) > 0 && slices.ContainsFunc(b.cycles, func(c logbook.Cycle) bool { return c.Key == last[0] }) {
			b.period.Findings = append(b.period.Findings, f)
		}
	}
	for _, step := range []func() error{b.across, b.decisions, b.recalls, b.closures} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	b.machines()
	b.tests()
	b.duties()
	p.ofMachine(&b.day)
	out := &archive.DayPage{Day: b.day, State: p.asking.signature(s, stands).Text}
	for _, r := range p.records[stands.Day] {
		out.Records = append(out.Records, r.name)
	}
	var err error
	out.Figures, err = p.figures.of(b.cycles)
	return out, err
}

// ofMachine takes out what is of another machine than the one that was asked for.
func (p *bagPages) ofMachine(d *daily.Day) {
	id := p.asked.Steriliser
	if id == "" {
		return
	}
	other := func(named string) bool {
		return named != id && slices.ContainsFunc(p.r.settings.Value.Sterilisers, func(s Steriliser) bool { return s.ID == named })
	}
	d.Machines = slices.DeleteFunc(d.Machines, func(m daily.Machine) bool { return other(m.ID) })
	d.Tests = slices.DeleteFunc(d.Tests, func(t daily.Test) bool { return other(t.Machine) })
	d.Closed = slices.DeleteFunc(d.Closed, func(c daily.Closure) bool { return other(c.Machine) })
	d.Duties = slices.DeleteFunc(d.Duties, func(u daily.Duty) bool { return other(u.Where) })
}
