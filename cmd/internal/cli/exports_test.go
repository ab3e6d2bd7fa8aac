package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
)

// expectation is what expected.json says of a file. It was computed by a program
// that shares no code with this one; what it does not list is not compared.
type expectation struct {
	Config string
	Exit   int
	Cycles []struct {
		Steriliser, Number, Start, Kind, Outcome string

		Checks   map[string]string
		Measured map[string]*float64
	}
}

// tolerances of the figures: times 0.2 s (guarded and longest hold 0.05 s),
// temperatures 0.02 K, steam differences 0.03 K (mean 0.02 K), leak 0.002 kPa/min.
// F0 is 0.1 % or 0.01 min.
var tolerances = map[string]float64{
	"hold_s": 0.2, "hold_guarded_s": 0.05, "hold_max_s": 0.05, "in_band_s": 0.2, "equilibration_s": 0.2, "sampling_s": 0.2,
	"temperature_min_c": 0.02, "temperature_max_c": 0.02, "spread_k": 0.02, "steam_mean_k": 0.02, "steam_gap_k": 0.03,
	"leak_kpa_per_min": 0.002,
}

// judged is what check --json prints, as far as it is compared.
type judged struct {
	Holdproof string
	Files     []struct {
		Name   string
		Cycles int
	}
	Cycles []struct {
		Start, Kind, Outcome string
		Steriliser, Number   *string
		Measured             map[string]*float64
		Findings             []struct{ Check, Outcome string }
	}
}

// unpack writes the recordings and their configurations into a folder.
func unpack(t *testing.T) (dir string, names []string) {
	t.Helper()
	dir = t.TempDir()
	err := fs.WalkDir(fixtures.Exports(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		src, err := fs.ReadFile(fixtures.Exports(), name)
		if err != nil {
			return err
		}
		if filepath.Ext(name) == ".csv" {
			names = append(names, name)
		}
		return os.WriteFile(filepath.Join(dir, name), src, 0o644)
	})
	if err != nil || len(names) == 0 {
		t.Fatalf("%d recordings, %v", len(names), err)
	}
	return dir, names
}

// run runs the program in a world without variables.
func run(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, complaints bytes.Buffer
	w := world(map[string]string{"LANG": "C.UTF-8"})
	w.Stdout, w.Stderr = &out, &complaints
	code = Run(args, w)
	return code, out.String(), complaints.String()
}

func TestExportsComeOutAsExpected(t *testing.T) {
	dir, names := unpack(t)
	src, err := os.ReadFile(filepath.Join(dir, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	expected := map[string]expectation{}
	if err := json.Unmarshal(src, &expected); err != nil {
		t.Fatal(err)
	}
	if len(expected) != len(names) {
		t.Errorf("%d recordings and %d expectations", len(names), len(expected))
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			want, ok := expected[name]
			if !ok {
				t.Fatal("nothing is expected of it")
			}
			args := []string{"check", "--json", "--dir", t.TempDir(), filepath.Join(dir, name)}
			if want.Config != "" {
				args = append(args, "--config", filepath.Join(dir, want.Config))
			}
			code, stdout, stderr := run(t, args...)
			compare(t, want, code, stdout, stderr)
		})
	}
}

func compare(t *testing.T, want expectation, code int, stdout, stderr string) {
	t.Helper()
	var got judged
	if err := json.Unmarshal([]byte(stdout), &got); err != nil {
		t.Fatalf("%v in %.200s\n%s", err, stdout, stderr)
	}
	exit := want.Exit
	for _, c := range want.Cycles {
		if exit == 0 && c.Outcome != "conforms" {
			exit = 1
		}
	}
	if code != exit {
		t.Errorf("exit code %d, want %d\n%s", code, exit, stderr)
	}
	if (exit == 2) != (stderr != "") {
		t.Errorf("exit code %d and standard error %q", exit, stderr)
	}
	if len(got.Cycles) != len(want.Cycles) {
		t.Fatalf("%d cycles, want %d", len(got.Cycles), len(want.Cycles))
	}
	for i, w := range want.Cycles {
		g := got.Cycles[i]
		same := func(what, got, want string) {
			if want != "" && got != want {
				t.Errorf("cycle %d: %s %q, want %q", i+1, what, got, want)
			}
		}
		same("outcome", g.Outcome, w.Outcome)
		same("kind", g.Kind, w.Kind)
		same("number", text(g.Number), w.Number)
		same("steriliser", text(g.Steriliser), w.Steriliser)
		if w.Start != "" {
			start, err := time.Parse(time.RFC3339, g.Start)
			if err != nil {
				t.Error(err)
			}
			same("start", start.Format("2006-01-02T15:04:05"), w.Start)
		}
		findings := map[string]string{}
		for _, f := range g.Findings {
			findings[f.Check] = f.Outcome
		}
		for check, outcome := range w.Checks {
			if _, there := findings[check]; !there && outcome == "not assessed" {
				continue
			}
			same(check, findings[check], outcome)
		}
		for figure, v := range w.Measured {
			if err := within(figure, g.Measured[figure], v); err != nil {
				t.Errorf("cycle %d: %v", i+1, err)
			}
		}
	}
}

func text(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func within(figure string, got, want *float64) error {
	if got == nil || want == nil {
		if got != want {
			return fmt.Errorf("%s: one of %v and %v is null", figure, got, want)
		}
		return nil
	}
	allow, known := tolerances[figure]
	if figure == "f0_min" {
		allow, known = max(0.01, 0.001*math.Abs(*want)), true
	}
	if !known {
		return fmt.Errorf("%s has no tolerance", figure)
	}
	if !(math.Abs(*got-*want) <= allow) {
		return fmt.Errorf("%s: %v, want %v", figure, *got, *want)
	}
	return nil
}

// The same bytes come out whatever the number of workers, and again for the same files.
func TestSameBytesForAnyWorkers(t *testing.T) {
	dir, names := unpack(t)
	var files []string
	for _, n := range names {
		files = append(files, filepath.Join(dir, n))
	}
	for _, form := range []string{"--json", "--explain"} {
		first := ""
		for _, workers := range []string{"1", "2", "7", "1"} {
			_, stdout, stderr := run(t, append([]string{"check", form, "--dir", dir, "--workers", workers}, files...)...)
			if all := stdout + stderr; first == "" {
				first = all
			} else if all != first {
				t.Errorf("%s: %s workers print other bytes than one", form, workers)
			}
		}
		if len(first) < 10000 || strings.Count(first, "a01-good.csv") < 2 {
			t.Errorf("%s: hardly anything was printed: %.300s", form, first)
		}
	}
}
