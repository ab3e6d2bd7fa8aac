package pdf

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"holdproof/report/daily"
	"holdproof/report/figure"
)

// label is the room left of what the sections of the first page say.
const label = 32.0

// front draws the first page: what needs a person, then what an inspector asks.
func (r *record) front() {
	r.newPage()
	r.floor = blockTop - 7
	r.para(left, column, r.d.Surgery.Name, title)
	r.para(left, column, r.day(), date)
	r.y += 1
	r.para(left, column, r.about(), note)
	r.y += 3
	r.signatures()
	r.rule(r.y)
	r.y += 2
	r.recalls()
	r.changes()
	r.closed()
	r.section("Cycles", r.counts)
	if flagged := r.flagged(); len(flagged) > 0 {
		r.section("Do not conform", func(x, w float64) { r.departures(flagged, x, w) })
	}
	r.section("Missing", r.missing)
	r.machines()
}

// about says which record this is and when it was made.
func (r *record) about() string {
	rec := r.d.Record
	out := fmt.Sprintf("Record %s, as of %s, times in %s. Holdproof %s.", rec.ID, r.clock(rec.Made), r.d.Surgery.Zone, r.d.Program)
	if rec.Revision > 1 {
		out = fmt.Sprintf("Revision %d: %s. It takes the place of %s. ", rec.Revision, stripStop(rec.Reason), rec.Replaces.ID) + out
	}
	return out
}

func stripStop(s string) string { return strings.TrimSuffix(s, ".") }

// section sets a label at the left and what it is about beside it.
func (r *record) section(name string, body func(x, w float64)) {
	r.room(lineText + 3)
	r.put(left, r.y+lineText*0.75, name, note)
	page, y := r.pdf.PageNo(), r.y
	body(left+label, column-label)
	if r.pdf.PageNo() == page && r.y < y+lineText {
		r.y = y + lineText
	}
	r.y += 1.2
	r.rule(r.y)
	r.y += 1.8
}

// mark draws a proof mark and its word, and returns where the word ends.
func (r *record) mark(m daily.Marked, x float64, words string, st style) float64 {
	figure.Mark(r, m.Result(), figure.Point{X: x + 1.5, Y: r.y + st.line/2 - 0.3}, 2.9)
	return r.put(x+4.6, r.y+st.line*0.75, words, st)
}

// recalls stand before everything else.
func (r *record) recalls() {
	for _, c := range r.d.Recalls {
		name := c.Cycle
		if k, ok := r.d.Find(c.Cycle); ok {
			name = k.Name()
		}
		r.section("Recall", func(x, w float64) {
			st := strong
			state := "open"
			if c.Closed != "" {
				state = "closed " + r.clock(c.Closed) + " by " + c.By
			} else {
				st = st.in(figure.InkFailed)
			}
			r.para(x, w, fmt.Sprintf("Load %s, recalled %s, %s.", name, r.clock(c.Opened), state), st)
			for _, line := range [...]struct{ what, words string }{{"Packs: ", c.Packs}, {"Used since: ", c.Used}, {"What became of them: ", c.Outcome}} {
				if line.words != "" {
					r.para(x, w, line.what+line.words, text)
				}
			}
		})
	}
}

// changes says what came after the revision before.
func (r *record) changes() {
	if len(r.d.Changes) == 0 {
		return
	}
	r.section("Later entries", func(x, w float64) {
		for _, c := range r.d.Changes {
			line := capital(c.What) + ": " + c.After
			if c.Before != "" {
				line += ", before: " + c.Before
			}
			by := c.By
			if by == "" {
				by = "the program"
			}
			r.para(x, w, line+".", text)
			detail := fmt.Sprintf("Entry %d, %s, by %s", c.Entry, r.clock(c.At), by)
			if c.Reason != "" {
				detail += ": " + stripStop(c.Reason)
			}
			r.para(x, w, detail+".", note)
		}
	})
}

func (r *record) closed() {
	for _, c := range r.d.Closed {
		what := "The surgery was closed"
		if c.Machine != "" {
			what = c.Machine + " was out of service"
		}
		if c.From != "" {
			what += " from " + r.clock(c.From)
		}
		if c.To != "" {
			what += " until " + r.clock(c.To)
		}
		r.section("Not in use", func(x, w float64) {
			line := what + ": " + stripStop(c.Reason) + "."
			if c.By != "" {
				line += " Entered by " + c.By + "."
			}
			r.para(x, w, line, strong)
		})
	}
}

