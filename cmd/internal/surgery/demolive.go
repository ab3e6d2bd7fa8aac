package surgery

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
	"holdproof/validate"
)

// demoRounds lock the keys while the week passes: each act opens one. Afterwards they
// are locked again as those of a real surgery are.
const demoRounds = 1000

// demoDates are the days of the invented week, and what was done on each.
var demoDates = []struct {
	date string
	acts func(*demoWeek) []moment
}{
	{"2026-11-02", (*demoWeek).monday}, {"2026-11-03", (*demoWeek).tuesday}, {"2026-11-04", (*demoWeek).wednesday},
	{"2026-11-05", (*demoWeek).thursday}, {"2026-11-06", (*demoWeek).friday}, {"2026-11-07", (*demoWeek).saturday},
}

// LiveDemo lets the invented week pass: the site begins, exports come in, and people
// do what they did, each act by the rules and at its time on those days. Afterwards the
// loads of Saturday wait for somebody, Friday for its second signature. tell, which may
// be nil, hears how many of the days have passed.
//
// Keys are random, so two demonstrations differ in them and in nothing else that is said.
func LiveDemo(ctx context.Context, d Demo, s Settings, w World, tell func(done, all int)) (Week, error) {
	var out Week
	week := &demoWeek{ctx: ctx, dir: d.Dir}
	var err error
	if week.zone, err = s.Value.Site.zone(); err != nil {
		return out, err
	}
	rounds := w.Rounds
	w.Now = func() time.Time { return week.now }
	w.Rounds = cmp.Or(rounds, demoRounds)
	if tell == nil {
		tell = func(int, int) {}
	}
	week.to(demoDates[0].date, "06:50")
	if err := week.begin(s, w); err != nil {
		return out, err
	}
	defer week.r.Close()
	for i, day := range demoDates {
		tell(i, len(demoDates)+1)
		if err := week.pass(day.date, day.acts); err != nil {
			return out, err
		}
	}
	tell(len(demoDates), len(demoDates)+1)
	week.to("2026-11-09", "07:00")
	if out, err = week.look(); err != nil || rounds > 0 {
		return out, err
	}
	return out, lockForGood(d.Dir)
}

// begin makes the site and its people.
func (w *demoWeek) begin(s Settings, world World) error {
	lead := demoPeople[0]
	err := Begin(w.ctx, Beginning{Dir: w.dir, Settings: s, Lead: lead.ID, Name: lead.Name, Passphrase: word(lead.Passphrase), Authority: word(DemoAuthority)}, world)
	if err != nil {
		return err
	}
	if w.r, err = OpenRecords(w.ctx, w.dir, s, world); err != nil {
		return err
	}
	if err = w.people(); err != nil {
		w.r.Close()
	}
	return err
}

// Week is the invented week as it stands on the Monday morning after it.
type Week struct {
	Days    []WeekDay
	Waiting []Waiting
	Ends    time.Time // before it, nobody's clock lets anything more be done
}

// WeekDay is one of its days.
type WeekDay struct {
	Date               string
	Cycles             int
	Outcomes           map[Outcome]int
	Revision           int64
	Prepared, Reviewed bool
}

// look tells how the week stands.
func (w *demoWeek) look() (Week, error) {
	out := Week{Ends: w.at(demoDates[len(demoDates)-1].date, "13:00")}
	all, err := w.r.Review(w.ctx)
	if err != nil {
		return out, err
	}
	out.Waiting = all.Waiting
	days, err := w.r.book.Days(w.ctx, demoDates[0].date, "2026-11-08")
	if err != nil {
		return out, err
	}
	for _, d := range days {
		one := WeekDay{Date: d.Day, Revision: d.Revision, Prepared: d.PreparedEntry != 0, Reviewed: d.ReviewedEntry != 0, Outcomes: map[Outcome]int{}}
		cycles, err := w.r.book.Cycles(w.ctx, logbook.CycleFilter{From: d.Day, To: d.Day})
		if err != nil {
			return out, err
		}
		one.Cycles = len(cycles)
		for _, c := range cycles {
			if outcome, known := validate.OutcomeNamed(c.Outcome); known {
				one.Outcomes[outcome]++
			}
		}
		out.Days = append(out.Days, one)
	}
	return out, nil
}

func word(passphrase string) func() (string, error) {
	return func() (string, error) { return passphrase, nil }
}

// lockForGood locks the keys of the demonstration with as many rounds as any other.
func lockForGood(dir string) error {
	words := map[string]string{authorityID: DemoAuthority}
	for _, p := range demoPeople {
		words[p.ID] = p.Passphrase
	}
	var g errgroup.Group
	for id, passphrase := range words {
		g.Go(func() error {
			name := keyFile(dir, id)
			old, err := os.ReadFile(name)
			if err != nil {
				return err
			}
			key, err := seal.Open(old, passphrase)
			if err != nil {
				return err
			}
			p12, err := key.Pack(passphrase)
			if err != nil {
				return err
			}
			return os.WriteFile(name, p12, 0o600)
		})
	}
	return g.Wait()
}

// demoWeek is the invented week while it passes.
type demoWeek struct {
	ctx  context.Context
	dir  string
	zone *time.Location
	r    *Records
	day  string
	now  time.Time
}

// moment is an act and when it was done.
type moment struct {
	clock string // 07:05
	act   func() error
}

