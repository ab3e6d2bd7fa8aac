package entry

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
)

// Body is what an entry of one type says. The types of this package are all there are.
type Body interface {
	entryType() Type
	check() error
	facts() Facts
}

// Facts are what an entry can be found by; "" where it says nothing of the kind.
type Facts struct {
	Subject    string // what it is about
	Topic      string // the act, the duty, the meaning or the outcome
	Day        string // local date whose record it belongs to
	Cycle      string // key of a cycle
	Steriliser string
	Number     string // cycle number as the machine counts
	Settled    bool   // nothing more waits for a person on that cycle
}

// FactsOf returns what the body can be found by.
func FactsOf(b Body) Facts { return b.facts() }

var bodies = map[Type]Body{
	TypeImport: Import{}, TypeVerdict: Verdict{}, TypeRelease: Release{}, TypeDecision: Decision{}, TypeRecall: Recall{},
	TypeNote: Note{}, TypePerson: Person{}, TypeCertificate: Certificate{}, TypeConfiguration: Configuration{},
	TypeSignature: Signature{}, TypeSession: Session{}, TypeCorrection: Correction{},
}

// Import says that the bytes of a file were kept, and what was found in them.
// The file may have been kept before: each time it is presented is an entry.
type Import struct {
	SHA256         string          `json:"sha256"`           // of the bytes as they were
	File           string          `json:"file"`             // as the person named it
	Size           int64           `json:"size"`             // bytes
	Via            string          `json:"via"`              // how it came: command, watch, desk
	Modified       Time            `json:"modified"`         // of the file, by its file system
	RecorderAheadS *float64        `json:"recorder_ahead_s"` // recorder's clock less this computer's, s; null: not known
	Day            string          `json:"day"`              // local date under which a problem is shown; "": none
	Steriliser     string          `json:"steriliser"`
	Readable       bool            `json:"readable"` // false: no cycle could be read, the bytes are kept all the same
	Cycles         []string        `json:"cycles"`   // keys of the cycles it holds
	Problems       json.RawMessage `json:"problems"` // array of objects, opaque here
}

func (Import) entryType() Type { return TypeImport }
func (b Import) facts() Facts {
	return Facts{Subject: b.SHA256, Day: b.Day, Steriliser: b.Steriliser}
}
func (b Import) check() error {
	if b.Size < 0 {
		return fmt.Errorf("size: %d bytes", b.Size)
	}
	if !b.Readable && len(b.Cycles) > 0 {
		return errors.New("readable: a file that holds cycles could be read")
	}
	return first(isSum("sha256", b.SHA256), need("file", b.File), need("via", b.Via), maybeDay("day", b.Day),
		list("cycles", b.Cycles), shape("problems", b.Problems, '['))
}

// Source is the place of a cycle in a file. Lines count from 1.
type Source struct {
	SHA256    string `json:"sha256"`
	File      string `json:"file"`
	FirstLine int64  `json:"first_line"`
	LastLine  int64  `json:"last_line"`
}

// Verdict is a judgement on one cycle. The newest one counts; older ones stay.
type Verdict struct {
	Cycle         string          `json:"cycle"`     // key, unique to this cycle; its id where no other cycle has the same
	Continues     string          `json:"continues"` // key the same cycle had before, such as unassigned-…; "": none
	Steriliser    string          `json:"steriliser"`
	Configured    bool            `json:"configured"` // steriliser is one of the configuration
	Number        string          `json:"number"`     // as written, "" if not said
	Start         Time            `json:"start"`      // of the first reading
	End           Time            `json:"end"`        // of the last reading
	OffsetS       int64           `json:"offset_s"`   // local time less UTC at the start, s
	Day           string          `json:"day"`        // local date of the start
	Label         string          `json:"label"`      // programme as the record names it
	Programme     string          `json:"programme"`  // programme it was judged by
	Kind          string          `json:"kind"`       // load, control test, steam penetration test, air leakage test
	Outcome       string          `json:"outcome"`    // conforms, borderline, not proven, failed
	Instruction   string          `json:"instruction"`
	Sources       []Source        `json:"sources"`       // at least one; the first is the one judged
	Readings      int64           `json:"readings"`      // count; 0 for a cycle that could not be read, which is not proven
	Digest        string          `json:"digest"`        // SHA-256 over the readings, "" without any
	HoldS         *float64        `json:"hold_s"`        // hold as recorded, s; null: not known
	Measured      json.RawMessage `json:"measured"`      // object of figures, opaque here
	Findings      json.RawMessage `json:"findings"`      // array of objects, opaque here
	Limits        string          `json:"limits"`        // name of the limit set
	Configuration string          `json:"configuration"` // SHA-256 of the configuration in force; it must be an entry
	Holdproof     string          `json:"holdproof"`     // version of the program that judged
	Release       Ref             `json:"release"`       // the release made at the machine before this record came; null: none
	Settled       bool            `json:"settled"`       // nothing more waits for a person
	// Sketch is left out where there is none: in entries that were kept before there
	// were any, and of a cycle with nothing to draw. It decides nothing.
	Sketch *Sketch `json:"sketch,omitempty"`
}

