package cli

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// cautions is the one line at the foot of every page.
const cautions = "Compares recorded readings with limits; does not show an item is sterile."

// sheet lays out what check found as the nurse reads it: first what needs her, each
// with one instruction and why; then what conforms, a line each; last the cautions.
// It keeps a few words of each cycle and not the cycle.
type sheet struct {
	page    *page
	several bool // files, so that one with more than one cycle is named
	needs   []need
	settled []settled
	remarks []string     // each once
	sizes   []int        // cycles of each file that has been read
	told    []string     // of the file that is read now: problems that stand with a cycle
	detail  *explanation // nil without --explain
	limits  string       // in force, for the foot
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
	key         string // of a kept cycle, "" in check
}

// settled is a cycle that conforms; then is what is still to be done.
type settled struct {
	file                  int
	name, who, what, then string
}

// How much of one kind is printed (ours): --explain prints all.
const (
	maxReasons = 3 // of one cycle
	maxRemarks = 8
)

func newSheet(p *page, limits string, explain, several bool) *sheet {
	d := &sheet{page: p, several: several, limits: limits}
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
	d.remark(j)
	if j.Outcome() == surgery.Conforms {
		d.settled = append(d.settled, settled{len(d.sizes), j.File, who(j), about(j) + " · " + result(j), j.Then()})
		return nil
	}
	n := need{file: len(d.sizes), name: j.File, who: who(j), outcome: j.Outcome(), instruction: j.Instruction.Sentence,
		reasons: reasons(j), about: about(j), machine: j.Header.Steriliser}
	if j.Instruction.Cause == surgery.CauseUnreadable {
		for _, f := range j.Verdict.Findings { // why it cannot be read, a problem of the file too
			n.reasons = []string{inLine(f.Line, f.Message)}
			d.told = append(d.told, n.reasons...)
		}
	}
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

// remark keeps what is worth knowing, once for each machine.
func (d *sheet) remark(j surgery.Judged) {
	for _, r := range j.Remarks() {
		text := sentence(r)
		if j.Header.Steriliser != "" {
			text = j.Header.Steriliser + ": " + sentence(r)
		}
		if len(d.remarks) <= maxRemarks && !slices.Contains(d.remarks, text) {
			d.remarks = append(d.remarks, text)
		}
	}
}

// sameSetting tells whether a cycle waits for the setting that another waits for:
// what the lead is asked is asked once per machine.
func (n need) sameSetting(other need) bool {
	return n.setting == other.setting && n.machine == other.machine
}

func (d *sheet) File(f surgery.FileRead) error {
	if d.detail != nil {
		if err := d.detail.file(f); err != nil {
			return err
		}
	}
	told := d.told
	d.told = nil
	f.Problems = slices.DeleteFunc(slices.Clone(f.Problems), func(p surgery.Problem) bool { return slices.Contains(told, inLine(p.Line, p.Message)) })
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
			n.reasons = append(n.reasons, inLine(p.Line, p.Message))
		}
		d.needs = append(d.needs, n)
	}
	d.sizes = append(d.sizes, f.Cycles)
	return nil
}

// inLine puts the line before what is said of it.
func inLine(line int, message string) string {
	if line > 0 {
		return fmt.Sprintf("line %d: %s", line, message)
	}
	return message
}

// finish writes the page.
func (d *sheet) finish(across []surgery.Between) error { return d.finishWith(across, func() {}) }

// finishWith writes the page, with what tail writes above the foot.
func (d *sheet) finishWith(across []surgery.Between, tail func()) error {
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
	d.writeRemarks()
	if d.detail != nil {
		if err := d.detail.copyTo(p); err != nil {
			return err
		}
	}
	tail()
	p.para("  ", "Limits "+d.limits+", holdproof "+surgery.Version+".", plain)
	p.para("  ", cautions, plain)
	return p.flush()
}

func (d *sheet) writeRemarks() {
	if len(d.remarks) == 0 {
		return
	}
	p := d.page
	p.line(span{"  Worth knowing", strong})
	p.gap()
	for i, r := range d.remarks {
		if i == maxRemarks {
			r = "More is worth knowing: see --explain."
		}
		p.para("  ", r, plain)
	}
	p.gap()
}

// called is how the page names a file: without its folder, unless another file of
// the same name is there too.
func (d *sheet) called(name string) string {
	base := filepath.Base(name)
	other := func(n string) bool { return n != name && filepath.Base(n) == base }
	if slices.ContainsFunc(d.needs, func(n need) bool { return other(n.name) }) ||
		slices.ContainsFunc(d.settled, func(s settled) bool { return other(s.name) }) {
		return name
	}
	return base
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
			p.line(span{"  " + d.called(n.name), plain})
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
		p.line(span{"  ", plain}, m, span{"  " + d.called(n.name), plain})
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
			p.line(span{"  " + d.called(s.name), plain})
			last = g
		}
		m := p.mark(surgery.Conforms)
		p.para("  "+m.text+"  "+padded(p.clean(s.who), indent)+"  ", s.what, m.style)
		if s.then != "" {
			p.para(p.under(m, indent), s.then, plain)
		}
	}
	p.gap()
}
