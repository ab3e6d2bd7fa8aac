package surgery

import (
	"encoding/csv"
	"errors"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/gocarina/gocsv"

	"holdproof/report/archive"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// cycleRow is a row of data/cycles.csv. Times are RFC 3339 with the site's offset.
type cycleRow struct {
	ID          string `csv:"id"`
	Steriliser  string `csv:"steriliser"`
	Number      string `csv:"number"`
	Day         string `csv:"day"`
	Start       string `csv:"start"`
	End         string `csv:"end"`
	Kind        string `csv:"kind"`
	Label       string `csv:"label"`
	Programme   string `csv:"programme"`
	Outcome     string `csv:"outcome"`
	Hold        string `csv:"hold_s"` // rounded down; empty: not known
	Limits      string `csv:"limits"`
	Instruction string `csv:"instruction"`
	Release     string `csv:"release_at_machine"`
	ReleasedBy  string `csv:"released_by"`
	ReleasedAt  string `csv:"released_at"`
	LoadNumber  string `csv:"load_number"`
	Contents    string `csv:"contents"`
	Loaded      string `csv:"loaded_by"`
	Indicator   string `csv:"indicator"`
	Decision    string `csv:"decision"`
	DecidedBy   string `csv:"decided_by"`
	Second      string `csv:"second_person"`
	DecidedAt   string `csv:"decided_at"`
	Reason      string `csv:"decision_reason"`
	Recall      string `csv:"recall"`
	Export      string `csv:"export"`
	FirstLine   string `csv:"first_line"`
	LastLine    string `csv:"last_line"`
	Verdict     string `csv:"verdict_entry"`
	Records     string `csv:"signed_records"`
}

// table packs cycles.csv: one row a cycle, by day, steriliser and number (RFC 4180).
func (w *bagWriter) table() error {
	out, err := w.pack.Create(archive.Cycles)
	if err != nil {
		return err
	}
	c := newTable(out)
	if err := gocsv.MarshalCSV([]cycleRow{}, c); err != nil { // the heading
		return err
	}
	err = w.spans(func(from, to string) error {
		rows, err := w.cycleRows(from, to)
		if err != nil {
			return err
		}
		w.out.Cycles += len(rows)
		return gocsv.MarshalCSVWithoutHeaders(rows, c)
	})
	return errors.Join(err, out.Close())
}

// newTable writes CSV with the line ends of RFC 4180.
func newTable(out io.Writer) *gocsv.SafeCSVWriter {
	c := csv.NewWriter(out)
	c.UseCRLF = true
	return gocsv.NewSafeCSVWriter(c)
}

// plainCell is a text that a spreadsheet shows and does not run: what could begin a
// formula is put behind an apostrophe. Carriage returns become blanks, as they would be
// read as line ends.
func plainCell(text string) string {
	text = strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", "\n"), "\r", " ")
	if bare := strings.TrimLeft(text, " \t\n\u00a0"); bare != "" && strings.ContainsRune("=+-@＝＋－＠|", []rune(bare)[0]) || strings.HasPrefix(text, "\t") {
		return "'" + text
	}
	return text
}

func (w *bagWriter) cycleRows(from, to string) ([]cycleRow, error) {
	cycles, err := w.v.Cycles(w.ctx, logbook.CycleFilter{From: from, To: to, Steriliser: w.asked.Steriliser})
	if err != nil {
		return nil, err
	}
	sources, err := w.v.SourcesOf(w.ctx, from, to) // no entry is read: most of the time would go into it
	if err != nil {
		return nil, err
	}
	releases, err := actsOf[entry.Release](w, cycles, func(c logbook.Cycle) int64 { return c.ReleaseEntry })
	if err != nil {
		return nil, err
	}
	decisions, err := actsOf[entry.Decision](w, cycles, func(c logbook.Cycle) int64 { return c.DecisionEntry })
	if err != nil {
		return nil, err
	}
	rows := make([]cycleRow, 0, len(cycles))
	for _, c := range cycles {
		row := w.cycleRow(c, sources[c.Key])
		if a, ok := releases[c.ReleaseEntry]; ok {
			row.ReleasedBy, row.ReleasedAt, row.Indicator = plainCell(w.named(a.By)), w.local(a.At), a.Said.Indicator
			row.LoadNumber, row.Contents, row.Loaded = plainCell(a.Said.Load.Number), plainCell(a.Said.Load.Contents), plainCell(w.named(a.Said.Load.Loaded))
		}
		if a, ok := decisions[c.DecisionEntry]; ok {
			row.DecidedBy, row.DecidedAt, row.Second = plainCell(w.named(a.By)), w.local(a.At), plainCell(w.named(a.Said.Second))
			row.Reason = plainCell(strings.TrimSpace(a.Reason + " " + a.Said.Text))
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// actsOf finds the entries that the cycles name, by number.
func actsOf[B entry.Body](w *bagWriter, cycles []logbook.Cycle, number func(logbook.Cycle) int64) (map[int64]logbook.Row[B], error) {
	out := map[int64]logbook.Row[B]{}
	for _, c := range cycles {
		n := number(c)
		if n == 0 {
			continue
		}
		rows, err := logbook.Find[B](w.ctx, w.v, logbook.Filter{Entry: n, Superseded: true})
		if err != nil {
			return nil, err
		}
		for _, row := range rows {
			out[n] = row
		}
	}
	return out, nil
}

func (w *bagWriter) cycleRow(c logbook.Cycle, sources []entry.Source) cycleRow {
	row := cycleRow{ID: plainCell(c.Key), Steriliser: plainCell(c.Steriliser), Number: plainCell(c.Number), Day: c.Day,
		Start: w.local(c.Start.Time), End: w.local(c.End.Time), Kind: c.Kind, Label: plainCell(c.Label), Programme: plainCell(c.Programme),
		Outcome: c.Outcome, Limits: plainCell(c.Limits), Instruction: plainCell(c.Instruction),
		Release: c.Release, Decision: c.Decision, Recall: c.Recall, Verdict: strconv.FormatInt(c.VerdictEntry, 10)}
	if c.HoldS != nil {
		row.Hold = validate.AtLeast(*c.HoldS, 1)
	}
	if len(sources) > 0 {
		s := sources[0]
		row.Export = "exports/" + s.SHA256 + ".csv"
		row.FirstLine, row.LastLine = strconv.FormatInt(s.FirstLine, 10), strconv.FormatInt(s.LastLine, 10)
	}
	var records []string
	for _, r := range w.records[c.Day] {
		records = append(records, "records/"+r.name)
	}
	row.Records = strings.Join(records, " ")
	return row
}

// named is the name of a person, the id where nobody is known by it.
func (w *bagWriter) named(id string) string {
	if name := w.people[id]; name != "" {
		return name
	}
	return id
}

func (w *bagWriter) local(t time.Time) string { return t.In(w.r.zone).Format(time.RFC3339) }

// certificateRow is a row of data/keys/certificates.csv, the log of certificates.
type certificateRow struct {
	Person      string `csv:"person"` // id; empty: the authority
	Name        string `csv:"name"`
	Fingerprint string `csv:"sha256"`
	NotBefore   string `csv:"valid_from"`
	NotAfter    string `csv:"valid_until"`
	Issued      string `csv:"issued_at"`
	IssuedBy    string `csv:"issued_by"`
	Ended       string `csv:"ended_at"` // empty: counts
	EndedBy     string `csv:"ended_by"`
	Reason      string `csv:"reason"`
}

// certificateLog packs who was given a certificate, when, and which were ended.
func (w *bagWriter) certificateLog(all []Certified) error {
	out, err := w.pack.Create(archive.Keys + "certificates.csv")
	if err != nil {
		return err
	}
	rows := make([]certificateRow, 0, len(all))
	for _, c := range all {
		row := certificateRow{Person: plainCell(c.Person), Name: plainCell(c.Name), Fingerprint: entry.Sum(c.der),
			NotBefore: w.local(c.NotBefore), NotAfter: w.local(c.NotAfter), Issued: w.local(c.Issued), IssuedBy: plainCell(w.named(c.IssuedBy)),
			EndedBy: plainCell(w.named(c.EndedBy)), Reason: plainCell(c.Reason)}
		if !c.Ended.IsZero() {
			row.Ended = w.local(c.Ended)
		}
		rows = append(rows, row)
	}
	return errors.Join(gocsv.MarshalCSV(rows, newTable(out)), out.Close())
}
