package daily

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// invented is a day of the invented Tern Quay Surgery with something of everything.
func invented(t testing.TB) Day {
	t.Helper()
	number := func(v float64) *float64 { return &v }
	count := int64(1044)
	hex64 := strings.Repeat("0a", 32)
	return Day{
		Version: Version, Program: "0.1.0",
		Record: Record{ID: "2026-11-02-r1", Revision: 1, Made: "2026-11-02T18:10:00Z",
			Previous: Link{"2026-10-30-r1", hex64}, LogSize: 812, LogRoot: hex64},
		Surgery:  Surgery{"Tern Quay Surgery", "Europe/London"},
		Date:     "2026-11-02",
		Settings: Settings{File: "holdproof.yaml", SHA256: hex64, Limits: "en", Routine: "england", Changes: []RoutineChange{{"water lines disinfected", "at least 10 min", "the leaflet says so"}}},
		Signing:  Signing{Second: "required"},
		Machines: []Machine{{ID: "S1", Serial: "TQ-0417", Type: "B", Litres: number(18), Counter: &count}, {ID: "S2"}},
		Tests: []Test{
			{Machine: "S1", Kind: "steam penetration test", Due: true, State: "passed", At: "2026-11-02T07:55:00Z", By: "A. Perera"},
			{Machine: "S1", Kind: "air leakage test", State: "missing"},
		},
		Cycles: []Cycle{
			judged(t, "S1", "1043", 90, validate.Failed), judged(t, "S1", "1042", 30, validate.Conforms), judged(t, "S2", "9", 60, validate.Conforms),
		},
		Decisions: []Decision{{Cycle: "S1-20261102-081403", At: "2026-11-02T09:40:00Z", Act: "released", By: "A. Perera", Role: "nurse"}},
		Duties: []Duty{{When: "start of day", What: "water lines flushed", Where: "chair 1", State: "done", At: "2026-11-02T07:40:00Z", By: "A. Perera", Detail: "2 min", Source: "HTM 01-05", Sure: "second-hand",
			Every: "1 day", Count: 1, Value: number(2), ValueUnit: "min", Low: number(2), Unit: "min", LimitSource: "HTM 01-05", LimitSure: "second-hand", Last: "2026-11-02", LastBy: "A. Perera", DueBy: "2026-11-03"},
			{When: "end of day", What: "water lines disinfected", Where: "chair 1", State: "failed", At: "2026-11-02T17:20:00Z", By: "A. Perera", Product: "rinse", Concentration: "3 %", In: "2026-11-02T17:11:00Z", Out: "2026-11-02T17:20:00Z",
				Changed: "the leaflet says so", Before: "", Text: "cut short", Source: "ours", Sure: "computed"},
			{When: "weekly", What: "leak test", State: "never entered", High: number(0.13), Unit: "kPa/min", Before: "no load before this has passed"}},
		Missing: []Missing{{What: "air leakage test", Machine: "S1"}},
		Remarks: []string{"<&> “ä”"},
		Sources: []Source{{Name: "monday.csv", SHA256: hex64, Bytes: 99, Problems: nil}},
	}
}

// judged is a cycle that started so many minutes after 07:44:03.
func judged(t testing.TB, machine, number string, minutes int, o validate.Outcome) Cycle {
	t.Helper()
	start := time.Date(2026, 11, 2, 7, 44, 3, 0, time.UTC).Add(time.Duration(minutes) * time.Minute)
	r, err := cycle.New(cycle.Header{Steriliser: machine, Number: number, Start: start, Source: cycle.Source{File: "monday.csv", FirstLine: 2, LastLine: 9}},
		cycle.Readings{Seconds: []float64{0}, Lines: []int{2}})
	if err != nil {
		t.Fatal(err)
	}
	v := validate.Verdict{Kind: cycle.Load, Programme: validate.Programme{Name: "134"}, ProgrammeBy: "label",
		Measured: validate.Measured{Hold: validate.Known(214.6)},
		Findings: []validate.Finding{{Check: "holding-time", Outcome: o, Measured: validate.Known(214.6), Low: validate.Known(180), Unit: "s",
			Source: validate.Source{Text: "EN 285", Sure: validate.SecondHand}, Message: "held 214.6 s, needs 180 s"}}}
	return Judged(r, v, "", []int{1})
}

// What Marshal writes, Parse reads, and writes again byte for byte.
func TestJSONThereAndBack(t *testing.T) {
	for what, d := range map[string]Day{"full": invented(t), "empty": empty()} {
		first, err := d.Marshal()
		if err != nil {
			t.Fatal(what, err)
		}
		back, err := Parse(first)
		if err != nil {
			t.Fatal(what, err)
		}
		second, err := back.Marshal()
		if err != nil || !bytes.Equal(first, second) {
			t.Errorf("%s: written again it differs (%v)", what, err)
		}
		for _, list := range []string{`"cycles": null`, `"findings": null`, `"problems": null`} {
			if bytes.Contains(first, []byte(list)) {
				t.Errorf("%s: %s stands in it, expected []", what, list)
			}
		}
	}
	d := invented(t)
	if _, err := d.Marshal(); err != nil || d.Sources[0].Problems != nil || d.Closed != nil {
		t.Errorf("writing changed the Day (%v)", err)
	}
}

