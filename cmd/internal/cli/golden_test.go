package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

const goldenJSON = "../../../fixtures/golden/short-load.json"

// The whole of check --json on one load of the invented week: every key in its order,
// every text; figures to 1e-9, since processors differ in the last digit.
// UPDATE_GOLDEN=1 writes it anew.
func TestJSONIsAsItWas(t *testing.T) {
	golden, err := filepath.Abs(goldenJSON)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	if _, err := surgery.WriteDemo("quay"); err != nil {
		t.Fatal(err)
	}
	_, got, _ := run(t, "check", "--json", "--dir", "quay", "quay/exports/S1-1045.csv")
	if os.Getenv("UPDATE_GOLDEN") != "" {
		var pretty bytes.Buffer
		if err := json.Indent(&pretty, []byte(got), "", " "); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(golden, pretty.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if g, w := keysInOrder(got), keysInOrder(string(want)); !slices.Equal(g, w) {
		t.Errorf("keys, in their order, are\n%q\nwant\n%q", g, w)
	}
	var g, w any
	if err := json.Unmarshal([]byte(got), &g); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(want, &w); err != nil {
		t.Fatal(err)
	}
	if d := difference("", g, w); d != "" {
		t.Error(d)
	}
}

// keysInOrder lists the keys as they stand in the text.
func keysInOrder(text string) []string {
	var keys []string
	d := json.NewDecoder(strings.NewReader(text))
	var isObject []bool
	key := false
	for {
		token, err := d.Token()
		if err != nil {
			return keys
		}
		switch v := token.(type) {
		case json.Delim:
			if v == '{' || v == '[' {
				isObject = append(isObject, v == '{')
			} else {
				isObject = isObject[:len(isObject)-1]
			}
			key = len(isObject) > 0 && isObject[len(isObject)-1]
			continue
		case string:
			if key {
				keys, key = append(keys, v), false
				continue
			}
		}
		key = len(isObject) > 0 && isObject[len(isObject)-1]
	}
}

// difference describes the first place where two JSON values are not the same.
func difference(at string, got, want any) string {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok || len(g) != len(w) {
			return fmt.Sprintf("%s: %v, want %v", at, got, want)
		}
		for _, k := range slices.Sorted(maps.Keys(w)) {
			if d := difference(at+"."+k, g[k], w[k]); d != "" {
				return d
			}
		}
		return ""
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return fmt.Sprintf("%s: %v, want %v", at, got, want)
		}
		for i := range w {
			if d := difference(fmt.Sprintf("%s[%d]", at, i), g[i], w[i]); d != "" {
				return d
			}
		}
		return ""
	case float64:
		if g, ok := got.(float64); ok && math.Abs(g-w) <= 1e-9*max(1, math.Abs(w)) {
			return ""
		}
	default:
		if got == want {
			return ""
		}
	}
	return fmt.Sprintf("%s: %v, want %v", at, got, want)
}
