package cli

import (
	"cmp"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"holdproof/cmd/internal/surgery"
)

// cautions is the one line at the foot of every page.
const cautions = "Compares recorded readings with the limits shown; it does not show that an item is sterile. " +
	"Not imported is not checked."

// sheet lays out what check found as the nurse reads it: first what needs her, each
// with one instruction and why; then what conforms, a line each; last the cautions.
// It keeps a few words of each cycle and not the cycle.
type sheet struct {
	page    *page
	several bool // files, so that one with more than one cycle is named
	needs   []need
	settled []settled
	sizes   []int        // cycles of each file that has been read
	detail  *explanation // nil without --explain
}

// need is a cycle, a machine or a file that a person must look at.
type need struct {
	file        int // for the order of files
	name        string
	who         string // steriliser and number
	outcome     surgery.Outcome
	instruction string
	also        []string // numbers of further cycles with the same missing setting
	reasons     []string
	about       string // when, kind, programme
	setting     string // key that is missing, "" if none
	machine     string
}

// settled is a cycle that conforms.
type settled struct {
	file            int
	name, who, what string
}

// maxReasons of one cycle are printed (ours): --explain prints every check.
const maxReasons = 3

func newSheet(p *page, explain, several bool) *sheet {
	d := &sheet{page: p, several: several}
	if explain {
		d.detail = newExplanation(p)
	}
	return d
}

// Close forgets what was kept aside.
func (d *sheet) Close() error {
	if d.detail == nil {
		return nil
	}
	return d.detail.Close()
}

func (d *sheet) Cycle(j surgery.Judged) error {
	if d.detail != nil {
		d.detail.cycle(j)
	}
	if j.Outcome() == surgery.Conforms {
		d.settled = append(d.settled, settled{len(d.sizes), j.File, who(j), about(j) + " · " + result(j)})
		return nil
	}
	n := need{file: len(d.sizes), name: j.File, who: who(j), outcome: j.Outcome(), instruction: j.Instruction.Sentence,
		reasons: reasons(j), about: about(j), machine: j.Header.Steriliser}
	if j.Instruction.Cause == surgery.CauseSetting {
		n.setting = j.Instruction.Keys[0]
	}
	if n.setting != "" {
		if i := slices.IndexFunc(d.needs, n.sameSetting); i >= 0 {
			d.needs[i].also = append(d.needs[i].also, n.who)
			return nil
		}
	}
	d.needs = append(d.needs, n)
	return nil
}

// sameSetting tells whether a cycle waits for the setting that another waits for:
// what the lead is asked is asked once per machine.
func (n need) sameSetting(other need) bool {
	return n.setting == other.setting && n.machine == other.machine
}

func (d *sheet) File(f surgery.FileRead) error {
	if d.detail != nil {
		d.detail.file(f)
	}
	if len(f.Problems) > 0 {
		n := need{file: len(d.sizes), name: f.Name, who: f.Name, instruction: "Do not use these loads. Export the record again.",
			outcome: surgery.NotProven}
		if f.Cycles > 0 {
			n.instruction = "Not all of this export could be read. Export the record again."
		}
		if key := f.Problems[0].Key; key != "" && f.Cycles == 0 {
			n.instruction = "Ask the lead to set " + key + "."
		}
		for i, p := range f.Problems {
			if i == maxReasons {
				n.reasons = append(n.reasons, fmt.Sprintf("and %d more", len(f.Problems)-i))
				break
			}
			text := p.Message
			if p.Line > 0 {
				text = fmt.Sprintf("line %d: %s", p.Line, text)
			}
			n.reasons = append(n.reasons, text)
		}
		d.needs = append(d.needs, n)
	}
	d.sizes = append(d.sizes, f.Cycles)
	return nil
}

// finish writes the page.
func (d *sheet) finish(across []surgery.Between) error {
	p := d.page
	indent := d.nameWidth()
	slices.SortStableFunc(d.needs, func(a, b need) int {
		return cmp.Or(cmp.Compare(d.group(a.file), d.group(b.file)), -cmp.Compare(severity(a.outcome), severity(b.outcome)))
	})
	slices.SortStableFunc(d.settled, func(a, b settled) int { return cmp.Compare(d.group(a.file), d.group(b.file)) })
	p.gap()
	d.writeNeeds(indent)
	if len(across) > 0 {
		p.line(span{"  Between the cycles", strong})
		p.gap()
		for _, a := range across {
			p.para("  ", sentence(a.Message), plain)
			p.para("  ", a.Remedy, plain)
			p.gap()
		}
	}
	d.writeSettled(indent)
	if d.detail != nil {
		if err := d.detail.copyTo(p); err != nil {
			return err
		}
	}
	p.para("  ", cautions, plain)
	return p.flush()
}

// group is the heading under which a file's cycles stand: its place if it has more
// than one cycle, else -1, which has no heading and stands first.
func (d *sheet) group(file int) int {
	if !d.several || d.sizes[file] < 2 {
		return -1
	}
	return file
}

// nameWidth is the width of the column of names.
func (d *sheet) nameWidth() int {
	n := 9
	for _, s := range d.settled {
		n = max(n, cells(s.who))
	}
	for _, s := range d.needs {
		if s.who != s.name {
			n = max(n, cells(s.who))
		}
	}
	return min(n, 24)
}