func empty() Day {
	return Day{Version: Version, Date: "2026-11-01", Record: Record{ID: "x", Revision: 1, Made: "2026-11-01T18:00:00Z"}, Signing: Signing{Second: "none", Reason: "one dentist works alone"}}
}

// The fields stand in the order of the documentation, the figures in full precision.
func TestJSONShape(t *testing.T) {
	b, err := invented(t).Marshal()
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	at := -1
	for _, key := range []string{`"version": 2`, `"holdproof": "0.1.0"`, `"record": {`, `"id": "2026-11-02-r1"`, `"log_root"`, `"surgery"`, `"date"`, `"signing"`, `"machines"`, `"tests"`, `"cycles"`, `"hold_s": 214.6`, `"leak_kpa_per_min": null`, `"decisions"`, `"duties"`, "<&> “ä”", `"name": "monday.csv"`} {
		i := strings.Index(text, key)
		if i <= at {
			t.Errorf("%s stands at %d, before or at %d", key, i, at)
		}
		at = i
	}
}

// What is not exactly what Marshal writes is refused: the zero Day, another version,
// an outcome that its findings do not carry, a figure that is no number.
func TestRefused(t *testing.T) {
	change := func(f func(*Day)) Day { d := invented(t); f(&d); return d }
	nan := math.NaN()
	for _, c := range []struct {
		why string
		d   Day
		say string
	}{
		{"the zero Day", Day{}, "version 0"},
		{"a later version", change(func(d *Day) { d.Version = 3 }), "version 3"},
		{"a first version with later fields", change(func(d *Day) { d.Version = 1 }), "only version 2 can say"},
		{"a first version with a later state", change(func(d *Day) { d.Version, d.Duties = 1, []Duty{{What: "x", State: "overdue"}} }), "only version 2 can say"},
		{"a first version with a time out of service", change(func(d *Day) {
			d.Version, d.Duties, d.Closed = 1, nil, []Closure{{Machine: "S1", From: "2026-11-02T13:00:00Z"}}
		}), "only version 2 can say"},
		{"a state of a duty that is none", change(func(d *Day) { d.Duties[0].State = "" }), "state"},
		{"a last day that is none", change(func(d *Day) { d.Duties[0].Last = "yesterday" }), "yesterday"},
		{"a failed cycle that says conforms", change(func(d *Day) { d.Cycles[0].Outcome = "conforms" }), `says "conforms", its findings come to "failed"`},
		{"an outcome that is none", change(func(d *Day) { d.Cycles[0].Findings[0].Outcome = "fine" }), `"fine"`},
		{"no findings, and conforms", change(func(d *Day) { d.Cycles[1].Findings = nil }), `come to "not proven"`},
		{"NaN", change(func(d *Day) { d.Cycles[0].Measured.Hold = &nan }), "NaN"},
		{"text that is not UTF-8", change(func(d *Day) { d.Surgery.Name = "\xff" }), "cannot be written"},
		{"one id twice", change(func(d *Day) { d.Cycles[1] = d.Cycles[0] }), "twice"},
		{"a date that is none", change(func(d *Day) { d.Date = "02.11.2026" }), "02.11.2026"},
		{"a hash in capitals", change(func(d *Day) { d.Record.LogRoot = strings.Repeat("0A", 32) }), "lower-case hex"},
		{"a state of a test that is none", change(func(d *Day) { d.Tests[0].State = "" }), "state"},
		{"a time without a zone", change(func(d *Day) { d.Tests[0].At = "2026-11-02T07:55:00" }), "07:55:00"},
		{"no second signature and no reason", change(func(d *Day) { d.Signing = Signing{Second: "none"} }), "with a reason"},
	} {
		_, err := c.d.Marshal()
		if err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, expected a word of %q", c.why, err, c.say)
		}
	}
	good, err := invented(t).Marshal()
	if err != nil {
		t.Fatal(err)
	}
	for why, b := range map[string][]byte{
		"a key twice":     bytes.Replace(good, []byte(`{`), []byte("{\n \"date\": \"2020-01-01\","), 1),
		"an unknown key":  bytes.Replace(good, []byte(`"date"`), []byte(`"day"`), 1),
		"another letter":  bytes.Replace(good, []byte(`"date"`), []byte(`"Date"`), 1),
		"something after": append(slices.Clone(good), "{}"...),
		"cut":             good[:len(good)/2],
		"spaces":          append([]byte(" "), good...),
		"nothing":         nil,
	} {
		if _, err := Parse(b); err == nil {
			t.Errorf("%s is accepted", why)
		}
	}
}

