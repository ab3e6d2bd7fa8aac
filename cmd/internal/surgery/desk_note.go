package surgery

import (
	"fmt"
	"strings"

	"holdproof/report/logbook/entry"
)

// noteTold is a note as lists show it: the duty and its outcome, then the figure, how
// often, with what, from when to when, and the words unless the reason says the same.
func (r *Records) noteTold(n entry.Note, reason string) string {
	data := dataOf(n)
	out := n.Duty
	if n.Outcome != "" {
		out += ": " + n.Outcome
	}
	if n.Value != nil {
		out = join(out, strings.TrimSpace(number(*n.Value)+" "+n.Unit))
	}
	if data.Times > 1 {
		out = join(out, fmt.Sprintf("%d times", data.Times))
	}
	out = join(out, strings.TrimSpace(data.Product+" "+data.Strength))
	for _, t := range []struct {
		word string
		at   entry.Time
	}{{"in ", n.From}, {"out ", n.To}} {
		if !t.at.IsZero() {
			out = join(out, t.word+t.at.In(r.zone).Format("2 Jan 15:04"))
		}
	}
	out = join(out, data.words())
	if n.Text != reason {
		out = join(out, n.Text)
	}
	return out
}