// Sketch is the curve of a cycle, thinned to what its small figure in a list is drawn
// from without reading the export again: the reference temperature over the record, or
// the pressure of an air leakage test. The hold of the figure is in Measured.
type Sketch struct {
	Seconds float64 `json:"seconds"` // length of the time axis, s
	Top     float64 `json:"top"`     // upper end of the axis of temperatures, °C
	Low     float64 `json:"low"`     // lower end of the band, °C; low and high 0: no band is known
	High    float64 `json:"high"`    // upper end of the band, °C
	// Curve is base64 (RFC 4648, 4) of at most 60 points in the order of time, two numbers
	// each, of seven bits a byte with the least first and the eighth bit set where more
	// follow. The first number: its half, rounded down, is the time from the point before
	// in thousandths of the axis, from 0; it is odd where the curve begins, or begins anew
	// behind a gap. The second: the value less that of the point before, from 0, in tenths
	// of °C or kPa; twice that, or of a negative one twice its size less 1.
	Curve string `json:"curve"`
}

func (s *Sketch) check() error {
	switch {
	case s == nil:
		return nil
	case !(s.Seconds > 0) || s.Top < 0 || s.Low > s.High:
		return fmt.Errorf("sketch: %v s, up to %v, a band from %v to %v", s.Seconds, s.Top, s.Low, s.High)
	case len(s.Curve) > mostCurve:
		return fmt.Errorf("sketch: a curve of %d characters, at most %d", len(s.Curve), mostCurve)
	}
	return need("sketch: curve", s.Curve)
}

// mostCurve is the longest curve of a [Sketch] (ours): 60 points of two numbers, five
// bytes the longest, take less.
const mostCurve = 1000

func (Verdict) entryType() Type { return TypeVerdict }
func (b Verdict) facts() Facts {
	return Facts{Subject: b.Cycle, Topic: b.Outcome, Day: b.Day, Cycle: b.Cycle, Steriliser: b.Steriliser, Number: b.Number, Settled: b.Settled}
}
func (b Verdict) check() error {
	if b.Readings < 0 || len(b.Sources) == 0 {
		return errors.New("a verdict is on readings from at least one source")
	}
	if b.Readings == 0 && (b.Outcome != "not proven" || b.Digest != "") {
		return fmt.Errorf("a cycle without readings is not proven and has no digest, found %q", b.Outcome)
	}
	for _, s := range b.Sources {
		if s.FirstLine < 1 || s.LastLine < s.FirstLine {
			return fmt.Errorf("sources: lines %d to %d", s.FirstLine, s.LastLine)
		}
		if err := isSum("sources: sha256", s.SHA256); err != nil {
			return err
		}
	}
	if b.Continues != "" && b.Continues == b.Cycle {
		return errors.New("continues: a cycle does not continue itself")
	}
	if b.End.Before(b.Start.Time) {
		return errors.New("end: before the start")
	}
	return first(need("cycle", b.Cycle), needTime("start", b.Start), needTime("end", b.End), isDay("day", b.Day),
		one("kind", b.Kind, "load", "control test", "steam penetration test", "air leakage test"),
		one("outcome", b.Outcome, "conforms", "borderline", "not proven", "failed"),
		b.isDigest(), isSum("configuration", b.Configuration), need("holdproof", b.Holdproof),
		shape("measured", b.Measured, '{'), shape("findings", b.Findings, '['), b.Sketch.check())
}