// counts says how many cycles there are and what they came to, the worst first.
func (r *record) counts(x, _ float64) {
	n := len(r.d.Cycles)
	if n == 0 {
		r.put(x, r.y+lineText*0.75, "No cycle was recorded.", strong)
		r.y += lineText
		return
	}
	at := r.put(x, r.y+lineText*0.75, strconv.Itoa(n)+":", strong) + 3
	for _, t := range r.d.Tallies() {
		st := strong
		if t.Outcome.String() == "failed" {
			st = st.in(figure.InkFailed)
		}
		words := fmt.Sprintf("%d %s", t.Cycles, t.Outcome)
		if t.Outcome.String() == "conforms" && t.Cycles != 1 {
			words = fmt.Sprintf("%d conform", t.Cycles)
		}
		at = r.mark(t, at, words, st) + 6
	}
	r.y += lineText
}

func (r *record) flagged() []daily.Cycle {
	return slices.DeleteFunc(r.d.InOrder(), daily.Cycle.Conforms)
}

// departures lists every cycle that does not conform, why, and what became of it.
func (r *record) departures(cycles []daily.Cycle, x, w float64) {
	for i, c := range cycles {
		if i > 0 {
			r.y += 1.6
		}
		r.room(3 * lineText)
		st := strong
		if c.Result().String() == "failed" {
			st = st.in(figure.InkFailed)
		}
		end := r.mark(c, x, r.outcome(c)+"  ", st)
		end = r.put(end+1, r.y+lineText*0.75, c.Name(), strong)
		kind := c.Kind
		if c.Programme != "" {
			kind += " " + c.Programme
		}
		r.put(end+3, r.y+lineText*0.75, r.shorten(r.clock(c.Start)+"  "+kind, text, x+w-end-3), text)
		r.y += lineText
		r.para(x+4.6, w-4.6, r.why(c), text)
		r.para(x+4.6, w-4.6, r.became(c), text)
	}
}

// outcome is the word of the verdict with a capital.
func (r *record) outcome(c daily.Cycle) string { return capital(c.Result().String()) }

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// why is the first finding that carries the verdict.
func (r *record) why(c daily.Cycle) string {
	for _, f := range c.Findings {
		if f.Result() == c.Result() {
			return capital(sentence(f.Message))
		}
	}
	return "Nothing was assessed."
}

func sentence(s string) string {
	if s == "" || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}

// became says what was decided about a load.
func (r *record) became(c daily.Cycle) string {
	var out []string
	for i, x := range r.d.DecisionsOn(c.ID) {
		words := r.decision(x)
		if i > 0 {
			words = capital(words)
		}
		out = append(out, words)
	}
	if len(out) == 0 {
		return "What became of it: no decision is recorded."
	}
	return "What became of it: " + strings.Join(out, " ")
}

func (r *record) decision(x daily.Decision) string {
	line := fmt.Sprintf("%s %s by %s", x.Act, r.clock(x.At), x.By)
	if x.Role != "" {
		line += " (" + x.Role + ")"
	}
	if x.Second != "" {
		line += " and " + x.Second
	}
	if x.Reason != "" {
		line += ": " + stripStop(x.Reason)
	}
	if x.Rerun != "" {
		name := x.Rerun
		if c, ok := r.d.Find(x.Rerun); ok {
			name = c.Name()
		}
		line += "; run again as " + name
	}
	return line + "."
}

// missing lists what the day owes and does not have.
func (r *record) missing(x, w float64) {
	if len(r.d.Missing) == 0 {
		r.para(x, w, "Nothing that the routine owes.", text)
		return
	}
	why := r.d.Missing[0].Reason
	same := len(r.d.Missing) > 1 && why != "" && !slices.ContainsFunc(r.d.Missing, func(m daily.Missing) bool { return m.Reason != why })
	for _, m := range r.d.Missing {
		line := capital(m.What)
		if m.Machine != "" {
			line = m.Machine + ": " + m.What
		}
		if m.Reason != "" && !same {
			line += ". Signed without it: " + stripStop(m.Reason) + "."
		}
		r.para(x, w, line, strong)
	}
	if same {
		r.para(x, w, "Signed without all of this: "+stripStop(why)+".", text)
	}
}

