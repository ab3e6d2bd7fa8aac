package pdf

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"holdproof/report/daily"
	"holdproof/report/figure"
)

// lists draws what follows the cycles: numbers and clocks, tests, decisions,
// duties, exports, limits, remarks, cautions.
func (r *record) lists() {
	r.across()
	r.testRows()
	r.duties()
	r.drift()
	r.limits()
	r.exports()
	r.remarks()
	r.heading("Read this with care")
	for _, c := range daily.Cautions() {
		r.para(left, column, c, text)
		r.y += 0.8
	}
	if r.d.Record.Previous.SHA256 != "" {
		r.para(left, column, "At the foot: the hash of the file of the record before when this one was made. A later signature stands behind those bytes.", note)
	}
}

func (r *record) across() {
	if len(r.d.Across) == 0 {
		return
	}
	r.heading("Numbers and clocks")
	var rows [][]cell
	for _, a := range r.d.Across {
		explained := a.Explained
		if explained == "" {
			explained = "not explained"
		}
		rows = append(rows, []cell{say(a.Check, strong), say(capital(sentence(a.Message)), text).and(a.Remedy, note).and(strings.Join(r.names(a.Cycles), ", "), note), say(explained, text)})
	}
	r.table([]col{{"Check", 34, false}, {"What it found", 90, false}, {"Explained", 46, false}}, rows)
}

func (r *record) names(ids []string) []string {
	var out []string
	for _, id := range ids {
		if c, ok := r.d.Find(id); ok {
			id = c.Name()
		}
		out = append(out, id)
	}
	return out
}

func (r *record) testRows() {
	if len(r.d.Tests) == 0 {
		return
	}
	r.heading("Tests")
	var rows [][]cell
	for _, t := range r.d.Tests {
		what := say(t.Kind, text).and(t.Detail, note)
		if !t.Due {
			what = what.and("not owed before the first load", note)
		}
		cycle := ""
		if t.Cycle != "" {
			cycle = r.names([]string{t.Cycle})[0]
		}
		rows = append(rows, []cell{r.state(t, t.State), say(t.Machine, text), what, say(cycle, text), say(r.when(t.At), text), say(t.By, text)})
	}
	r.table([]col{{"", 24, false}, {"Steriliser", 24, false}, {"Test", 48, false}, {"Cycle", 26, false}, {"At", 16, false}, {"Read by", 32, false}}, rows)
}

func (r *record) when(at string) string {
	if at == "" {
		return ""
	}
	return r.clock(at)
}

// state is a cell with a mark and the word of a state beside it.
func (r *record) state(m daily.Marked, word string) cell {
	c := say(capital(word), text)
	c.shift = 4.6
	c.draw = func(at figure.Point) { figure.Mark(r, m.Result(), figure.Point{X: at.X + 1.5, Y: at.Y}, 2.9) }
	return c
}

// limits lists every limit the day's cycles were held against, each once, with its
// source and how sure it is.
func (r *record) limits() {
	r.heading("Limits the cycles were held against")
	set := fmt.Sprintf("Limit set %s, settings %s (SHA-256 %s).", r.d.Settings.Limits, r.d.Settings.File, r.d.Settings.SHA256)
	if r.d.Settings.Routine != "" {
		set += " Routine " + r.d.Settings.Routine + "."
	}
	r.para(left, column, set, note)
	if why := r.d.Settings.LooserBecause; why != "" {
		r.para(left, column, "These limits are looser than the published ones, because: "+sentence(why), strong)
	}
	r.routineChanges()
	r.y++
	var rows [][]cell
	for _, l := range limitsOf(r.d.InOrder()) {
		rows = append(rows, []cell{say(l.check, text), say(l.appliesTo, text), say(l.bounds, text), say(l.source, note), say(l.sure, text)})
	}
	if len(rows) > 0 {
		r.table([]col{{"Check", 36, false}, {"For", 29, false}, {"Limit", 31, false}, {"Source", 49, false}, {"How sure", 25, false}}, rows)
	}
	r.para(left, column, "How sure: read, the document was seen; second-hand, another text quotes it; memory, recalled and not seen at its source; computed, from a formula or a rule of this program.", note)
}

// limit is a line of the table of limits.
type limit struct {
	check, programme, bounds, source, sure string
	appliesTo                              string
	runs                                   []held
}

