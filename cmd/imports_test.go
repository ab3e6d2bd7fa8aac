package cmd

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mayImport says which packages of the house each folder may import. One direction:
// bytes → record → findings → what people see and keep. A folder that is missing
// here fails the test; so does a row whose folder is gone.
var mayImport = map[string]string{
	"cmd":                  "",
	"cmd/holdproof":        "cmd/internal/cli",
	"cmd/internal/cli":     "cmd/internal/surgery cmd/internal/desk",
	"cmd/internal/desk":    "cmd/internal/surgery report/figure",
	"cmd/internal/surgery": "parse parse/cycle validate validate/steam validate/routine validate/drift report/logbook report/logbook/entry report/daily report/figure report/pdf report/seal report/archive fixtures",
	"parse":                "parse/cycle",
	"parse/cycle":          "",
	"validate":             "validate/steam parse/cycle",
	"validate/steam":       "parse/cycle",
	"validate/drift":       "parse/cycle",
	"validate/routine":     "parse/cycle",
	"report/logbook":       "report/logbook/entry",
	"report/logbook/entry": "",
	"report/daily":         "validate validate/routine parse/cycle",
	"report/figure":        "validate validate/steam parse/cycle",
	"report/pdf":           "report/daily report/figure",
	"report/seal":          "report/seal/cms report/seal/pdffile",
	"report/archive":       "validate report/daily report/figure report/seal report/seal/cms report/logbook/entry",
	"report/seal/cms":      "",
	"report/seal/pdffile":  "",
	"fixtures":             "",
}

// Tests may reach further: they compare a room with the fixtures and with its neighbours.
var testsMayImport = "fixtures parse parse/cycle validate validate/steam"

// The desk's tests write ten years of entries at once, which takes no person's passphrase.
var deskTestsMayImport = "report/logbook report/logbook/entry"

func TestArrows(t *testing.T) {
	seen := map[string]bool{}
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (strings.HasPrefix(d.Name(), ".") && path != "..") {
			return filepath.SkipDir
		}
		if d.IsDir() || filepath.Ext(path) != ".go" {
			return nil
		}
		dir := filepath.ToSlash(filepath.Dir(strings.TrimPrefix(filepath.ToSlash(path), "../")))
		allowed, known := mayImport[dir]
		if !known {
			t.Errorf("%s stands in a folder without a row in mayImport", path)
			return nil
		}
		seen[dir] = true
		if strings.HasSuffix(path, "_test.go") {
			allowed += " " + testsMayImport + " " + dir
			if dir == "cmd/internal/desk" {
				allowed += " " + deskTestsMayImport
			}
		}
		checkImports(t, path, strings.Fields(allowed))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for dir := range mayImport {
		if !seen[dir] {
			t.Errorf("mayImport has a row for %s, which holds no Go file", dir)
		}
	}
}

func checkImports(t *testing.T, path string, allowed []string) {
	src, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := parser.ParseFile(token.NewFileSet(), path, src, parser.ImportsOnly)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range f.Imports {
		name, err := strconv.Unquote(s.Path.Value)
		if err != nil {
			t.Fatal(err)
		}
		room, ours := strings.CutPrefix(name, "holdproof/")
		if ours && !slices.Contains(allowed, room) {
			t.Errorf("%s imports %s, which the arrows forbid", path, room)
		}
	}
}
