package cli

import (
	"bytes"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
)

// The settings that init writes name every key there is, and read back; so do those
// that stand in comments, once somebody takes the # away.
func TestSettingsExplained(t *testing.T) {
	w := world(nil)
	s, _, err := newSettings(w, t.TempDir(), begun{`The "Quay"`, "Europe/London", "england", nil})
	if err != nil {
		t.Fatal(err)
	}
	if s.value.Site.Name != `The "Quay"` || s.value.Limits != "en" || s.value.Routine != "england" {
		t.Errorf("%+v", s.value)
	}
	text := string(s.bytes)
	for _, key := range allKeys(reflect.TypeFor[surgery.Configuration]()) {
		if !regexp.MustCompile(`(^|[ {,#-])`+key+`: `).MatchString(strings.ReplaceAll(text, "\n", " ")+" ") && !strings.Contains(text, key+":\n") {
			t.Errorf("the key %s is not explained", key)
		}
	}
	commented := regexp.MustCompile(`(?m)^(\s*)# ([ \-]*[a-z_0-9]+:|[ \-]+\{)`)
	whole := text
	for _, empty := range []string{"sterilisers: []\n", "limit_sets: []\n", "chairs: []\n", "routine_changes: []\n", "products: []\n"} {
		whole = strings.Replace(whole, empty, "", 1)
	}
	whole = commented.ReplaceAllString(whole, "$1$2")
	whole = strings.Replace(whole, "  ambient_kpa:", "  # ambient_kpa:", 1) // one of the two
	if _, err := decode(w, "holdproof.yaml", []byte(whole)); err != nil {
		t.Errorf("with the comments taken away: %v\n%s", err, whole)
	}
	for i, line := range strings.Split(text, "\n") {
		if len(line) > 120 || strings.Contains(line, "\t") {
			t.Errorf("line %d: %s", i+1, line)
		}
	}
	if bytes.Contains(s.bytes, []byte("NAME")) || bytes.Contains(s.bytes, []byte("ZONE")) {
		t.Error("something was not filled in")
	}
}

// allKeys are the keys of the settings, those inside lists too.
func allKeys(t reflect.Type) []string {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct || t == reflect.TypeFor[time.Time]() {
		return nil
	}
	out := keysOf(t)
	for i := range t.NumField() {
		out = append(out, allKeys(t.Field(i).Type)...)
	}
	return out
}
