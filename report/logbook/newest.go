package logbook

import (
	"context"
	"time"
)

// The newest cycles of very many are found by walking an index from its end until enough
// are found. Which index that is follows from what is asked; the columns of the others
// are written so that no index fits them.

// walk is the index that a question for the newest is answered by.
type walk int

const (
	byChoice walk = iota // something else finds few: the database chooses
	byStart
	byMachine
	byKind
	byOutcome
)

func (f CycleFilter) walk() walk {
	switch {
	case !f.Newest, f.Key != "", f.Number != "", f.Digest != "", f.File != "", !f.Start.IsZero(), f.Waiting, f.Recalled,
		f.From != "" && f.From == f.To, f.Person != "" && !f.often:
		return byChoice
	case f.Outcome != "":
		return byOutcome
	case f.Kind != "":
		return byKind
	case f.Steriliser != "":
		return byMachine
	}
	return byStart
}

// column is c.name as an index finds it, or so that none does.
func (w walk) column(name string, of walk) string {
	if w == byChoice || w == of {
		return "c." + name
	}
	return "c." + name + " || ''"
}

// around adds the bounds of the start that follow from days: a local day lies less than
// two days from the same date in UTC.
func (w walk) around(f CycleFilter, to *where) {
	if w == byChoice {
		return
	}
	const far = 2
	if day, err := time.Parse(time.DateOnly, f.From); err == nil {
		to.add("c.start >= ", day.AddDate(0, 0, -far).Format(time.DateOnly))
	}
	if day, err := time.Parse(time.DateOnly, f.To); err == nil {
		to.add("c.start <= ", day.AddDate(0, 0, far+1).Format(time.DateOnly))
	}
}

// manyActs is from how many on it is quicker to look at cycle after cycle whether a person
// acted on it than to gather all that the person acted on (ours).
const manyActs = 500

// actsOften tells whether a person made very many entries.
func (v *View) actsOften(ctx context.Context, person string) (bool, error) {
	var n int64
	err := v.q.QueryRowContext(ctx, `SELECT COUNT(*) FROM (SELECT 1 FROM acts WHERE person = $1 LIMIT $2) AS some`, person, manyActs).Scan(&n)
	return n == manyActs, err
}