// Cycles stand by steriliser and number, 9 before 10, whatever order they came in.
func TestInOrder(t *testing.T) {
	d := Day{Cycles: []Cycle{{ID: "a", Steriliser: "S2", Number: "9"}, {ID: "b", Steriliser: "S1", Number: "10"}, {ID: "c", Steriliser: "S1", Number: "9"},
		{ID: "d", Steriliser: "S1", Number: "x"}, {ID: "e", Steriliser: "S1", Number: "9", Start: "2026-11-02T07:00:00Z"}, {ID: "f", Steriliser: "S1", Number: "9", Start: "2026-11-02T07:30:00+01:00"}}}
	var got []string
	for _, c := range d.InOrder() {
		got = append(got, c.ID)
	}
	if want := []string{"c", "f", "e", "b", "d", "a"}; !slices.Equal(got, want) {
		t.Errorf("order %v, want %v", got, want)
	}
	if d.Cycles[0].ID != "a" {
		t.Error("the Day itself was sorted")
	}
}

// Yes only if every test that is due passed before the first load started.
func TestBeforeLoads(t *testing.T) {
	row := func(due bool, state, at string) Test {
		return Test{Machine: "S1", Kind: "control test", Due: due, State: state, At: at}
	}
	for _, c := range []struct {
		why  string
		rows []Test
		yes  bool
		say  string
	}{
		{"no row at all", nil, false, "no test is recorded"},
		{"passed before", []Test{row(true, "passed", "2026-11-02T08:00:00Z")}, true, "control test passed"},
		{"passed when the load started", []Test{row(true, "passed", "2026-11-02T08:14:03Z")}, false, "only after the first load"},
		{"passed after, in another zone", []Test{row(true, "passed", "2026-11-02T08:00:00-01:00")}, false, "only after the first load"},
		{"passed before and one missing", []Test{row(true, "passed", "2026-11-02T08:00:00Z"), row(true, "missing", "")}, false, "control test missing"},
		{"failed", []Test{row(true, "failed", "2026-11-02T08:00:00Z")}, false, "control test failed"},
		{"passed without a time", []Test{row(true, "passed", "")}, false, "without a time"},
		{"still open", []Test{row(true, "open", "")}, false, "control test open"},
		{"none due", []Test{row(false, "missing", "")}, true, "none was due"},
	} {
		d := invented(t)
		d.Tests = c.rows
		a := d.BeforeLoads()[0]
		if a.Machine != "S1" || a.Yes != c.yes || a.Loads != 2 || !slices.Contains(a.Why, c.say) && !strings.Contains(strings.Join(a.Why, ";"), c.say) {
			t.Errorf("%s: %+v, want %t with %q", c.why, a, c.yes, c.say)
		}
	}
	d := invented(t)
	if got := d.BeforeLoads(); len(got) != 2 || got[1].Machine != "S2" || got[1].Yes {
		t.Errorf("S2 has a load and no test: %+v", got)
	}
	d.Machines = nil
	if got := d.BeforeLoads(); len(got) != 2 {
		t.Errorf("sterilisers nobody configured are left out: %+v", got)
	}
}

func TestCountAndFind(t *testing.T) {
	d := invented(t)
	if d.Count(validate.Conforms) != 2 || d.Count(validate.Failed) != 1 || d.Count(validate.NotProven) != 0 {
		t.Error("the counts are wrong")
	}
	c, ok := d.Find("S1-20261102-081403")
	if !ok || !c.Conforms() || c.Name() != "S1 · 1042" || len(d.DecisionsOn(c.ID)) != 1 {
		t.Errorf("found %+v", c)
	}
	if (Cycle{}).Conforms() || (Cycle{Outcome: "conforms"}).Conforms() {
		t.Error("a cycle without findings conforms")
	}
}

