package validate_test

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"

	"holdproof/parse"
	"holdproof/validate"
)

// asConfigured are the options and rules of the configurations beside the exports.
func asConfigured(t *testing.T, config string) (parse.Options, validate.Rules) {
	t.Helper()
	var o parse.Options
	r := validate.Rules{Set: limitSet(t, "en")}
	r.Site.Altitude = validate.Known(0)
	machine := func(id string, h parse.Hints) { o.Sterilisers = []parse.Steriliser{{ID: id, Hints: h}} }
	switch config {
	case "":
		r.Site = validate.Site{}
	case "a23-us-132.yaml":
		r.Set = limitSet(t, "us-dynamic-air-removal")
	case "c02-us-units.yaml":
		machine("S1", parse.Hints{DateOrder: "mdy"})
	case "c06-opaque-columns.yaml":
		machine("S1", parse.Hints{Pressure: "absolute", Columns: []parse.ColumnHint{
			{Heading: "When", Is: "time"}, {Heading: "Tc", Is: "chamber temperature", Unit: "degC"},
			{Heading: "Tl", Is: "load temperature", Unit: "degC"}, {Heading: "P1", Is: "pressure", Unit: "bar"}}})
	case "c08-blocks.yaml":
		machine("B2", parse.Hints{DateOrder: "dmy"})
	default:
		t.Fatalf("no rules are known for %s", config)
	}
	return o, r
}

// Bytes of an export to verdicts, through parse: every export that can be read.
func TestExportsThroughParse(t *testing.T) {
	compared := 0
	for name, want := range expectations(t) {
		if len(want.Cycles) == 0 {
			continue
		}
		t.Run(name, func(t *testing.T) {
			o, rules := asConfigured(t, want.Config)
			b, err := os.ReadFile(filepath.Join(exportsDir, name))
			if err != nil {
				t.Fatal(err)
			}
			r, err := parse.Open(name, bytes.NewReader(b), o)
			if err != nil {
				t.Fatal(err)
			}
			for i, w := range want.Cycles {
				c, err := r.Next()
				if err != nil || c.Record == nil {
					t.Fatalf("cycle %d: %v %v", i+1, err, c.Problems)
				}
				compare(t, w, validate.Judge(c.Record, rules))
				compared++
			}
			if _, err := r.Next(); err != io.EOF {
				t.Errorf("more than %d cycles, or %v", len(want.Cycles), err)
			}
		})
	}
	if compared < 48 {
		t.Errorf("only %d cycles compared", compared)
	}
}
