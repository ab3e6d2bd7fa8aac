package cli

import (
	"slices"

	"holdproof/cmd/internal/surgery"
)

// mark is the proof mark of an outcome: a disc that fills with proof. It stands
// beside its word and never instead of it.
func mark(o surgery.Outcome) (utf8, ascii string, s style) {
	switch o {
	case surgery.Conforms:
		return "●", "(*)", plain
	case surgery.Borderline:
		return "◐", "(/)", ochre
	case surgery.Failed:
		return "✕", "(x)", brick
	case surgery.NotAssessed:
		return "–", " - ", plain
	}
	return "○", "( )", plain
}

// mark returns the mark as the page can show it.
func (p *page) mark(o surgery.Outcome) span {
	text, ascii, s := mark(o)
	if p.ascii {
		text = ascii
	}
	return span{text, s}
}

// severity orders what a person must look at, the worst last.
func severity(o surgery.Outcome) int {
	return slices.Index([]surgery.Outcome{surgery.Conforms, surgery.Borderline, surgery.NotProven, surgery.Failed}, o)
}
