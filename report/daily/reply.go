package daily

import "holdproof/validate"

// Reply answers one of the twelve questions of an inspector for a period: in a sentence
// first, then in a table whose cells lead to what they speak of.
type Reply struct {
	Number   int // 1 to 12, see [Questions]
	Question string
	Short    string           // the answer in a sentence or two
	Outcome  validate.Outcome // what it amounts to, for its proof mark; not assessed where there is nothing to amount to
	Columns  []string
	Rows     [][]Cell // as many cells as there are columns
	Left     int      // rows that are not listed, such as those of a long period
	Notes    []string // what else has to be known, such as a gap and its explanation; sentences
}

// Result is what the answer amounts to.
func (r Reply) Result() validate.Outcome { return r.Outcome }

// Cell is one cell of an answer.
type Cell struct {
	Text    string
	To      Reference // where the text leads; zero: nowhere
	Marked  bool      // Outcome is shown as a proof mark before the text
	Outcome validate.Outcome
}

// Result is the outcome that a marked cell shows.
func (c Cell) Result() validate.Outcome { return c.Outcome }

// Reference names something that a page or a folder can lead to. The zero value
// leads nowhere.
type Reference struct {
	Kind string // one of the To words
	ID   string
	Day  string // date on whose page it stands, "" if on none
}

// What a [Reference] can lead to, and what its ID is then.
const (
	ToCycle   = "cycle"   // key of a cycle
	ToDay     = "day"     // date
	ToMonth   = "month"   // such as 2026-11
	ToPerson  = "person"  // id of a person
	ToMachine = "machine" // id of a steriliser
	ToEntry   = "entry"   // number of an entry in the log
	ToRecord  = "record"  // name of the file of a signed record
)

// Questions are what an inspector must be able to answer in seconds; the first has the
// number 1. The list is ours, after what CQC, RACGP and CDC texts ask to be kept.
func Questions() [12]string {
	return [12]string{
		"Is every cycle there, in the order of the numbers, and every gap explained?",
		"What was each cycle held to, what came of it, who loaded it and who released it?",
		"Were the day's tests run and passed before the first load, and is the day signed?",
		"When were the weekly, quarterly and yearly things last done, and what is overdue?",
		"How did each machine do over the period?",
		"Which cycles failed, were broken off, are not proven or not signed, and what became of the loads?",
		"Which loads lie between the last good test and the first bad one?",
		"Who may operate and release, and since when?",
		"Were the water lines of each chair flushed and disinfected, and what was the last count?",
		"Was anything changed after signing: before, after, who, when, why?",
		"Is this copy complete and unaltered?",
		"When was the surgery closed, and when was a machine out of service?",
	}
}
