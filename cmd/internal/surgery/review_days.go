package surgery

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// machine is what was done at the machine and has no record yet; of what was rejected
// today the record may still come.
func (w *waits) machine() error {
	rows, err := logbook.Find[entry.Release](w.ctx, w.v, logbook.Filter{From: w.from})
	if err != nil {
		return err
	}
	for _, row := range rows {
		if row.Cycle != "" || row.Said.Day >= w.r.Today() && row.Said.Act != "released" {
			continue
		}
		w.add(Waiting{Kind: WaitRecord, Name: w.r.calls(entry.Verdict{Steriliser: row.Said.Steriliser, Number: row.Said.Number}), Day: row.Said.Day, Outcome: validate.NotAssessed,
			Instruction: "Export and import the record of this cycle.",
			Why:         fmt.Sprintf("It was %s at the machine on %s by %s (entry %d), and its record has not come.", row.Said.Act, dayWords(row.Said.Day), row.By, row.Number)}, enough(ActNote)...)
	}
	return nil
}

// files are those that could not be read, or not to their end.
func (w *waits) files() error {
	rows, err := logbook.Find[entry.Import](w.ctx, w.v, logbook.Filter{From: w.from})
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		return nil
	}
	looked, err := logbook.Find[entry.Note](w.ctx, w.v, logbook.Filter{Topic: dutyFile, From: w.from})
	if err != nil {
		return err
	}
	done := map[int64]bool{}
	for _, n := range looked {
		var d dutyData
		if json.Unmarshal(n.Said.Data, &d) == nil && d.File != nil {
			done[*d.File] = true
		}
	}
	shown := map[string]bool{}
	for _, row := range slices.Backward(rows) {
		if done[row.Number] || shown[row.Said.SHA256] {
			continue
		}
		shown[row.Said.SHA256] = true
		var problems []keptProblem
		if err := json.Unmarshal(row.Said.Problems, &problems); err != nil || len(problems) == 0 {
			continue
		}
		x := Waiting{Kind: WaitFile, Name: row.Said.File, Day: row.Said.Day, Outcome: NotProven, Instruction: "Do not use these loads. Export the record again.",
			Why: capital(problems[0].Message) + ".", Type: fmt.Sprintf("note --duty %q --entry %d --text TEXT", dutyFile, row.Number), Entry: row.Number}
		if row.Said.Readable {
			x.Instruction = "Not all of this export could be read. Export the record again."
		}
		w.add(x, enough(ActExplain)...)
	}
	return nil
}

// days are those before today without a signature, and signed ones that changed since.
func (w *waits) days() error {
	spelt := 0
	days, err := w.v.Days(w.ctx, w.from, w.r.Today())
	if err != nil {
		return err
	}
	began, err := w.r.began(w.ctx, w.v)
	if err != nil {
		return err
	}
	for _, d := range days {
		x := Waiting{Name: dayWords(d.Day), Day: d.Day, Outcome: validate.NotAssessed, Type: "day " + d.Day + " --sign PERSON"}
		switch {
		case d.Due():
			x.Kind, x.Instruction = WaitRevision, "Sign a new revision: entries came after its record was signed."
		case d.Revision == 0 && d.Changed > 0 && began <= d.Day && d.Day < w.r.Today():
			x.Kind, x.Instruction = WaitSignature, "This day is not signed."
			if spelt++; spelt <= mostSpelt {
				if x.Why, err = w.lacks(d.Day); err != nil {
					return err
				}
			}
		case d.PreparedEntry > 0 && d.ReviewedEntry == 0 && d.Day < w.r.Today():
			x.Kind, x.Instruction, x.Type = WaitSignature, "This day is prepared and not reviewed.", "countersign "+d.Day+" --as PERSON"
			if x.Not, err = w.preparer(d.PreparedEntry); err != nil {
				return err
			}
		default:
			continue
		}
		w.add(x, roleLead)
	}
	return w.empty(began)
}

// empty is how many of the days since the logbook began, at most a month back, have
// nothing at all, and nobody noted that the surgery was closed.
func (w *waits) empty(began string) error {
	from, to := max(back(began, -1), back(w.r.Today(), reviewDays)), back(w.r.Today(), 1) // on the first day it was set up
	days, err := w.v.Days(w.ctx, from, to)
	if err != nil {
		return err
	}
	kept := map[string]bool{}
	for _, d := range days {
		kept[d.Day] = d.Cycles+d.Changed > 0
	}
	var none []string
	for d := to; d >= from && began != ""; d = back(d, 1) {
		if !kept[d] {
			none = append(none, d)
		}
	}
	if len(none) == 0 {
		return nil
	}
	first, last := none[len(none)-1], none[0]
	x := Waiting{Kind: WaitEmpty, Name: dayWords(first), Day: first, Outcome: validate.NotAssessed, Why: "On 1 day nothing is recorded, and nobody said why.",
		Instruction: "If the surgery was closed, enter it for each such day.", Type: "note --duty \"" + dutyClosed + "\" --date " + first + " --text TEXT"}
	if len(none) > 1 {
		x.Name += " to " + dayWords(last)
		x.Why = fmt.Sprintf("On %d days of this time nothing is recorded, and nobody said why.", len(none))
	}
	w.add(x, enough(ActNote)...)
	return nil
}

// preparer is who made the signature of that entry.
func (w *waits) preparer(n int64) (string, error) {
	rows, err := logbook.Find[entry.Signature](w.ctx, w.v, logbook.Filter{Entry: n})
	if err != nil || len(rows) == 0 {
		return "", err
	}
	return rows[0].By, nil
}

// What is said of unsigned days: of how many what they lack, and how many things (ours).
const (
	mostSpelt = 3
	mostLacks = 3
)

// lacks says in one sentence what a day would be signed without, "" if nothing.
func (w *waits) lacks(day string) (string, error) {
	b := &dayBuilder{r: w.r, ctx: w.ctx, v: w.v}
	if err := b.outline(day); err != nil || len(b.day.Missing) == 0 {
		return "", err
	}
	var words []string
	for _, m := range b.day.Missing {
		what := m.What
		if m.Machine != "" {
			what = m.Machine + ": " + what
		}
		words = append(words, what)
	}
	if more := len(words) - mostLacks; more > 0 {
		words = append(words[:mostLacks], fmt.Sprintf("and %d more", more))
	}
	return "Missing: " + strings.Join(words, "; ") + ".", nil
}