// A mark never says more than the word: what is not known to be good is not proven.
func TestResults(t *testing.T) {
	for _, c := range []struct {
		what string
		m    Marked
		want validate.Outcome
	}{
		{"a test that passed", Test{State: "passed"}, validate.Conforms},
		{"a test that failed", Test{State: "failed"}, validate.Failed},
		{"a test that is missing", Test{State: "missing"}, validate.NotProven},
		{"the zero test", Test{}, validate.NotProven},
		{"a duty that was done", Duty{State: "done"}, validate.Conforms},
		{"a duty that is not due", Duty{State: "not due"}, validate.NotAssessed},
		{"a duty that was missed", Duty{State: "missed"}, validate.NotProven},
		{"the zero duty", Duty{}, validate.NotProven},
		{"a finding with another word", Finding{Outcome: "ok"}, validate.NotProven},
		{"the zero cycle", Cycle{}, validate.NotProven},
		{"tests passed", Answer{Yes: true, Loads: 1}, validate.Conforms},
		{"a test failed and loads ran", Answer{Failed: true, Loads: 1}, validate.Failed},
		{"a test is missing and loads ran", Answer{Loads: 1}, validate.NotProven},
		{"no load and no test", Answer{}, validate.NotAssessed},
	} {
		if got := c.m.Result(); got != c.want {
			t.Errorf("%s: %s, want %s", c.what, got, c.want)
		}
	}
	got := invented(t).Tallies()
	if len(got) != 2 || got[0] != (Tally{validate.Failed, 1}) || got[1] != (Tally{validate.Conforms, 2}) {
		t.Errorf("tallies %v: the worst stands first", got)
	}
	if len(Cautions()) < 8 {
		t.Error("cautions are missing")
	}
}

// The schema names the fields of the Go form, in both directions, each with its type.
func TestSchemaHasTheFields(t *testing.T) {
	raw, err := os.ReadFile(schema)
	if err != nil {
		t.Fatal(err)
	}
	type object struct {
		Properties map[string]struct {
			Type any    `json:"type"`
			Ref  string `json:"$ref"`
		} `json:"properties"`
		Required []string `json:"required"`
		Closed   *bool    `json:"additionalProperties"`
	}
	var s struct {
		object
		Defs map[string]object `json:"$defs"`
	}
	if err := json.Unmarshal(raw, &s); err != nil {
		t.Fatal(err)
	}
	checked := 0
	var check func(typ reflect.Type, o object)
	check = func(typ reflect.Type, o object) {
		checked++
		if o.Closed == nil || *o.Closed {
			t.Errorf("%s takes any other key", typ.Name())
		}
		if len(o.Properties) != typ.NumField() {
			t.Errorf("%s has %d fields, the schema %d", typ.Name(), typ.NumField(), len(o.Properties))
		}
		for i := range typ.NumField() {
			f := typ.Field(i)
			name, only2 := strings.CutSuffix(f.Tag.Get("json"), ",omitempty")
			p, ok := o.Properties[name]
			if !ok || slices.Contains(o.Required, name) == only2 {
				t.Errorf("%s.%s is not in the schema, or is required and may be left out", typ.Name(), name)
			}
			inner := f.Type
			for inner.Kind() == reflect.Slice {
				inner = inner.Elem()
			}
			if inner.Kind() != reflect.Struct {
				continue
			}
			if f.Type.Kind() == reflect.Struct && p.Ref != "#/$defs/"+inner.Name() {
				t.Errorf("%s.%s refers to %q", typ.Name(), name, p.Ref)
			}
			check(inner, s.Defs[inner.Name()])
		}
	}
	check(reflect.TypeFor[Day](), s.object)
	if checked < len(s.Defs) {
		t.Errorf("the schema has %d definitions, the Day reaches %d", len(s.Defs), checked)
	}
}

var schema = filepath.Join("..", "..", "fixtures", "day.schema.json")

// A reader that shares nothing with this program finds the day good and a changed
// one not: python3-jsonschema, draft 2020-12.
func TestSchemaByAnotherReader(t *testing.T) {
	if err := exec.Command("python3", "-c", "import jsonschema").Run(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("python3-jsonschema is missing")
		}
		t.Skip("python3-jsonschema is missing")
	}
	good, err := invented(t).Marshal()
	if err != nil {
		t.Fatal(err)
	}
	bad := bytes.Replace(good, []byte(`"state": "passed"`), []byte(`"state": "pass"`), 1)
	for want, data := range map[string][]byte{"valid": good, "invalid": bad} {
		cmd := exec.Command("python3", "-c", `
import json, sys, jsonschema
schema = json.load(open(sys.argv[1]))
v = jsonschema.Draft202012Validator(schema)
v.check_schema(schema)
print("invalid" if list(v.iter_errors(json.load(sys.stdin))) else "valid")`, schema)
		cmd.Stdin = bytes.NewReader(data)
		out, err := cmd.CombinedOutput()
		if err != nil || strings.TrimSpace(string(out)) != want {
			t.Errorf("expected %s, got %s (%v)", want, out, err)
		}
	}
}

// Whatever the bytes, Parse does not panic, and what it accepts it writes back.
func FuzzParse(f *testing.F) {
	good, err := invented(f).Marshal()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(`{}`))
	f.Add([]byte(`{"version":1,"cycles":[{"findings":[{"measured":1e999}]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := Parse(data)
		if err != nil {
			return
		}
		if again, err := d.Marshal(); err != nil || !bytes.Equal(again, data) {
			t.Errorf("accepted, but written otherwise (%v)", err)
		}
		d.BeforeLoads()
	})
}