func (d *sheet) writeNeeds(indent int) {
	p := d.page
	if len(d.needs) == 0 {
		return
	}
	p.line(span{"  Needs you", strong})
	p.gap()
	last := -1
	for _, n := range d.needs {
		if g := d.group(n.file); g != last && n.who != n.name {
			p.line(span{"  " + n.name, plain})
			p.gap()
			last = g
		}
		d.writeNeed(n, indent)
		p.gap()
	}
}

func (d *sheet) writeNeed(n need, indent int) {
	p := d.page
	m := p.mark(n.outcome)
	if n.who == n.name { // a whole file
		p.line(span{"  ", plain}, m, span{"  " + n.who, plain})
		indent = 0
		p.para(p.under(m, indent), n.instruction, strong)
	} else {
		first := wrap(p.clean(n.instruction), p.width-cells(p.under(m, indent)))
		p.line(span{"  ", plain}, m, span{"  " + padded(n.who, indent) + "  ", plain}, span{first[0], strong})
		for _, l := range first[1:] {
			p.line(span{p.under(m, indent), plain}, span{l, strong})
		}
	}
	for _, r := range n.reasons {
		p.para(p.under(m, indent), sentence(r), plain)
	}
	if len(n.also) > 0 {
		p.para(p.under(m, indent), "The same for "+several(n.also)+".", plain)
	}
	if n.about != "" {
		p.line(span{p.under(m, indent) + n.about + " · ", plain}, span{n.outcome.String(), m.style})
	}
}

// under returns the room in front of what stands under an entry's first line.
func (p *page) under(m span, indent int) string {
	n := 2 + cells(m.text) + 2
	if indent > 0 {
		n += indent + 2
	}
	return strings.Repeat(" ", n)
}

func (d *sheet) writeSettled(indent int) {
	p := d.page
	if len(d.settled) == 0 {
		return
	}
	p.line(span{"  Conforms", strong})
	p.gap()
	last := -1
	for _, s := range d.settled {
		if g := d.group(s.file); g != last {
			p.gap()
			p.line(span{"  " + s.name, plain})
			last = g
		}
		p.line(span{"  ", plain}, p.mark(surgery.Conforms), span{"  " + padded(s.who, indent) + "  " + s.what, plain})
	}
	p.gap()
}

// who names a cycle as people do, S1 · 1042; one that says neither, by its file.
func who(j surgery.Judged) string {
	s, n := j.Header.Steriliser, j.Header.Number
	switch {
	case s != "" && n != "":
		return s + " · " + n
	case s != "":
		return s
	case n != "":
		return n
	}
	return filepath.Base(j.File)
}

// about says when, what kind and which programme.
func about(j surgery.Judged) string {
	parts := []string{j.Header.Start.Format("2 Jan 2006 15:04")}
	if kind := j.Verdict.Kind.String(); kind != "" {
		parts = append(parts, kind)
	}
	if name := j.Verdict.Programme.Name; name != "" {
		parts = append(parts, name)
	}
	return strings.Join(parts, " · ")
}

// result is the one figure of a cycle that conforms, rounded so that it never flatters.
func result(j surgery.Judged) string {
	m := j.Verdict.Measured
	switch {
	case m.Leak.Known:
		return "leak " + surgery.AtMost(m.Leak.Value, 3) + " kPa/min"
	case m.Hold.Known:
		return "held " + lasting(m.Hold.Value)
	}
	return j.Outcome().String()
}

// lasting writes a length of time in whole seconds, never rounded up: 3 min 34 s.
func lasting(seconds float64) string {
	n := int(seconds + 1e-9)
	if n < 60 {
		return fmt.Sprintf("%d s", n)
	}
	if n%60 == 0 {
		return fmt.Sprintf("%d min", n/60)
	}
	return fmt.Sprintf("%d min %d s", n/60, n%60)
}

// reasons are the messages of the findings that made the outcome.
func reasons(j surgery.Judged) []string {
	var out []string
	more := 0
	for _, f := range j.Verdict.Findings {
		switch {
		case f.Outcome != j.Outcome():
		case len(out) == maxReasons:
			more++
		default:
			out = append(out, f.Message)
		}
	}
	if more > 0 {
		out = append(out, fmt.Sprintf("and %d more, see --explain", more))
	}
	return out
}

// sentence gives a message its capital and its full stop.
func sentence(text string) string {
	if text == "" {
		return text
	}
	text = sentenceCase(text)
	if strings.HasSuffix(text, ".") || strings.HasSuffix(text, "?") {
		return text
	}
	return text + "."
}

// sentenceCase gives a text its capital, unless it begins with a name such as pH or F0.
func sentenceCase(text string) string {
	first := []rune(text)
	if len(first) < 2 || !unicode.IsLower(first[1]) && first[1] != ' ' {
		return text
	}
	return strings.ToUpper(string(first[0])) + string(first[1:])
}

// several joins names, at most ten of them.
func several(names []string) string {
	if len(names) > 10 {
		return strings.Join(names[:10], ", ") + fmt.Sprintf(" and %d more", len(names)-10)
	}
	return surgery.Alternatives(names)
}

var _ io.Closer = (*sheet)(nil)
