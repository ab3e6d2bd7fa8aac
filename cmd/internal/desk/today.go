package desk

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// todayData is the page of a day.
type todayData struct {
	surgery.DayShown
	Waiting []surgery.Waiting // for the visitor, worst first
	Others  int               // what waits for somebody else
	Rows    []row
	Today   bool
	Came    *cameIn // what was just imported; nil
	Said    string  // what was just done
	People  []surgery.Person
	Before  string // the day before and the day after
	After   string
	Draft   url.Values
	Trouble []string // why exports do not come in by themselves
	Signed  []surgery.Happening
	Sights  []string // of the loads that may be released
	Open    []openPart
	Lacks   []string // tests that the machines of these loads lack
	NoSign  string   // why the day is not signed as prepared yet
	NoView  string   // why this person does not sign it as reviewed
}

// Written is what a form that did nothing had in a field.
func (t todayData) Written(field string) string { return t.Draft.Get(field) }

// Title says which day it is.
func (t todayData) Title() string {
	if t.Today {
		return "Today"
	}
	return dayWords(t.Date)
}

// heldLoads are loads that may not be released for one reason.
type heldLoads struct {
	Why   string
	Loads []surgery.Ready
}

// Left are the conforming loads that may not be released yet, by reason.
func (t todayData) Left() []heldLoads {
	var out []heldLoads
	for _, l := range t.Ready.Left {
		why := sentence(strings.TrimPrefix(l.Says, "is not released: "))
		i := slices.IndexFunc(out, func(h heldLoads) bool { return h.Why == why })
		if i < 0 {
			i = len(out)
			out = append(out, heldLoads{Why: why})
		}
		out[i].Loads = append(out[i].Loads, l)
	}
	return out
}

// Groups are what waits, together where the same is to be done about several.
func (t todayData) Groups() [][]surgery.Waiting {
	var out [][]surgery.Waiting
	for _, w := range t.Waiting {
		i := slices.IndexFunc(out, func(g []surgery.Waiting) bool {
			return w.Instruction != "" && w.Kind != surgery.WaitRecall && g[0].Kind == w.Kind && g[0].Outcome == w.Outcome && g[0].Instruction == w.Instruction
		})
		if i < 0 {
			out = append(out, []surgery.Waiting{w})
		} else {
			out[i] = append(out[i], w)
		}
	}
	return out
}

// once are those of a group that name each thing the first time.
func once(group []surgery.Waiting) []surgery.Waiting {
	var out []surgery.Waiting
	for _, w := range group {
		if !slices.ContainsFunc(out, func(o surgery.Waiting) bool { return o.Name == w.Name }) {
			out = append(out, w)
		}
	}
	return out
}

// Urgent tells whether a load waits that must not be used as it is: that stands before
// what the day owes.
func (t todayData) Urgent() bool {
	return slices.ContainsFunc(t.Waiting, func(w surgery.Waiting) bool {
		return w.Cycle != "" && (w.Outcome == surgery.Failed || w.Outcome == surgery.NotProven || w.Outcome == surgery.Borderline)
	})
}

// row is a line of the day's list: a cycle, or something that is missing between them.
type row struct {
	surgery.Shown
	Machine string // begins a machine
	Gap     string // what is missing, a sentence
	GapWhy  string // its explanation, or what to do
	Settled bool
	About   string // key of the cycle an explanation is entered on
	Again   bool   // failed after a failed one
	Missing string // a test that was owed and not made
}

func (d *Desk) today(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.dayPage(w, r, v, d.records.Today())
}

func (d *Desk) day(w http.ResponseWriter, r *http.Request, v visitor) error {
	return d.dayPage(w, r, v, r.PathValue("day"))
}

func (d *Desk) dayPage(w http.ResponseWriter, r *http.Request, v visitor, date string) error {
	day, err := d.records.DayShown(r.Context(), date)
	if err != nil {
		return err
	}
	d.draw(r.Context(), day.Shown)
	data := todayData{DayShown: day, Today: date == d.records.Today(), Rows: rowsOf(day)}
	for _, s := range day.Ready.Seen {
		data.Sights = append(data.Sights, sightWords(s))
	}
	if v.Releases() {
		if data.Lacks, err = d.untested(r.Context(), machinesOf(day)...); err != nil {
			return err
		}
	}
	if data.Today {
		data.Trouble = d.watched.trouble()
		if err := d.waiting(r, v, &data); err != nil {
			return err
		}
	}
	data.Came = d.came.get(r.FormValue("came"), v.Person)
	data.Said = d.sessions.PopString(r.Context(), "said")
	data.Draft = d.drafts.take(v.token, "/day/"+date+"/sign")
	if data.Signed, err = d.records.Signatures(r.Context(), date); err != nil {
		return err
	}
	if data.NoSign, data.NoView, err = d.mayNotSign(r, v, day); err != nil {
		return err
	}
	data.Before, data.After = neighbours(date, d.records.Today())
	return d.show(w, r, v, "today", http.StatusOK, data)
}

