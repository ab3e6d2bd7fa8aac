package surgery

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// ErrNotKept says that what a page asks for is not in the logbook.
var ErrNotKept = errors.New("this is not in the logbook")

// Shown is a kept cycle as a page shows it: as it was judged, and what people did.
type Shown struct {
	logbook.Cycle
	Name        string // S1 · 1042
	Began       time.Time
	Result      Outcome
	Test        bool // a test of the steriliser and no load
	Figures     daily.Measured
	ProgrammeBy string
	Findings    []daily.Finding
	Remarks     []string
	Limitations []string
	Sources     []entry.Source
	Done        []Happening // the acts that count, in their order
	Sight       Sight
	Rerun       string // key of the cycle that it was run again in, "" if none is named
}

// Happening is an entry in the words of a page.
type Happening struct {
	Entry    int64
	At       time.Time // when it was done
	By       string    // name, "" for the program
	What     string
	Reason   string
	Old      bool // corrected, withdrawn, or another verdict counts by now
	Decision bool // it is about what becomes of the load
}

// ShownCycle returns a kept cycle with all that was entered about it.
//
// Error: [ErrNotKept].
func (r *Records) ShownCycle(ctx context.Context, key string) (Shown, error) {
	var out Shown
	err := r.book.Read(ctx, func(v *logbook.View) error {
		list, err := v.Cycles(ctx, logbook.CycleFilter{Key: key, Renamed: true, Verdicts: true})
		if err != nil {
			return err
		}
		if len(list) == 0 {
			return ErrNotKept
		}
		if out, err = r.shown(list[0]); err != nil {
			return err
		}
		if out.Sources, err = v.Sources(ctx, key); err != nil {
			return err
		}
		names, err := names(ctx, v)
		if err != nil {
			return err
		}
		rows, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Cycle: key, Superseded: true})
		for _, row := range rows {
			h := r.happening(row, names, out.Cycle)
			out.Done = append(out.Done, h)
			if d, is := row.Said.(entry.Decision); is && !h.Old && d.Rerun != "" {
				out.Rerun = d.Rerun
			}
		}
		return err
	})
	return out, err
}

// ShownQuery narrows what [Records.ShownCycles] returns; an empty field narrows nothing.
type ShownQuery struct {
	Steriliser, Number, From, To, Outcome, Kind, Person string

	Waiting, Recalled bool
	Newest            bool
	Limit             int
}

// ShownCycles returns kept cycles, each with its newest act.
func (r *Records) ShownCycles(ctx context.Context, q ShownQuery) ([]Shown, error) {
	var out []Shown
	err := r.book.Read(ctx, func(v *logbook.View) error {
		list, err := v.Cycles(ctx, logbook.CycleFilter{Steriliser: q.Steriliser, Number: q.Number, From: q.From, To: q.To, Outcome: q.Outcome,
			Kind: q.Kind, Person: q.Person, Waiting: q.Waiting, Recalled: q.Recalled, Newest: q.Newest, Limit: q.Limit, Verdicts: true})
		if err != nil {
			return err
		}
		names, err := names(ctx, v)
		if err != nil {
			return err
		}
		for _, c := range list {
			s, err := r.shown(c)
			if err != nil {
				return err
			}
			for _, n := range []int64{c.ReleaseEntry, c.DecisionEntry, c.RecallEntry} {
				if n == 0 {
					continue
				}
				rows, err := logbook.Find[entry.Body](ctx, v, logbook.Filter{Entry: n})
				if err != nil {
					return err
				}
				for _, row := range rows {
					s.Done = append(s.Done, r.happening(row, names, c))
				}
			}
			slices.SortFunc(s.Done, func(a, b Happening) int { return int(a.Entry - b.Entry) })
			out = append(out, s)
		}
		return nil
	})
	return out, err
}

func (r *Records) shown(c logbook.Cycle) (Shown, error) {
	out := Shown{Cycle: c, Name: r.nameOf(c), Began: c.Start.In(r.zone), Test: isTest(c), Sight: SightOf(c)}
	out.Result, _ = validate.OutcomeNamed(c.Outcome) // no such word is not proven
	m, found, err := said(c.Verdict)
	if err != nil {
		return out, err
	}
	out.Figures, out.ProgrammeBy, out.Remarks, out.Limitations = m.Measured, m.ProgrammeBy, m.Remarks, m.Limitations
	for _, f := range found {
		out.Findings = append(out.Findings, f.day())
	}
	flag := 0
	for i, f := range out.Findings { // as figure.Flags numbers them
		if f.At != nil && f.Result() != Conforms && f.Result() != NotAssessed {
			flag++
			out.Findings[i].Flag = flag
		}
	}
	return out, nil
}

// names are those of people by id.
func names(ctx context.Context, v *logbook.View) (map[string]string, error) {
	all, err := everybody(ctx, v)
	out := map[string]string{}
	for _, p := range all {
		out[p.Person] = p.Name
	}
	return out, err
}

