package pdf

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"holdproof/report/daily"
	"holdproof/report/figure"
)

// cycles draws every cycle in the order of the numbers: what conforms as a row with
// the small figure, what does not on half a page.
func (r *record) cycles() {
	all := r.d.InOrder()
	if len(all) == 0 {
		return
	}
	if r.pdf.PageNo() == 1 || r.y > 150 {
		r.newPage()
	}
	r.heading("Cycles in the order of their numbers")
	for i := 0; i < len(all); {
		if !all[i].Conforms() {
			r.flaggedCycle(all[i])
			i++
			continue
		}
		n := i
		for n < len(all) && all[n].Conforms() {
			n++
		}
		r.rows(all[i:n])
		i = n
	}
}

var cycleCols = []col{
	{"", 23, false}, {"Cycle", 25, false}, {"Start", 12, false}, {"Kind and load", 32, false},
	{"Held s", 14, true}, {"Needs s", 15, true}, {"From °C", 16, true}, {"To °C", 13, true}, {"", 20, false},
}

// below is the room of what stands under kind and figures.
const below = 32 + 14 + 15 + 16 + 13

// rows draws cycles that conform.
func (r *record) rows(cycles []daily.Cycle) {
	var rows [][]cell
	for _, c := range cycles {
		m := say(r.outcome(c), text)
		m.draw = func(at figure.Point) { figure.Mark(r, c.Result(), figure.Point{X: at.X + 1.5, Y: at.Y}, 2.9) }
		m.shift, m.high = 4.6, 8.6
		rows = append(rows, []cell{
			m, say(c.Name(), strong), say(r.clock(c.Start), text), r.kind(c),
			say(seconds(c.Measured.Hold), text), say(needed(c), text), say(down(c.Measured.TemperatureMin), text), say(up(c.Measured.TemperatureMax), text),
			{draw: func(at figure.Point) { r.smallFigure(c, at) }, high: 8.6},
		})
	}
	r.table(cycleCols, rows)
}

func (r *record) smallFigure(c daily.Cycle, at figure.Point) {
	f, ok := r.figures[c.ID]
	if !ok {
		r.put(at.X, at.Y+1, "no readings", note)
		return
	}
	figure.DrawSmall(r, f, figure.Box{X: at.X, Y: at.Y - 1.6, W: 20, H: 8})
}

// kind says what was run, what was in it and what was decided.
func (r *record) kind(c daily.Cycle) cell {
	words := capital(c.Kind)
	if c.Programme != "" {
		words += " " + c.Programme
	}
	out := say(words, text)
	if l := c.Measured.Leak; l != nil {
		out = out.and(figure.Rate(*l)+" kPa/min"+limitOf(c), noteOn)
	}
	out = out.and(load(c), note)
	for _, x := range r.d.DecisionsOn(c.ID) {
		out = out.and(capital(r.decision(x)), note)
	}
	return out.across(below)
}

func limitOf(c daily.Cycle) string {
	for _, f := range c.Findings {
		if f.Check == "air-leakage" && f.High != nil {
			return ", at most " + shortest(*f.High)
		}
	}
	return ""
}

// load says what was in a load and who loaded it. A load that nobody described says so;
// a test needs no description.
func load(c daily.Cycle) string {
	l := c.Load
	if l == (daily.Load{}) && c.Kind == "load" {
		return "nobody noted what was in the load or who loaded it"
	}
	var out []string
	if l.Contents != "" {
		out = append(out, l.Contents)
	}
	if l.Packs > 0 {
		out = append(out, fmt.Sprintf("%d packs", l.Packs))
	}
	if l.Packing != "" {
		out = append(out, l.Packing)
	}
	if l.By != "" {
		out = append(out, "loaded by "+l.By)
	}
	return strings.Join(out, ", ")
}

// needed is the holding time the cycle was held against.
func needed(c daily.Cycle) string {
	for _, f := range c.Findings {
		if f.Check == "holding-time" && f.Low != nil {
			return shortest(*f.Low)
		}
	}
	return ""
}

// Rounding never flatters: what is held against a lower limit goes down, what is
// held against an upper one goes up. A figure that was not measured is left empty.
func seconds(v *float64) string { return rounded(v, 0, math.Floor) }
func down(v *float64) string    { return rounded(v, 1, math.Floor) }
func up(v *float64) string      { return rounded(v, 1, math.Ceil) }

func rounded(v *float64, digits int, to func(float64) float64) string {
	if v == nil {
		return ""
	}
	scale := math.Pow10(digits)
	near := math.Round(*v*scale) / scale // 134.3 is not 134.29999999999998
	if math.Abs(near-*v) > 1e-9 {
		near = to(*v*scale) / scale
	}
	return strings.Replace(strconv.FormatFloat(near+0, 'f', digits, 64), "-", "−", 1)
}

const figureHigh = 54.0 // so that two cycles stand on a page

// flaggedCycle draws a cycle that needs a person: what to do, the figure, why.
func (r *record) flaggedCycle(c daily.Cycle) {
	if r.y > top+12 {
		r.y += 5
	}
	r.room(min(r.height(func() { r.flaggedBody(c) }), bottom-top-8))
	r.flaggedBody(c)
	r.y++
	r.rule(r.y)
	r.y += 2
}

