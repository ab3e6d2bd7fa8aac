package surgery

import (
	"crypto/x509"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/archive"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// bagLog is what the ledger of a bag says, as far as it is needed to check the rest. It
// is small beside the ledger: the entries themselves are not kept.
type bagLog struct {
	info    archive.Info
	cycles  map[string]*baggedCycle // by key
	notes   map[int64]baggedNote    // that stand, by number
	files   map[string]*signedFile  // signed records of the period, by name
	names   []string                // of files, in the order of their first signature
	certs   map[string]certificateLog
	ders    map[string]*x509.Certificate
	people  map[string]entry.Person
	imports map[string][]string // files that an import names, with the keys of their cycles
	failed  map[string]bool     // of them: came in the period and need a look
	days    map[string]bool     // of the period, that have an entry
	last    time.Time           // entered of the last entry
	zone    *time.Location      // of the newest verdict: local time less UTC as it was there
	kept    int                 // names kept of the entries

	asked      map[int64]time.Time // by number of an entry: when it was entered, for those asked for
	machines   map[string]bool     // sterilisers that an entry names
	configured []string            // configurations, if one steriliser is asked for
}

// maxKept bounds the names that are kept of a ledger (ours), some 100 bytes each: a bag
// of ten years has a tenth of them.
const maxKept = 2_000_000

// baggedCycle is a cycle as its newest verdict has it.
type baggedCycle struct {
	validate.Summary
	day     string
	first   int64 // entry
	sources []string
	became  string // key it has by now

	kind, outcome string // as the verdict names them
	verdict       int64  // entry
}

// baggedNote is an entry that explains something between cycles.
type baggedNote struct {
	cycle, steriliser, duty string
	day                     string
	count                   int64 // of a counter
	at                      time.Time
	explains                []string
}

func newBagLog(info archive.Info) *bagLog {
	return &bagLog{info: info, cycles: map[string]*baggedCycle{}, notes: map[int64]baggedNote{}, files: map[string]*signedFile{},
		certs: map[string]certificateLog{}, ders: map[string]*x509.Certificate{}, people: map[string]entry.Person{}, imports: map[string][]string{}, failed: map[string]bool{},
		days: map[string]bool{}, zone: time.UTC, asked: map[int64]time.Time{}, machines: map[string]bool{}}
}

// inside tells whether a local date is one of the period.
func (l *bagLog) inside(day string) bool { return l.info.From <= day && day <= l.info.To }

// take learns from an entry, in their order.
func (l *bagLog) take(e entry.Entry) error {
	l.last = e.Entered
	if _, is := l.asked[e.Number]; is {
		l.asked[e.Number] = e.Entered
	}
	facts := entry.FactsOf(e.Body)
	if l.inside(facts.Day) {
		l.days[facts.Day] = true
	}
	if facts.Steriliser != "" && !l.machines[facts.Steriliser] {
		l.machines[strings.Clone(facts.Steriliser)] = true
	}
	if l.kept++; l.kept > maxKept {
		return fmt.Errorf("it names more than %d files and cycles, which no ledger does", maxKept)
	}
	body := e.Body
	if c, is := body.(entry.Correction); is {
		delete(l.notes, e.Corrects)
		body = c.Body
	}
	switch b := body.(type) {
	case entry.Verdict:
		l.verdict(e, b)
	case entry.Import:
		l.imports[b.SHA256] = append(l.imports[b.SHA256], b.Cycles...)
		l.kept += len(b.Cycles)
		if b.Day != "" && l.inside(b.Day) && ofMachine(l.info.Steriliser, b.Steriliser) {
			l.failed[b.SHA256] = true
		}
	case entry.Note:
		l.note(e, b)
	case entry.Signature:
		if l.inside(b.Day) {
			l.signature(e, b)
		}
	case entry.Certificate:
		return l.certificate(e, b)
	case entry.Person:
		l.people[b.Person] = b
	case entry.Configuration:
		if l.info.Steriliser != "" {
			l.configured = append(l.configured, b.Text)
		}
	}
	return nil
}

func (l *bagLog) verdict(e entry.Entry, b entry.Verdict) {
	c := l.cycles[b.Cycle]
	if c == nil {
		c = &baggedCycle{first: e.Number}
		l.cycles[strings.Clone(b.Cycle)] = c
	}
	zone := time.FixedZone("", int(b.OffsetS))
	l.zone = zone
	outcome, _ := validate.OutcomeNamed(b.Outcome)
	c.Summary = validate.Summary{ID: b.Cycle, Steriliser: b.Steriliser, Number: b.Number, Start: b.Start.In(zone), End: b.End.In(zone),
		Kind: cycle.KindNamed(b.Kind), Outcome: outcome, Readings: digestOf(logbook.Cycle{Readings: b.Readings, Digest: b.Digest})}
	c.day, c.became, c.sources = b.Day, "", nil
	c.kind, c.outcome, c.verdict = b.Kind, b.Outcome, e.Number
	for _, s := range b.Sources {
		c.sources = append(c.sources, s.SHA256)
	}
	l.kept += len(b.Sources)
	if old := l.cycles[b.Continues]; b.Continues != "" && old != nil {
		old.became = b.Cycle
	}
}

func (l *bagLog) note(e entry.Entry, b entry.Note) {
	if b.Duty != dutyExplained && b.Duty != dutyReset && (b.Duty != dutyCounter || b.Value == nil) {
		return
	}
	n := baggedNote{cycle: b.Cycle, steriliser: b.Steriliser, duty: b.Duty, day: b.Day, at: e.At}
	if b.Value != nil {
		n.count = int64(*b.Value)
	}
	var d dutyData
	if json.Unmarshal(b.Data, &d) == nil {
		n.explains = d.Explains
		l.kept += len(d.Explains)
	}
	l.notes[e.Number] = n
}

func (l *bagLog) signature(e entry.Entry, b entry.Signature) {
	name := filepath.Base(b.File)
	f := l.files[name]
	if f == nil {
		f = &signedFile{name: name}
		l.files[name], l.names = f, append(l.names, name)
	}
	e.Line = nil
	f.rows = append(f.rows, logbook.Row[entry.Signature]{Entry: e, Said: b})
}

func (l *bagLog) certificate(e entry.Entry, b entry.Certificate) error {
	c := l.certs[b.SHA256]
	c.person = b.Person
	if b.Act == "issued" {
		c.issued = e.Number
	} else {
		c.ended = e.Number
	}
	l.certs[b.SHA256] = c
	if l.ders[b.SHA256] != nil {
		return nil
	}
	cert, err := x509.ParseCertificate(b.DER)
	if err != nil {
		return fmt.Errorf("the certificate of entry %d: %w", e.Number, err)
	}
	l.ders[b.SHA256] = cert
	return nil
}

// of tells whether a cycle is one of the bag.
func (l *bagLog) of(c *baggedCycle) bool {
	return c.became == "" && l.inside(c.day) && (l.info.Steriliser == "" || l.info.Steriliser == c.Steriliser)
}

// standing is the key that a cycle has by now.
func (l *bagLog) standing(key string) string {
	for range len(l.cycles) { // a ring of names has an end
		c := l.cycles[key]
		if c == nil || c.became == "" {
			break
		}
		key = c.became
	}
	return key
}

// complete says which numbers between the first and the last cycle of a machine are
// neither there nor explained by a person, and where a machine counted otherwise than
// was recorded. It returns how many cycles the period has.
func (l *bagLog) complete(p *archive.Problems) int {
	first := l.info.From
	if day, err := time.Parse(time.DateOnly, first); err == nil {
		first = day.AddDate(0, 0, -daysBefore).Format(time.DateOnly)
	}
	var list []validate.Summary
	n := 0
	for _, c := range l.cycles {
		if l.of(c) {
			n++
		}
		if c.became == "" && first <= c.day && c.day <= l.info.To && ofMachine(l.info.Steriliser, c.Steriliser) {
			list = append(list, c.Summary)
		}
	}
	for _, a := range validate.AcrossCycles(list, l.facts()) {
		switch {
		case l.explained(a):
		case a.Check == "counter":
			p.Add("counters", "%s, and no entry explains it.", capital(a.Message))
		case a.Check != "number-gap" && a.Check != "number-reset":
		case slices.ContainsFunc(a.Cycles, func(key string) bool { return l.of(l.cycles[key]) }):
			p.Add("missing numbers", "%s, and no entry explains it.", capital(a.Message))
		}
	}
	return n
}

// facts are what people entered that the records do not hold: resets, and of the days of
// the period what the machines counted.
func (l *bagLog) facts() validate.Facts {
	var facts validate.Facts
	for _, note := range l.notes {
		switch {
		case note.duty == dutyReset:
			facts.Resets = append(facts.Resets, validate.Reset{Steriliser: note.steriliser, At: note.at.In(l.zone)})
		case note.duty == dutyCounter && l.inside(note.day) && ofMachine(l.info.Steriliser, note.steriliser):
			facts.Counters = append(facts.Counters, validate.Counter{Steriliser: note.steriliser, At: note.at.In(l.zone), Count: note.count})
		}
	}
	return facts
}

// explained tells whether a person explained what lies between cycles, after the last of
// them had come in.
func (l *bagLog) explained(a Between) bool {
	last := int64(0)
	for _, key := range a.Cycles {
		last = max(last, l.cycles[key].first)
	}
	for n, note := range l.notes {
		if note.duty == dutyExplained && n > last && slices.Contains(note.explains, a.Check) && slices.Contains(a.Cycles, l.standing(note.cycle)) {
			return true
		}
	}
	return false
}
