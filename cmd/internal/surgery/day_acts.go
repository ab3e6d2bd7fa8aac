package surgery

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// pastTense is how a record tells what was decided.
var pastTense = map[string]string{"released": "released at the machine", "rejected": "rejected at the machine",
	DoRelease: "released", DoQuarantine: "quarantined", DoReprocess: "sent for reprocessing", DoUsed: "already used"}

// across lists what lies between the cycles, and by which entry it was explained.
func (b *dayBuilder) across() error {
	for _, a := range b.period.Findings {
		out := daily.Across{Check: a.Check, Cycles: a.Cycles, Message: a.Message, Remedy: a.Remedy}
		n, err := b.r.explanation(b.ctx, b.v, a)
		if err != nil {
			return err
		}
		if n != nil {
			out.Explained = fmt.Sprintf("%s (%s, entry %d)", n.Said.Text, b.who(n.By), n.Number)
		}
		b.day.Across = append(b.day.Across, out)
	}
	return nil
}

// decisions lists what was done with the loads of the day, in the order of its times; what
// bears one time, in the order of the cycles.
func (b *dayBuilder) decisions() error {
	keys := map[string]bool{}
	for _, c := range b.cycles {
		keys[c.Key] = true
	}
	type numbered struct {
		moment time.Time
		n      int64
		daily.Decision
	}
	var all []numbered
	days := logbook.Filter{From: b.day.Date, To: b.day.Date}
	made, err := logbook.Find[entry.Decision](b.ctx, b.v, days)
	if err != nil {
		return err
	}
	for _, d := range made {
		if d.Withdrawn || !keys[d.Cycle] {
			continue
		}
		out := b.decision(d.Entry, d.Cycle, d.Said.Act)
		out.Second, out.Rerun = b.who(d.Said.Second), d.Said.Rerun
		all = append(all, numbered{d.At, d.Number, out})
	}
	machine, err := logbook.Find[entry.Release](b.ctx, b.v, days)
	if err != nil {
		return err
	}
	for _, d := range machine {
		key := d.Cycle
		for _, c := range b.cycles { // one that came before its record
			if c.ReleaseEntry == d.Number {
				key = c.Key
			}
		}
		if !d.Withdrawn && keys[key] {
			all = append(all, numbered{d.At, d.Number, b.decision(d.Entry, key, d.Said.Act)})
		}
	}
	slices.SortFunc(all, func(x, y numbered) int {
		return cmp.Or(x.moment.Compare(y.moment), cmp.Compare(x.Cycle, y.Cycle), cmp.Compare(x.n, y.n))
	})
	for _, d := range all {
		b.day.Decisions = append(b.day.Decisions, d.Decision)
	}
	return nil
}

func (b *dayBuilder) decision(e entry.Entry, key, act string) daily.Decision {
	return daily.Decision{Cycle: key, At: b.at(e.At), Act: cmp.Or(pastTense[act], act), By: b.who(e.By),
		Role: roleOf(b.people[e.By], b.r.localDay(e.At)), Reason: e.Reason}
}

// recalls tells of each load of the day that was called back.
func (b *dayBuilder) recalls() error {
	for _, c := range b.cycles {
		if c.RecallEntry == 0 {
			continue
		}
		rows, err := logbook.Find[entry.Recall](b.ctx, b.v, logbook.Filter{Cycle: c.Key})
		if err != nil {
			return err
		}
		var last *daily.Recall
		for _, row := range rows {
			if row.Withdrawn {
				continue
			}
			if row.Said.Act == "opened" {
				b.day.Recalls = append(b.day.Recalls, daily.Recall{Cycle: c.Key, Opened: b.at(row.At), Packs: b.contents(c.Key), Used: b.used(c.Key)})
				last = &b.day.Recalls[len(b.day.Recalls)-1]
			}
			if last == nil {
				continue
			}
			if words := packWords(row.Said.Packs); words != "" {
				last.Outcome = words
			}
			if row.Said.Act == "closed" {
				last.Closed, last.By = b.at(row.At), b.who(row.By)
			}
		}
	}
	return nil
}

func packWords(packs []entry.Pack) string {
	var out []string
	for _, p := range packs {
		out = append(out, p.Pack+": "+cmp.Or(p.Became, "not known yet"))
	}
	return strings.Join(out, "; ")
}

// contents is what the load held, as it was entered.
func (b *dayBuilder) contents(key string) string {
	c, _ := b.day.Find(key)
	switch l := c.Load; {
	case l.Packs > 0 && l.Contents != "":
		return fmt.Sprintf("%d packs, %s", l.Packs, l.Contents)
	case l.Packs > 0:
		return fmt.Sprintf("%d packs", l.Packs)
	default:
		return l.Contents
	}
}

// used says that the load was used before its verdict was known.
func (b *dayBuilder) used(key string) string {
	for _, d := range b.day.DecisionsOn(key) {
		if d.Act == pastTense[DoUsed] {
			return cmp.Or(d.Reason, "used already, as "+d.By+" entered")
		}
	}
	return ""
}

// undecided are the loads of a machine that nobody released, rejected or set aside.
func (b *dayBuilder) undecided(machine string) []string {
	var out []string
	for _, c := range b.cycles {
		if c.Steriliser == machine && c.Kind == cycle.Load.String() && c.Release == "" && c.Decision == "" && !c.Settled {
			name := c.Number
			if name == "" {
				name = "the cycle of " + c.Start.In(b.r.zone).Format("15:04")
			}
			out = append(out, name)
		}
	}
	return out
}
