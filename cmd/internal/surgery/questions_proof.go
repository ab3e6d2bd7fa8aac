package surgery

import (
	"fmt"
	"slices"

	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// askChanges answers the tenth question: what was changed after a day was signed, and
// what was corrected before.
type askChanges struct {
	*asking
	rows         [][]daily.Cell
	after, early int
	unsigned     int // changes after signing that no later revision holds
	signed       int // days that are signed
}

func (q *askChanges) add(s *stretch) error {
	for _, d := range s.days {
		first := firstCover(s, d.Day)
		if first > 0 {
			q.signed++
		}
		if (first == 0 || d.Changed <= first) && !s.corrected[d.Day] {
			continue
		}
		rows, err := logbook.Find[entry.Body](q.ctx, q.v, logbook.Filter{From: d.Day, To: d.Day, Superseded: true})
		if err != nil {
			return err
		}
		b := q.builder(s, d.Day)
		for i, row := range rows {
			late := first > 0 && row.Number > first
			if row.Of == entry.TypeSignature || !late && row.Corrects == 0 {
				continue
			}
			if other, err := q.ofOther(row.Said); other || err != nil {
				if err != nil {
					return err
				}
				continue
			}
			c := b.change(row, rows[:i])
			when, to := "before it was signed", daily.Reference{}
			if late {
				q.after++
				when, to = q.revision(s, d.Day, row.Number)
			} else {
				q.early++
			}
			q.rows = append(q.rows, []daily.Cell{dayCell(d.Day), plain(capital(c.What)), plain(c.Before), plain(c.After), plain(fmt.Sprintf("%s, %s", byWhom(c.By), q.moment(row.Entered))),
				plain(c.Reason), {Text: when, To: to}})
		}
	}
	return nil
}

// ofOther tells whether an entry is about another machine than the one that is asked for.
func (q *askChanges) ofOther(said entry.Body) (bool, error) {
	if q.machine == "" || said == nil { // a withdrawal is about the entry that it names
		return false, nil
	}
	f := entry.FactsOf(said)
	if f.Steriliser == q.machine {
		return false, nil
	}
	if f.Steriliser != "" || f.Cycle == "" {
		return f.Steriliser != "", nil
	}
	found, err := q.v.Cycles(q.ctx, logbook.CycleFilter{Key: f.Cycle, Renamed: true})
	return err == nil && len(found) > 0 && !ofMachine(q.machine, found[0].Steriliser), err
}

func byWhom(name string) string {
	if name == "" {
		return "the program"
	}
	return name
}

// firstCover is how many entries the first signed record of a day was drawn from, 0 if
// there is none.
func firstCover(s *stretch, day string) int64 {
	for _, row := range s.signatures {
		if row.Said.Day == day && row.Said.Revision == 1 && row.Said.Meaning == "prepared" {
			return row.Said.Covers
		}
	}
	return 0
}

// revision is the first signed record that holds an entry.
func (q *askChanges) revision(s *stretch, day string, n int64) (string, daily.Reference) {
	best := entry.Signature{}
	for _, row := range s.signatures {
		if row.Said.Day == day && row.Said.Meaning == "prepared" && row.Said.Covers >= n && (best.Revision == 0 || row.Said.Revision < best.Revision) {
			best = row.Said
		}
	}
	if best.Revision == 0 {
		q.unsigned++
		return "after it was signed, in no signed record yet", daily.Reference{}
	}
	return fmt.Sprintf("after it was signed, in revision %d", best.Revision), daily.Reference{Kind: daily.ToRecord, ID: best.File, Day: day}
}

func (q *askChanges) reply() (daily.Reply, error) {
	out := daily.Reply{Rows: q.rows, Outcome: Conforms, Columns: []string{"Day", "What", "Before", "After", "By, when", "Why", "Signed"},
		Notes: []string{"Old values stay: a correction is a new entry that names the old one, and a revision names the hash of the record before it."}}
	switch {
	case q.after == 0 && q.signed == 0:
		out.Outcome, out.Short = NotAssessed, "No day of this time is signed."
	case q.after == 0:
		out.Short = "No."
	case q.unsigned > 0:
		out.Outcome = NotProven
		out.Short = fmt.Sprintf("Yes: %s after signing, %d of them in no signed record yet.", count(q.after, "entry came", "entries came"), q.unsigned)
	default:
		out.Short = fmt.Sprintf("Yes: %s after signing, and later revisions hold them.", count(q.after, "entry came", "entries came"))
	}
	if q.early > 0 {
		out.Short += fmt.Sprintf(" %s corrected before the day was signed.", capital(count(q.early, "entry was", "entries were")))
	}
	return out, nil
}

// askWhole answers the eleventh: whether what is shown is complete and unaltered.
type askWhole struct {
	*asking
	records [][]daily.Cell
}

func (q *askWhole) add(s *stretch) error {
	var numbers []int64
	for n := range s.signatures {
		numbers = append(numbers, n)
	}
	slices.Sort(numbers)
	for _, d := range s.days {
		for _, n := range numbers {
			row := s.signatures[n]
			if row.Said.Day != d.Day {
				continue
			}
			q.records = append(q.records, []daily.Cell{dayCell(d.Day), {Text: row.Said.File, To: daily.Reference{Kind: daily.ToRecord, ID: row.Said.File, Day: d.Day}},
				plain(fmt.Sprintf("%s by %s", row.Said.Meaning, q.who(row.By))), plain(row.Said.SHA256)})
		}
	}
	return nil
}

func (q *askWhole) reply() (daily.Reply, error) {
	out := daily.Reply{Outcome: NotAssessed, Columns: []string{"Day", "Record", "Signed", "SHA-256"}, Rows: q.records}
	if q.tip.Size == 0 {
		out.Short = "There is nothing in the logbook yet."
		return out, nil
	}
	out.Short = fmt.Sprintf("The logbook holds %d entries, the last of %s. Whoever kept an older checkpoint can see that nothing before it was changed or taken out.",
		q.tip.Size, q.moment(q.tip.Time.Time))
	out.Notes = []string{
		"holdproof audit reads every entry, file and record again, and compares them with the root of the log and with checkpoints kept elsewhere.",
		"Each signed record can be checked alone, offline: with holdproof verify, pdfsig or any reader of signed PDF files, and its hash with sha256sum or Get-FileHash.",
		"What each machine counted, against what was recorded, stands under the first question.",
	}
	if len(q.records) > 2*fineDays {
		out.Left = len(q.records) - 2*fineDays
		out.Rows = q.records[:2*fineDays]
	}
	root := []daily.Cell{plain("all of them"), plain(fmt.Sprintf("root of the log, %d entries", q.tip.Size)), plain("as a checkpoint writes it"), plain(q.tip.RootText())}
	out.Rows = append([][]daily.Cell{root}, out.Rows...)
	return out, nil
}
