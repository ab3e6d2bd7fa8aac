package archive

import (
	"bytes"
	"encoding/json"
	"math/bits"
	"os"
	"reflect"
	"regexp"
	"slices"
	"testing"
)

// The schema that other programs read says of a line of the ledger what the Go type says
// and what is written.
func TestLedgerSchema(t *testing.T) {
	text, err := os.ReadFile("../../fixtures/ledger.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	var s struct {
		Required   []string
		Properties struct {
			N     struct{ Minimum int64 }
			Leaf  struct{ Pattern string }
			Proof struct {
				MaxItems int
				Items    struct{ Pattern string }
			}
			Entry struct{ MinLength int }
		}
	}
	if err := json.Unmarshal(text, &s); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range reflect.VisibleFields(reflect.TypeFor[ledgerLine]()) {
		names = append(names, f.Tag.Get("json"))
	}
	if !slices.Equal(s.Required, names) {
		t.Errorf("a line has %v, the schema says %v", names, s.Required)
	}
	p := s.Properties
	if most := bits.Len(maxEntries - 1); p.Proof.MaxItems != most {
		t.Errorf("a proof has up to %d hashes, the schema says %d", most, p.Proof.MaxItems)
	}
	leaf, item := regexp.MustCompile(p.Leaf.Pattern), regexp.MustCompile(p.Proof.Items.Pattern)
	ledger, _ := ledgerOf(t, noted(t, 5))
	for _, line := range bytes.SplitAfter(bytes.TrimSuffix(ledger, []byte("\n")), []byte("\n")) {
		var x struct {
			N     int64
			Leaf  string
			Proof []string
			Entry string
		}
		if err := json.Unmarshal(line, &x); err != nil {
			t.Fatal(err)
		}
		if x.N < p.N.Minimum || p.N.Minimum != 1 || !leaf.MatchString(x.Leaf) || len(x.Entry) < p.Entry.MinLength || len(x.Proof) == 0 ||
			slices.ContainsFunc(x.Proof, func(h string) bool { return !item.MatchString(h) }) {
			t.Errorf("not by the schema: %s", line)
		}
	}
}