// machines draws one row a steriliser, with the answer about its tests.
func (r *record) machines() {
	answers := r.d.BeforeLoads()
	if len(answers) == 0 {
		return
	}
	r.y += 2
	cols := []col{{"Steriliser", 23, false}, {"Serial number", 25, false}, {"Type", 17, false}, {"Cycles", 15, true}, {"Numbers", 23, false}, {"Counter", 17, true}, {"Tests passed before the first load", 50, false}}
	var rows [][]cell
	for _, a := range answers {
		m := daily.Machine{ID: a.Machine}
		if i := slices.IndexFunc(r.d.Machines, func(m daily.Machine) bool { return m.ID == a.Machine }); i >= 0 {
			m = r.d.Machines[i]
		}
		count, numbers := r.numbers(a.Machine)
		counter := ""
		if m.Counter != nil {
			counter = strconv.FormatInt(*m.Counter, 10)
		}
		rows = append(rows, []cell{say(m.ID, strong), say(m.Serial, text), say(kindOf(m), text), say(strconv.Itoa(count), text), say(numbers, text), say(counter, text), r.tests(a)})
	}
	r.table(cols, rows)
}

func kindOf(m daily.Machine) string {
	out := m.Type
	if m.Litres != nil {
		if out != "" {
			out += ", "
		}
		out += strconv.FormatFloat(*m.Litres, 'f', -1, 64) + " L"
	}
	return out
}

// numbers returns how many cycles a steriliser has that day, and the first and last
// of their numbers.
func (r *record) numbers(machine string) (count int, span string) {
	first, last := "", ""
	for _, c := range r.d.InOrder() {
		if c.Steriliser != machine {
			continue
		}
		if count == 0 {
			first = c.Number
		}
		last = c.Number
		count++
	}
	if first == last {
		return count, first
	}
	return count, first + "–" + last
}

func (r *record) tests(a daily.Answer) cell {
	word := "No"
	switch {
	case a.Yes:
		word = "Yes"
	case a.Loads == 0:
		word = "No load that day"
	}
	c := say(word, strong).and(strings.Join(a.Why, ", "), note)
	c.draw = func(at figure.Point) { figure.Mark(r, a.Result(), figure.Point{X: at.X + 1.5, Y: at.Y}, 2.9) }
	c.shift = 4.6
	return c
}

// signatures draws the two blocks at the foot of the first page. Who signs, in which
// role and when, is drawn inside by the signature itself.
func (r *record) signatures() {
	second := left + blockW + blockGap
	r.frame(left)
	if r.preview {
		st := strong.in(figure.InkQuiet)
		for _, x := range []float64{left, second} {
			r.put(x+(blockW-r.width(previewWords, st))/2, blockTop+blockH/2+1.2, previewWords, st)
		}
	}
	r.put(left, blockTop+blockH+3.6, "Left: who prepared this record. Right: who reviewed it. An empty block means that nobody signed it.", note)
	if r.d.Signing.Second == "none" && !r.preview {
		y := r.y
		r.y = blockTop
		r.rule2(second)
		r.y++
		for _, l := range r.wrap("No second signature is asked for: "+sentence(r.d.Signing.Reason), text, blockW) {
			if r.y+lineText > blockTop+blockH {
				break
			}
			r.put(second, r.y+lineText*0.75, l, text)
			r.y += lineText
		}
		r.y = y
		return
	}
	r.frame(second)
}

func (r *record) rule2(x float64) { r.ruleFrom(x, blockTop, x+blockW) }

// previewWords stand where a person would sign.
const previewWords = "Preview: signed by nobody"

// frame draws a hairline around the room for a signature.
func (r *record) frame(x float64) {
	r.Polyline([]figure.Point{{X: x, Y: blockTop}, {X: x + blockW, Y: blockTop}, {X: x + blockW, Y: blockTop + blockH}, {X: x, Y: blockTop + blockH}, {X: x, Y: blockTop}},
		figure.Stroke{Ink: figure.InkHair, Width: 0.25})
}