func (b Verdict) isDigest() error {
	if b.Readings == 0 {
		return nil
	}
	return isSum("digest", b.Digest)
}

// Load is what stood in the chamber. No names of patients.
type Load struct {
	Number   string `json:"number"` // the link to where the packs went
	Contents string `json:"contents"`
	Count    *int64 `json:"count"`
	Wrapping string `json:"wrapping"` // wrapped, hollow, both, neither; "": not said
	Loaded   string `json:"loaded"`   // person
	Packed   string `json:"packed"`   // person
	UseBy    string `json:"use_by"`   // date
}

// Release is what a person did with a load at the machine, on its display and the
// packs' indicators. It may come before the record: Cycle is then "".
type Release struct {
	Cycle      string `json:"cycle"`
	Steriliser string `json:"steriliser"`
	Number     string `json:"number"`
	Day        string `json:"day"`
	Act        string `json:"act"` // released, rejected
	Load       Load   `json:"load"`
	Indicator  string `json:"indicator"` // passed, failed, not used; "": not said
	Dry        *bool  `json:"dry"`
	Sealed     *bool  `json:"sealed"`
	Labelled   *bool  `json:"labelled"`
	Text       string `json:"text"`
	Settled    bool   `json:"settled"`
}

func (Release) entryType() Type { return TypeRelease }
func (b Release) facts() Facts {
	f := Facts{Subject: b.Cycle, Topic: b.Act, Day: b.Day, Cycle: b.Cycle, Steriliser: b.Steriliser, Number: b.Number, Settled: b.Settled}
	if f.Subject == "" {
		f.Subject = b.Steriliser
	}
	return f
}
func (b Release) check() error {
	return first(need("steriliser", b.Steriliser), isDay("day", b.Day), one("act", b.Act, "released", "rejected"),
		one("indicator", b.Indicator, "passed", "failed", "not used", ""), maybeDay("use_by", b.Load.UseBy),
		one("wrapping", b.Load.Wrapping, "wrapped", "hollow", "both", "neither", ""))
}

// Decision is a person's decision on a load after its record was judged.
type Decision struct {
	Cycle        string `json:"cycle"`
	Day          string `json:"day"`           // of the cycle
	Act          string `json:"act"`           // release, quarantine, reprocess, already-used
	Verdict      Ref    `json:"verdict"`       // the verdict the person saw; refused if another counts by now
	Second       string `json:"second"`        // the second person, where one is needed
	SecondProved string `json:"second_proved"` // how the second person proved it
	Rerun        string `json:"rerun"`         // key of the cycle it was run again in
	Text         string `json:"text"`
	Settled      bool   `json:"settled"`
}

func (Decision) entryType() Type { return TypeDecision }
func (b Decision) facts() Facts {
	return Facts{Subject: b.Cycle, Topic: b.Act, Day: b.Day, Cycle: b.Cycle, Settled: b.Settled}
}
func (b Decision) check() error {
	if b.Verdict == 0 {
		return errors.New("verdict: a decision names the verdict it was made on")
	}
	if (b.Second == "") != (b.SecondProved == "") {
		return errors.New("second: a second person and how it was proved, or neither")
	}
	return first(need("cycle", b.Cycle), isDay("day", b.Day), one("act", b.Act, "release", "quarantine", "reprocess", "already-used"))
}

// Pack is a pack of a recalled load and what became of it.
type Pack struct {
	Pack   string `json:"pack"`
	Became string `json:"became"`
}

// Recall opens, follows or closes the search for a load that should not have gone out.
type Recall struct {
	Cycle   string `json:"cycle"`
	Day     string `json:"day"` // of the cycle
	Act     string `json:"act"` // opened, followed, closed
	Because string `json:"because"`
	Packs   []Pack `json:"packs"`
	Settled bool   `json:"settled"`
}

func (Recall) entryType() Type { return TypeRecall }
func (b Recall) facts() Facts {
	return Facts{Subject: b.Cycle, Topic: b.Act, Day: b.Day, Cycle: b.Cycle, Settled: b.Settled}
}
func (b Recall) check() error {
	if b.Packs == nil {
		return errors.New("packs: an empty list, not a missing one")
	}
	return first(need("cycle", b.Cycle), isDay("day", b.Day), one("act", b.Act, "opened", "followed", "closed"))
}