// actWords are acts in the past tense.
var actWords = map[string]string{DoRelease: "released", DoQuarantine: "put in quarantine", DoReprocess: "sent back to be processed again",
	DoUsed: "entered as already used"}

func (r *Records) happening(row logbook.Row[entry.Body], names map[string]string, c logbook.Cycle) Happening {
	h := Happening{Entry: row.Number, At: row.At.In(r.zone), Reason: row.Reason, Old: row.CorrectedBy != 0 || row.Withdrawn}
	name := func(id string) string {
		if n := names[id]; n != "" {
			return n
		}
		return id
	}
	h.By = name(row.By)
	switch b := row.Said.(type) {
	case entry.Verdict:
		h.What = "judged: " + b.Outcome
		h.Old = h.Old || row.Number != c.VerdictEntry
	case entry.Release:
		h.What, h.Decision = b.Act+" at the machine", true
		if load := loadWords(b); load != "" {
			h.What += " (" + strings.TrimPrefix(load, ", ") + ")"
		}
	case entry.Decision:
		h.What, h.Decision = actWords[b.Act], true
		if b.Second != "" {
			h.What += " (second person: " + name(b.Second) + ")"
		}
		if b.Rerun != "" {
			h.What += " and run again"
		}
	case entry.Recall:
		h.What, h.Decision = "recall "+b.Act, true
		if h.Reason == "" {
			h.Reason = b.Because
		}
		for _, p := range b.Packs {
			h.What += fmt.Sprintf("; %s: %s", p.Pack, p.Became)
		}
	case entry.Note:
		h.What = r.noteTold(b, h.Reason)
	case entry.Session:
		h.What = "inspector let in to read, until " + b.Until.In(r.zone).Format("2 Jan 2006 15:04")
	default:
		h.What = eventWords(row.Of, b)
	}
	if row.Withdrawn {
		h.What = "withdrawn"
	}
	return h
}

// eventWords are what an entry says that is about no load and no duty.
func eventWords(of entry.Type, b entry.Body) string {
	switch b := b.(type) {
	case entry.Signature:
		return fmt.Sprintf("signed as %s, revision %d (%s)", b.Meaning, b.Revision, b.Role)
	case entry.Person:
		return "person " + b.Person + " may " + mayWords(b.May)
	case entry.Certificate:
		return "certificate of " + cmp.Or(b.Name, b.Person) + " " + b.Act
	case entry.Import:
		return "brought in " + b.File
	}
	return string(of)
}

// mayWords are roles with their days.
func mayWords(may []entry.May) string {
	var out []string
	for _, m := range may {
		text := m.Act + " from " + dayWords(m.Since)
		if m.Until != "" {
			text += " to " + dayWords(m.Until)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

func loadWords(b entry.Release) string {
	var said []string
	if b.Load.Contents != "" {
		said = append(said, b.Load.Contents)
	}
	if b.Load.Count != nil {
		said = append(said, count(int(*b.Load.Count), "pack", "packs"))
	}
	switch b.Load.Wrapping {
	case "", "neither":
	case "both":
		said = append(said, "wrapped and hollow")
	default:
		said = append(said, b.Load.Wrapping)
	}
	if len(said) == 0 {
		return ""
	}
	return ", " + strings.Join(said, ", ")
}

// OriginalOf returns the bytes of a kept export and the name it came by. Close it.
//
// Error: [ErrNotKept]; the bytes are damaged.
func (r *Records) OriginalOf(ctx context.Context, sum string) (io.ReadCloser, string, error) {
	rows, err := logbook.Find[entry.Import](ctx, r.book.View, logbook.Filter{Subject: sum, Limit: 1})
	if err != nil {
		return nil, "", err
	}
	if len(rows) == 0 || sum == "" {
		return nil, "", ErrNotKept
	}
	in, err := r.book.Original(ctx, sum)
	return in, rows[0].Said.File, err
}

// ReadAs says how the export that a cycle was judged by was understood, a line a thing.
func (r *Records) ReadAs(ctx context.Context, s Shown) ([]string, error) {
	if len(s.Sources) == 0 {
		return nil, ErrNotKept
	}
	src, err := r.original(ctx, r.book.View, s.Sources[0].SHA256)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	read, err := r.bench.one(ctx, s.Sources[0].File, src, 0, func(Judged) error { return nil })
	if err != nil {
		return nil, err
	}
	return read.Reading(), nil
}

// KindWords are the kinds of a cycle, as filters name them.
func KindWords() []string {
	return []string{cycle.Load.String(), cycle.ControlTest.String(), cycle.PenetrationTest.String(), cycle.LeakTest.String()}
}

// ShownFinding is a finding as pages and records have it.
type ShownFinding = daily.Finding

// AtLeast writes a figure for a lower limit, rounded down.
func AtLeast(x float64, digits int) string { return validate.AtLeast(x, digits) }
