package surgery

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
)

// heard keeps what a receiver is told.
type heard struct {
	cycles []Judged
	files  []FileRead
	fail   error
}

func (h *heard) Cycle(j Judged) error {
	h.cycles = append(h.cycles, j)
	return h.fail
}

func (h *heard) File(f FileRead) error {
	h.files = append(h.files, f)
	return nil
}

// written writes invented cycles into a file.
func written(t *testing.T, name string, cycles ...fixtures.Cycle) string {
	t.Helper()
	text, err := fixtures.CSV(fixtures.Dialect{Preamble: true}, cycles...)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

func check(t *testing.T, files ...string) (*heard, []Between) {
	t.Helper()
	var to heard
	across, err := Check(context.Background(), Configuration{}, Exports{Files: files}, &to)
	if err != nil {
		t.Fatal(err)
	}
	return &to, across
}

// The export of noon, cut, and that of the evening are one cycle, whichever comes
// first: nothing across, and a failure does not count twice.
func TestOneCycleExportedTwice(t *testing.T) {
	whole := fixtures.Cycle{Steriliser: "S1", Number: "7", Hold: 120}
	cut := whole
	cut.Faults.CutEnd = 700
	noon, evening := written(t, "noon.csv", cut), written(t, "evening.csv", whole)
	for _, files := range [][]string{{noon, evening}, {evening, noon}, {evening, evening}} {
		to, across := check(t, files...)
		if len(to.cycles) != 2 || len(across) != 0 {
			t.Errorf("%d cycles, across %+v", len(to.cycles), across)
		}
		for _, j := range to.cycles {
			if strings.Contains(j.Instruction.Sentence, "out of use") {
				t.Errorf("one failure counts as two: %q", j.Instruction.Sentence)
			}
		}
	}
	other := whole
	other.Draw = 5
	if _, across := check(t, evening, written(t, "other.csv", other)); len(across) == 0 {
		t.Error("other readings at the same start went unnoticed")
	}
}

func TestSecondFailureTakesTheMachineOutOfUse(t *testing.T) {
	first := fixtures.Cycle{Steriliser: "S1", Number: "7", Hold: 120}
	second := first
	second.Number = "8"
	second.Start = second.Start.AddDate(2026, 10, 3)
	to, _ := check(t, written(t, "a.csv", first), written(t, "b.csv", second))
	if got := to.cycles[1].Instruction.Sentence; got != "Take the steriliser out of use. Tell the lead." {
		t.Errorf("got %q", got)
	}
}

// Of a file with one bad cycle the good ones are judged, the bad one is not proven,
// and its problem has a line.
func TestOneBadCycleAmongGoodOnes(t *testing.T) {
	var cycles []fixtures.Cycle
	for i := range 3 {
		c := fixtures.Cycle{Number: fmt.Sprint(1 + i), Steriliser: "S1"}
		c.Start = fixtures.Cycle{}.Start.AddDate(2026, 10, 3+i)
		cycles = append(cycles, c)
	}
	file := written(t, "three.csv", cycles...)
	src, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(src), "\n")
	bad := len(lines) / 2
	lines[bad], lines[bad+1] = lines[bad+1], lines[bad] // the clock runs backwards
	if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")), 0o644); err != nil {
		t.Fatal(err)
	}
	to, _ := check(t, file)
	var outcomes []string
	for _, j := range to.cycles {
		outcomes = append(outcomes, j.Outcome().String())
	}
	if got := strings.Join(outcomes, ", "); got != "conforms, not proven, conforms" {
		t.Errorf("got %s", got)
	}
	if p := to.files[0].Problems; len(p) != 1 || p[0].Line != bad+2 || to.files[0].Cycles != 3 {
		t.Errorf("problems %+v, want one on line %d; %d cycles", p, bad+2, to.files[0].Cycles)
	}
}

// What a receiver refuses ends the whole; nothing hangs.
func TestReceiverStops(t *testing.T) {
	to := heard{fail: errors.New("full")}
	files := []string{}
	for i := range 20 {
		files = append(files, written(t, fmt.Sprintf("%d.csv", i), fixtures.Cycle{Number: fmt.Sprint(i)}))
	}
	_, err := Check(context.Background(), Configuration{}, Exports{Files: files}, &to)
	if !errors.Is(err, to.fail) || len(to.cycles) != 1 {
		t.Errorf("%d cycles, %v", len(to.cycles), err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Check(ctx, Configuration{}, Exports{Files: files}, &heard{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// touching changes a file while it is read: fewer cycles fit into memory than it has.
type touching struct {
	heard
	file string
}

func (h *touching) Cycle(j Judged) error {
	later := time.Now().Add(time.Hour)
	return errors.Join(h.heard.Cycle(j), os.Chtimes(h.file, later, later))
}

func TestFileThatChangesWhileItIsRead(t *testing.T) {
	var cycles []fixtures.Cycle
	for i := range 12 {
		cycles = append(cycles, fixtures.Cycle{Number: fmt.Sprint(i), Interval: 10, Start: day("2026-11-02").AddDate(0, 0, i)})
	}
	to := touching{file: written(t, "growing.csv", cycles...)}
	if _, err := Check(t.Context(), Configuration{}, Exports{Files: []string{to.file}}, &to); err != nil {
		t.Fatal(err)
	}
	if p := to.files[0].Problems; len(p) != 1 || !strings.Contains(p[0].Message, "changed while it was read") || len(to.cycles) != 12 {
		t.Errorf("%d cycles, problems %+v", len(to.cycles), p)
	}
}

// More cycles than fit into memory that have not even a start: each is a problem, and
// nothing waits for them.
func TestCyclesWithoutAStart(t *testing.T) {
	text := ""
	for i := range 9 {
		text += fmt.Sprintf("Cycle number,%d\nProgramme,134\ntime,chamber temperature [°C],pressure [kPa abs]\nnever,20,101\nnever,21,101\n", i)
	}
	file := filepath.Join(t.TempDir(), "timeless.csv")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	to, _ := check(t, file)
	if len(to.cycles) != 0 || len(to.files) != 1 || len(to.files[0].Problems) != 9 {
		t.Errorf("%d cycles, files %+v", len(to.cycles), to.files)
	}
}