// held is a kind of cycle on a machine.
type held struct{ machine, kind string }

func heldMachine(x held) string { return x.machine }
func heldKind(x held) string    { return x.kind }

// limitsOf lists every limit of the cycles once. A limit that does not hold for every
// cycle run with its programme names the machines or the kinds it holds for: a
// penetration test and a load of one programme are not held to the same seconds.
func limitsOf(cycles []daily.Cycle) []limit {
	var out []limit
	place := map[string]int{}
	all := map[string][]held{}
	for _, c := range cycles {
		here := held{c.Steriliser, c.Kind}
		all[c.Programme] = with(all[c.Programme], here)
		for _, f := range c.Findings {
			if f.Source == "" {
				continue
			}
			l := limit{check: f.Check, bounds: bounds(f), source: f.Source, sure: f.Sure}
			if l.bounds != "" {
				l.programme = c.Programme
			}
			key := strings.Join([]string{l.check, l.programme, l.bounds, l.source, l.sure}, "\x00")
			i, there := place[key]
			if !there {
				i = len(out)
				place[key], out = i, append(out, l)
			}
			out[i].runs = with(out[i].runs, here)
		}
	}
	for i := range out {
		out[i].appliesTo = out[i].forWhat(all[out[i].programme])
	}
	return out
}

// forWhat names what a limit applies to, of all that was run with its programme: a check
// without a limit applies to all.
func (l limit) forWhat(all []held) string {
	if l.bounds == "" {
		return ""
	}
	kinds := strings.Join(each(l.runs, heldKind), ", ")
	if l.programme == "" {
		return kinds
	}
	words := "programme " + l.programme
	switch machines := strings.Join(each(l.runs, heldMachine), ", "); {
	case len(l.runs) == len(all):
		return words
	case l.holdsForAll(all, heldKind):
		return words + ": " + kinds
	case l.holdsForAll(all, heldMachine):
		return machines + ", " + words
	default:
		return machines + ", " + words + ": " + kinds
	}
}

// holdsForAll tells whether everything run that shares a kind, or a machine, with a run of
// the limit is held to it.
func (l limit) holdsForAll(all []held, of func(held) string) bool {
	shared := each(l.runs, of)
	for _, x := range all {
		if slices.Contains(shared, of(x)) && !slices.Contains(l.runs, x) {
			return false
		}
	}
	return true
}

// each lists a property of the runs, each value once.
func each(runs []held, of func(held) string) []string {
	var out []string
	for _, x := range runs {
		out = with(out, of(x))
	}
	return out
}

func with[T comparable](list []T, x T) []T {
	if slices.Contains(list, x) {
		return list
	}
	return append(list, x)
}

// shortest writes a limit as short as it is, without what a sum of binary fractions leaves
// behind the ninth decimal.
func shortest(v float64) string {
	return strings.Replace(strconv.FormatFloat(math.Round(v*1e9)/1e9, 'f', -1, 64), "-", "−", 1)
}

func bounds(f daily.Finding) string {
	switch {
	case f.Low != nil && f.High != nil:
		return shortest(*f.Low) + " to " + shortest(*f.High) + " " + f.Unit
	case f.Low != nil:
		return "at least " + shortest(*f.Low) + " " + f.Unit
	case f.High != nil:
		return "at most " + shortest(*f.High) + " " + f.Unit
	}
	return ""
}

func (r *record) exports() {
	r.heading("Exports, attached to this record as they were read")
	if len(r.d.Sources) == 0 {
		r.para(left, column, "None.", text)
		return
	}
	var rows [][]cell
	for _, s := range r.d.Sources {
		name := say(s.Name, text).and(s.SHA256, code)
		for _, p := range s.Problems {
			name = name.and(sentence(p), noteOn)
		}
		rows = append(rows, []cell{name, say(strconv.FormatInt(s.Bytes, 10), text)})
	}
	r.table([]col{{"File and SHA-256", 140, false}, {"Bytes", 30, true}}, rows)
}

func (r *record) remarks() {
	var all []string
	for _, m := range r.d.Machines {
		for _, w := range m.Remarks {
			all = append(all, m.ID+": "+w)
		}
	}
	all = append(all, r.d.Remarks...)
	if len(all) == 0 {
		return
	}
	r.heading("Remarks")
	for _, w := range all {
		r.para(left, column, capital(sentence(w)), text)
		r.y += 0.8
	}
}
