package parse

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const exportsDir = "../fixtures/exports"

// readAll reads every cycle of a text and whatever is wrong with it.
func readAll(name, text string, o Options) ([]Cycle, *Error) {
	r, err := Open(name, strings.NewReader(text), o)
	if err != nil {
		return nil, asError(err)
	}
	var all []Cycle
	for {
		c, err := r.Next()
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, asError(err)
		}
		all = append(all, c)
	}
}

func asError(err error) *Error {
	var e *Error
	if !errors.As(err, &e) {
		panic("an error that is no *Error: " + err.Error())
	}
	return e
}

// What the exports that need a configuration are read with; each has it in a file
// of the same name beside it.
var exportOptions = map[string]Options{
	"c02-us-units.csv": {Sterilisers: []Steriliser{{ID: "S1", Hints: Hints{DateOrder: "mdy"}}}},
	"c08-blocks.csv":   {Sterilisers: []Steriliser{{ID: "B2", Hints: Hints{DateOrder: "dmy"}}}},
	"c06-opaque-columns.csv": {Sterilisers: []Steriliser{{ID: "S1", Hints: Hints{Pressure: "absolute", Columns: []ColumnHint{
		{"When", "time", ""}, {"Tc", "chamber temperature", "degC"}, {"Tl", "load temperature", "degC"}, {"P1", "pressure", "bar"}}}}}},
}

func TestEveryExportIsRead(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(exportsDir, "*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no exports in %s: %v", exportsDir, err)
	}
	for _, f := range files {
		name := filepath.Base(f)
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		cycles, bad := readAll(name, string(text), exportOptions[name])
		if strings.HasPrefix(name, "d") {
			if bad == nil || len(cycles) > 0 {
				t.Errorf("%s: %d cycles and error %v, want a refusal", name, len(cycles), bad)
			}
			continue
		}
		if bad != nil || len(cycles) == 0 {
			t.Errorf("%s: %d cycles and error %v", name, len(cycles), bad)
		}
		for _, c := range cycles {
			if c.Record == nil || len(c.Problems) > 0 {
				t.Errorf("%s: cycle on line %d: %v", name, c.Header.Source.FirstLine, c.Problems)
			}
		}
	}
}