func (r *record) flaggedBody(c daily.Cycle) {
	st := strong
	if c.Result().String() == "failed" {
		st = st.in(figure.InkFailed)
	}
	end := r.mark(c, left, r.outcome(c), st)
	end = r.put(end+4, r.y+lineText*0.75, c.Name(), strong)
	words := "started " + r.clock(c.Start) + ", " + c.Kind
	if c.Programme != "" {
		words += ", programme " + c.Programme + " (" + c.ProgrammeBy + ")"
	}
	r.put(end+4, r.y+lineText*0.75, r.shorten(words, text, left+column-end-4), text)
	r.y += lineText + 0.4
	if c.Instruction != "" {
		r.para(left, column, c.Instruction, strong)
	}
	if l := load(c); l != "" {
		r.para(left, column, "Load: "+sentence(strings.TrimPrefix(l, "load ")), text)
	}
	r.para(left, column, r.became(c), text)
	r.y++
	if f, ok := r.figures[c.ID]; ok {
		if !r.dry {
			figure.Draw(r, f, figure.Box{X: left, Y: r.y, W: column, H: figureHigh})
		}
		r.y += figureHigh + 2
	} else {
		r.para(left, column, "No figure: the readings of this cycle are not at hand.", text)
	}
	r.findings(c)
	r.y++
	r.para(left, column, r.measured(c), noteOn)
	r.quiet(c)
}

// findings lists what does not conform, each with its flag, figure, limit, source
// and how sure the source is.
func (r *record) findings(c daily.Cycle) {
	for _, f := range c.Findings {
		o := f.Result().String()
		if o == "conforms" || o == "not assessed" {
			continue
		}
		r.room(2 * lineText)
		st := strong
		if o == "failed" {
			st = st.in(figure.InkFailed)
		}
		x := left + 6.0
		if f.Flag > 0 {
			r.flag(f)
		}
		end := r.mark(f, x, capital(o), st)
		r.put(end+3, r.y+lineText*0.75, f.Check, text)
		r.y += lineText
		r.para(x+4.6, column-x+left-4.6, capital(sentence(f.Message))+" "+f.Remedy, text)
		r.para(x+4.6, column-x+left-4.6, fmt.Sprintf("Source: %s (%s).%s", stripStop(f.Source), f.Sure, place(f)), note)
	}
}

// flag draws the finding's number as it stands on the figure.
func (r *record) flag(f daily.Finding) {
	ink := figure.InkLine
	switch f.Result().String() {
	case "failed":
		ink = figure.InkFailed
	case "borderline":
		ink = figure.InkBorder
	}
	n := strconv.Itoa(f.Flag)
	st := style{bold, sizeNote, lineNote, figure.InkPaper}
	w := r.width(n, st) + 1.5
	r.Rectangle(figure.Box{X: left, Y: r.y + 0.7, W: w, H: 3.2}, ink)
	r.put(left+0.75, r.y+0.7+2.5, n, st)
}

func place(f daily.Finding) string {
	if f.Line == 0 {
		return ""
	}
	return fmt.Sprintf(" Line %d of the export.", f.Line)
}

// measured writes the figures of a cycle in one paragraph.
func (r *record) measured(c daily.Cycle) string {
	m := c.Measured
	var out []string
	add := func(words, figure string) {
		if figure != "" {
			out = append(out, fmt.Sprintf(words, figure))
		}
	}
	add("held %s s as recorded", rounded(m.Hold, 1, math.Floor))
	add("proved %s s", rounded(m.HoldGuarded, 1, math.Floor))
	add("in the band %s s", rounded(m.InBand, 1, math.Floor))
	add("at least %s °C", down(m.TemperatureMin))
	add("at most %s °C", up(m.TemperatureMax))
	add("spread %s K", up(m.Spread))
	add("steam differs by %s K on average", rounded(m.SteamMean, 1, away))
	add("equilibration %s s", up(m.Equilibration))
	add("F0 %s min (Tref 121.1 °C, z 10 K)", down(m.F0))
	add("a reading every %s s", up(m.Sampling))
	if m.Leak != nil {
		out = append(out, "pressure rose "+figure.Rate(*m.Leak)+" kPa/min")
	}
	if len(out) == 0 {
		return "Nothing was measured."
	}
	return "Measured: " + strings.Join(out, ", ") + "."
}

func away(v float64) float64 { return math.Copysign(math.Ceil(math.Abs(v)), v) }

// quiet writes in small what conforms, what was not assessed, and remarks.
func (r *record) quiet(c daily.Cycle) {
	var good, not []string
	for _, f := range c.Findings {
		switch f.Result().String() {
		case "conforms":
			good = append(good, f.Check)
		case "not assessed":
			not = append(not, f.Check)
		}
	}
	var out []string
	for _, l := range [...]struct {
		what string
		list []string
		sep  string
	}{{"Conforms: ", good, ", "}, {"Not assessed: ", not, ", "}, {"", c.Limitations, "; "}, {"", c.Remarks, "; "}} {
		if len(l.list) > 0 {
			out = append(out, sentence(capital(l.what+strings.Join(l.list, l.sep))))
		}
	}
	r.para(left, column, strings.Join(out, " "), note)
}