// pass does the acts of a day in the order of their times.
func (w *demoWeek) pass(day string, acts func(*demoWeek) []moment) error {
	w.day = day
	list := acts(w)
	slices.SortStableFunc(list, func(a, b moment) int { return cmp.Compare(a.clock, b.clock) })
	for _, m := range list {
		w.to(day, m.clock)
		if err := m.act(); err != nil {
			return fmt.Errorf("the demonstration stops at %s, %s: %w", day, m.clock, err)
		}
	}
	return nil
}

// to sets the clock.
func (w *demoWeek) to(day, clock string) { w.now = w.at(day, clock) }

func (w *demoWeek) at(day, clock string) time.Time {
	t, err := time.ParseInLocation("2006-01-02 15:04", day+" "+clock, w.zone)
	if err != nil {
		panic(err) // the clocks stand in this package, and the tests let the week pass
	}
	return t
}

// by is the proof of one of the invented people.
func (w *demoWeek) by(id string) Proof {
	i := slices.IndexFunc(demoPeople, func(p DemoPerson) bool { return p.ID == id })
	return Proof{Person: id, Passphrase: word(demoPeople[i].Passphrase)}
}

// people joins those who do not lead.
func (w *demoWeek) people() error {
	roles := map[string][]string{"tobin": {roleOperate, roleRelease}, "junie": {roleOperate}}
	for _, p := range demoPeople[1:] {
		err := w.r.AddPerson(w.ctx, Joining{ID: p.ID, Name: p.Name, Roles: roles[p.ID], Passphrase: word(p.Passphrase), By: w.by("edda"), Authority: word(DemoAuthority)})
		if err != nil {
			return err
		}
	}
	return nil
}

// imports brings in exports of the demonstration by their names.
func (w *demoWeek) imports(names ...string) error {
	var paths []string
	for _, name := range names {
		paths = append(paths, filepath.Join(w.dir, "exports", name+".csv"))
	}
	_, err := w.r.Import(w.ctx, Arriving{Paths: paths, Via: ViaCommand}, onlyProblems{})
	return err
}

// onlyProblems hears of a file that could not be read.
type onlyProblems struct{}

func (onlyProblems) Cycle(Arrival) error { return nil }
func (onlyProblems) Again() error        { return nil }
func (onlyProblems) File(f Imported) error {
	if len(f.Problems) > 0 {
		return fmt.Errorf("%s: %s", f.Name, f.Problems[0].Message)
	}
	return nil
}

// note is an act that notes something.
func (w *demoWeek) note(clock, by string, n Noting) moment {
	n.By = w.by(by)
	return moment{clock, func() error {
		_, err := w.r.Note(w.ctx, n)
		return err
	}}
}

// decide is an act on one load.
func (w *demoWeek) decide(clock, by string, d Deciding) moment {
	d.By = w.by(by)
	return moment{clock, func() error {
		_, err := w.r.Decide(w.ctx, d)
		return err
	}}
}

// sign is the first signature of a day.
func (w *demoWeek) sign(clock, by, date, reason string) moment {
	return moment{clock, func() error {
		_, err := w.r.Prepare(w.ctx, Signing{Date: date, By: w.by(by), Reason: reason})
		return err
	}}
}

// review is the second.
func (w *demoWeek) review(clock, by, date string) moment {
	return moment{clock, func() error {
		_, err := w.r.Countersign(w.ctx, date, w.by(by))
		return err
	}}
}

// demoLoad is a load and what the person saw who opened the door.
type demoLoad struct {
	clock    string
	number   string
	contents string
	packs    int64
	hollow   bool
	wet      string // not "": rejected, and why
}

// atMachine enters what was done at the machine.
func (w *demoWeek) atMachine(machine string, l demoLoad) error {
	yes, dry := true, l.wet == ""
	m := AtMachine{Steriliser: machine, Number: l.number, Day: w.day, Indicator: "passed", Dry: &dry, Sealed: &yes, Labelled: &yes, Rejected: !dry, Text: l.wet,
		Load: entry.Load{Number: machine + "-" + l.number, Contents: l.contents, Count: &l.packs, Wrapping: "wrapped", Loaded: "junie", Packed: "junie"}}
	if l.hollow {
		m.Load.Wrapping = "both"
	}
	if !m.Rejected { // half a year in the drawer (invented; the surgery's own rule)
		m.Load.UseBy = w.at(w.day, l.clock).AddDate(0, 6, 0).Format(time.DateOnly)
	}
	_, err := w.r.ReleaseAtMachine(w.ctx, m, w.by("tobin"), Proof{}, "", time.Time{})
	return err
}

// onS1 are loads of the machine whose record comes with each cycle: first the record,
// then the release.
func (w *demoWeek) onS1(loads ...demoLoad) []moment {
	var out []moment
	for _, l := range loads {
		out = append(out, moment{l.clock, func() error {
			if err := w.imports("S1-" + l.number); err != nil {
				return err
			}
			return w.atMachine("S1", l)
		}})
	}
	return out
}

// onS2 are loads of the machine whose record comes in the evening.
func (w *demoWeek) onS2(loads ...demoLoad) []moment {
	var out []moment
	for _, l := range loads {
		out = append(out, moment{l.clock, func() error { return w.atMachine("S2", l) }})
	}
	return out
}

// lastCounter is the number of the newest entry of a machine's counter.
func (w *demoWeek) lastCounter(machine string) (int64, error) {
	rows, err := logbook.Find[entry.Note](w.ctx, w.r.book.View, logbook.Filter{Topic: dutyCounter, Steriliser: machine, Newest: true, Limit: 1})
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("no counter of %s was entered", machine)
	}
	if err != nil {
		return 0, err
	}
	return rows[0].Number, nil
}