// review is what waits for whom. It takes a look at a month of days, and is the same as
// long as nothing is entered; what is due at a time of the day is told to the minute.
func (d *Desk) review(ctx context.Context) (surgery.Review, error) {
	size, err := d.records.LogSize(ctx)
	if err != nil {
		return surgery.Review{}, err
	}
	return d.reviews.get(fmt.Sprint(size, " ", d.records.Now().Format("2006-01-02 15:04")), func() (surgery.Review, error) {
		return d.records.Review(context.WithoutCancel(ctx))
	})
}

// waiting sorts what waits by whether the visitor may do it.
func (d *Desk) waiting(r *http.Request, v visitor, data *todayData) error {
	review, err := d.review(r.Context())
	if err != nil {
		return err
	}
	data.Open = openParts(review.Owed)
	for _, x := range review.Waiting {
		mine := v.Inspector || x.Kind == surgery.WaitRecall || x.Kind == surgery.WaitWindow || slices.ContainsFunc(x.For, func(role string) bool { return slices.Contains(v.Roles, role) })
		mine = mine && (x.Not == "" || x.Not != v.Person)
		if !mine {
			data.Others++
			continue
		}
		x.Instruction = onPages(x.Instruction)
		data.Waiting = append(data.Waiting, x)
	}
	return nil
}

// rowsOf is the day's list: machine by machine the tests that are missing, then the
// cycles in number order, with what lies between two after the one it follows.
func rowsOf(day surgery.DayShown) []row {
	var out []row
	used := map[int]bool{}
	last := "\x00"
	begin := func(machine string) {
		if machine == last {
			return
		}
		last = machine
		name := machine
		if name == "" {
			name = "Of no known steriliser"
		}
		out = append(out, row{Machine: name})
		for _, t := range day.Tests {
			if t.Machine == machine && t.State == "missing" && machine != "" {
				out = append(out, row{Missing: t.Kind})
			}
		}
	}
	for _, s := range day.Shown {
		begin(s.Steriliser)
		out = append(out, row{Shown: s, Again: slices.Contains(day.Again, s.Key)})
		for i, a := range day.Across {
			if used[i] || len(a.Cycles) == 0 || !slices.Contains(a.Cycles, s.Key) {
				continue
			}
			if a.Check == "number-gap" && a.Cycles[0] != s.Key && len(a.Cycles) > 1 {
				continue
			}
			used[i] = true
			out = append(out, gapRow(sentence(a.Message), a.Explained, a.Remedy, s.Key))
		}
	}
	for i, a := range day.Across {
		if !used[i] {
			about := ""
			if len(a.Cycles) > 0 {
				about = a.Cycles[len(a.Cycles)-1]
			}
			out = append(out, gapRow(sentence(a.Message), a.Explained, a.Remedy, about))
		}
	}
	for _, m := range day.Machines {
		if !slices.ContainsFunc(day.Shown, func(s surgery.Shown) bool { return s.Steriliser == m.ID }) {
			out = append(out, row{Machine: m.ID}, row{Gap: "No cycle of this day is here.", Settled: true})
		}
	}
	return out
}

func gapRow(message, explained, remedy, about string) row {
	if explained != "" {
		return row{Gap: message, GapWhy: "Explained: " + explained, Settled: true}
	}
	return row{Gap: message, GapWhy: remedy, About: about}
}

// sightWords is how a cycle stood, for a hidden field of a form: an act on a cycle that
// stands otherwise by then is refused.
func sightWords(s surgery.Sight) string {
	return fmt.Sprintf("%s %d %d %d %d", s.Key, s.Verdict, s.Release, s.Decision, s.Recall)
}

func readSight(text string) (surgery.Sight, error) {
	var s surgery.Sight
	f := strings.Fields(text)
	if len(f) != 5 {
		return s, fmt.Errorf("%w: it does not say how the cycle stood", errForm)
	}
	s.Key = f[0]
	for i, to := range []*int64{&s.Verdict, &s.Release, &s.Decision, &s.Recall} {
		n, err := strconv.ParseInt(f[i+1], 10, 64)
		if err != nil {
			return s, fmt.Errorf("%w: it does not say how the cycle stood", errForm)
		}
		*to = n
	}
	return s, nil
}

// release lets go all conforming loads that were on show, one entry each.
func (d *Desk) release(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	do := surgery.Deciding{Do: surgery.DoRelease, By: surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn}, Reason: reason(r.PostForm)}
	for _, text := range r.PostForm["seen"] {
		s, err := readSight(text)
		if err != nil {
			return err
		}
		do.Cycles, do.Seen = append(do.Cycles, s.Key), append(do.Seen, s)
	}
	if len(do.Cycles) == 0 {
		return fmt.Errorf("%w: no load is named", errForm)
	}
	if err := d.saysWhy(r.Context(), do); err != nil {
		return err
	}
	done, err := d.records.Decide(r.Context(), do)
	if err != nil {
		return err
	}
	d.say(r, plural(len(done), "load was", "loads were")+" released.")
	http.Redirect(w, r, inside(r.PostFormValue("back")), http.StatusSeeOther)
	return nil
}

// say leaves a sentence for the next page.
func (d *Desk) say(r *http.Request, text string) { d.sessions.Put(r.Context(), "said", text) }
