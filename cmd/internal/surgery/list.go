package surgery

import (
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"

	"holdproof/parse"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// NoteList is a list of duties that is kept elsewhere.
type NoteList struct {
	File   string
	By     Proof  // of all rows
	Reason string // where a row asks for one and has none
	Sure   bool   // as in [Noting]
}

// ListNoted are the rows of a list that were kept.
type ListNoted struct {
	Notes []ListNote
	Again int // rows that were kept before
}

// ListNote is one of them.
type ListNote struct {
	Noted
	Line int
}

// ListError is why a list was not kept: all that is wrong with its rows.
type ListError struct{ Places []ListPlace }

// ListPlace is a place in a list, what is there, and what is expected, or by which rule
// it cannot be.
type ListPlace struct {
	*parse.Error
	Why string // the rule; "" where Want says it
}

func (p ListPlace) line() string {
	if p.Why == "" {
		return p.Error.Error()
	}
	at := fmt.Sprintf("%s:%d", p.File, p.Line)
	if p.Column > 0 {
		at += fmt.Sprintf(":%d", p.Column)
	}
	return fmt.Sprintf("%s: found %s: %s", at, p.Found, p.Why)
}

// mostPlaces is how many of them are printed (ours).
const mostPlaces = 20

// Error names file, line, column, what is there, what is expected, and what to do.
func (e *ListError) Error() string {
	var out []string
	for i, p := range e.Places {
		if i == mostPlaces {
			out = append(out, fmt.Sprintf("and %d more", len(e.Places)-i))
			break
		}
		out = append(out, p.line()+"\n  "+p.Remedy)
	}
	return strings.Join(append(out, "Nothing of the list was noted."), "\n")
}

// sum names a row by what it says, whatever the order of its columns.
func (l listRow) sum() string {
	return entry.Sum([]byte(strings.Join(l.cells(), "\x1f")))
}

// NoteList notes every row of a list, or none. A row that was kept before, from whatever
// list, is not kept again, also where its note was corrected or withdrawn since. Rows are
// taken in their order, so that a result may stand behind what it is the result of.
//
// Errors: a [*ListError]; a [*Refusal] of the person; [seal.ErrPassphrase]; the file's.
func (r *Records) NoteList(ctx context.Context, in NoteList) (ListNoted, error) {
	var out ListNoted
	src, err := os.ReadFile(in.File)
	if err != nil {
		return out, err
	}
	list, err := readList(in.File, src)
	if err != nil {
		return out, listError(err)
	}
	notes, err := r.notings(list, in)
	if err != nil {
		return out, err
	}
	by, err := r.prove(ctx, in.By, ActNote, r.Now())
	if err != nil {
		return out, err
	}
	err = r.write(ctx, func(b *logbook.Batch) error {
		out = ListNoted{}
		k := &listKeeping{r: r, ctx: ctx, b: b, by: by, list: list, before: map[string]map[string]bool{}}
		for i, n := range notes {
			if err := k.row(i, n, &out); err != nil {
				return err
			}
		}
		if len(k.places) > 0 {
			return &ListError{k.places}
		}
		return nil
	})
	if err != nil {
		out = ListNoted{}
	}
	return out, err
}

func listError(err error) error {
	var p *parse.Error
	if errors.As(err, &p) {
		return &ListError{[]ListPlace{{Error: p}}}
	}
	return err
}

// notings are what the rows say, as far as their form goes.
func (r *Records) notings(list *dutyList, in NoteList) ([]Noting, error) {
	var out []Noting
	var places []ListPlace
	seen := map[string]int{}
	for i, row := range list.rows {
		n, column, want, remedy := row.noting(r.zone)
		if want == "" && seen[n.row] != 0 {
			column, want, remedy = "", fmt.Sprintf("another row than that of line %d, which says the same", seen[n.row]), "Take one of the two out. What was done twice in a minute is counted in the column times."
		}
		if want != "" {
			places = append(places, ListPlace{Error: list.place(i, column, want, remedy)})
			continue
		}
		seen[n.row] = list.lines[i]
		n.By, n.Sure = in.By, in.Sure
		if n.Reason == "" {
			n.Reason = in.Reason
		}
		out = append(out, n)
	}
	if len(places) > 0 {
		return nil, &ListError{places}
	}
	return out, nil
}

// listKeeping keeps the rows of one list within one transaction.
type listKeeping struct {
	r      *Records
	ctx    context.Context
	b      *logbook.Batch
	by     proven
	list   *dutyList
	before map[string]map[string]bool // rows kept before, by duty
	places []ListPlace
}

// row keeps one; what the rules do not allow is gathered.
func (k *listKeeping) row(i int, n Noting, out *ListNoted) error {
	before, err := k.kept(n.Duty)
	if err != nil {
		return err
	}
	if before[n.row] {
		out.Again++
		return nil
	}
	done, err := k.note(n)
	var no *Refusal
	switch {
	case errors.As(err, &no):
		k.places = append(k.places, ListPlace{k.list.place(i, columnOf(no.Field), "", inColumns(no.Instead)), no.Why})
		return nil
	case err != nil:
		return err
	}
	out.Notes = append(out.Notes, ListNote{done, k.list.lines[i]})
	return nil
}

func (k *listKeeping) note(n Noting) (Noted, error) {
	at, err := k.r.happened(n.At)
	if err != nil {
		return Noted{}, inField(err, "time")
	}
	n.At = at
	p, err := k.r.plan(k.ctx, k.b.View, n)
	if err != nil {
		return Noted{}, err
	}
	if _, err := k.r.entitled(k.ctx, k.b.View, k.by.Person.Person, p.act, at); err != nil {
		return Noted{}, err
	}
	return k.r.keepNote(k.ctx, k.b, p, k.by, n)
}

// kept are the rows of a duty that were kept before this list, corrected ones too.
func (k *listKeeping) kept(duty string) (map[string]bool, error) {
	if rows, read := k.before[duty]; read {
		return rows, nil
	}
	rows, err := logbook.Find[entry.Note](k.ctx, k.b.View, logbook.Filter{Topic: duty, Superseded: true})
	if err != nil {
		return nil, err
	}
	out := map[string]bool{}
	for _, row := range rows {
		if sum := dataOf(row.Said).Row; sum != "" {
			out[sum] = true
		}
	}
	k.before[duty] = out
	return out, nil
}

// columnOf is the column in which a field of a note stands.
func columnOf(field string) string {
	if field == "at" {
		return "time"
	}
	return field
}

var flagWord = regexp.MustCompile(`--([a-z]+)`)

// inColumns says of a remedy for the command line what it is in a list.
func inColumns(remedy string) string {
	return flagWord.ReplaceAllStringFunc(remedy, func(flag string) string {
		switch name := columnOf(flag[2:]); name {
		case "yes", "correct":
			return flag
		default:
			return "the column " + name
		}
	})
}