// Note is a duty done or seen by a person: a test read, water lines treated, the
// machine's counter, a closed day, an engineer's visit.
type Note struct {
	Duty       string          `json:"duty"`
	Day        string          `json:"day"`
	Steriliser string          `json:"steriliser"`
	Place      string          `json:"place"` // a chair, a water line
	Cycle      string          `json:"cycle"` // the test cycle it reads, "": none
	From       Time            `json:"from"`
	To         Time            `json:"to"`
	Outcome    string          `json:"outcome"` // done, not done, passed, failed; "": nothing to pass
	Value      *float64        `json:"value"`
	Unit       string          `json:"unit"`
	Text       string          `json:"text"`
	Data       json.RawMessage `json:"data"` // object with the duty's own fields, opaque here; or null
	Settled    bool            `json:"settled"`
}

func (Note) entryType() Type { return TypeNote }
func (b Note) facts() Facts {
	f := Facts{Topic: b.Duty, Day: b.Day, Cycle: b.Cycle, Steriliser: b.Steriliser, Settled: b.Settled}
	for _, s := range []string{b.Cycle, b.Place, b.Steriliser, b.Day} {
		if s != "" {
			f.Subject = s
			break
		}
	}
	return f
}
func (b Note) check() error {
	if (b.Value == nil) != (b.Unit == "") {
		return errors.New("value: a figure and its unit, or neither")
	}
	return first(need("duty", b.Duty), isDay("day", b.Day), one("outcome", b.Outcome, "done", "not done", "passed", "failed", ""),
		shape("data", b.Data, '{'))
}

func list[T any](field string, l []T) error {
	if l == nil {
		return fmt.Errorf("%s: an empty list, not a missing one", field)
	}
	return nil
}

// Correction replaces what an earlier entry says, or withdraws it.
type Correction struct {
	Of      Type `json:"of"`      // type of the corrected entry
	Body    Body `json:"body"`    // what should have been said, of type Of; null: withdrawn
	Settled bool `json:"settled"` // of a withdrawal; a replacement says so in its body
	// About is the subject of the corrected entry.
	About string `json:"about"`
}

func (Correction) entryType() Type { return TypeCorrection }
func (b Correction) facts() Facts {
	if b.Body == nil {
		return Facts{Subject: b.About, Settled: b.Settled}
	}
	f := b.Body.facts()
	f.Subject = b.About
	return f
}
func (b Correction) check() error {
	if err := first(one("of", string(b.Of), string(TypeRelease), string(TypeDecision), string(TypeRecall), string(TypeNote)),
		need("about", b.About)); err != nil || b.Body == nil {
		return err
	}
	if b.Body.entryType() != b.Of {
		return fmt.Errorf("body: a %s cannot replace a %s", b.Body.entryType(), b.Of)
	}
	return b.Body.check()
}

// UnmarshalJSON reads the inner body by the type it corrects.
func (b *Correction) UnmarshalJSON(raw []byte) error {
	var v struct {
		Of      Type            `json:"of"`
		Body    json.RawMessage `json:"body"`
		Settled bool            `json:"settled"`
		About   string          `json:"about"`
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		return err
	}
	*b = Correction{Of: v.Of, Settled: v.Settled, About: v.About}
	if string(v.Body) == "null" {
		return nil
	}
	if v.Of == TypeCorrection {
		return errors.New("a correction is corrected by what it says, not by another correction of its form")
	}
	inner, err := decode(v.Of, v.Body)
	b.Body = inner
	return err
}

// As returns the entry's body, or that of the correction it is, as a B; false when
// the entry withdraws or is of another type.
func As[B Body](e Entry) (B, bool) {
	body := e.Body
	if c, is := body.(Correction); is {
		body = c.Body
	}
	b, ok := body.(B)
	return b, ok
}

// TypeOf returns the type whose bodies are of Go type B.
func TypeOf[B Body]() Type {
	return reflect.Zero(reflect.TypeFor[B]()).Interface().(Body).entryType()
}

// Sum returns the SHA-256 of b in lower-case hex.
func Sum(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}
