package surgery

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// The test program imports as a process of its own when it is told to.
func TestMain(m *testing.M) {
	if dir := os.Getenv("HOLDPROOF_TEST_IMPORT"); dir != "" {
		os.Exit(importAndTell(dir, os.Getenv("HOLDPROOF_TEST_FROM")))
	}
	os.Exit(m.Run())
}

// tellKept writes the name of each file when it is acknowledged.
type tellKept struct{ told }

func (k *tellKept) File(f Imported) error {
	if f.Kept {
		fmt.Printf("kept %s\n", f.SHA256)
	}
	return k.told.File(f)
}

func importAndTell(dir, from string) int {
	ctx := context.Background()
	r, err := OpenRecords(ctx, dir, Settings{Value: machines()}, World{Now: time.Now})
	if err == nil {
		defer r.Close()
		_, err = r.Import(ctx, Arriving{Paths: []string{from}, Via: ViaCommand}, &tellKept{})
	}
	if err != nil {
		fmt.Fprintf(os.Stderr, "%v\n%s\n", err, Remedy(err))
		return 2
	}
	return 0
}

func importChild(t *testing.T, dir, from string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self)
	c.Env = append(os.Environ(), "HOLDPROOF_TEST_IMPORT="+dir, "HOLDPROOF_TEST_FROM="+from)
	return c
}

// times is how often a fault is tried: often enough to see it, or as long as it takes.
func times(short, long int) int {
	if os.Getenv("HOLDPROOF_LONG") != "" {
		return long
	}
	if testing.Short() {
		return short / 5
	}
	return short
}

func someExports(t testing.TB, n int) string {
	t.Helper()
	dir := t.TempDir()
	for i := range n {
		clock := fmt.Sprintf("%02d:05:00", 6+i)
		exported(t, dir, fmt.Sprintf("%02d ü.csv", i), cycleAt(fmt.Sprint(100+i), clock))
	}
	return dir
}

// A process that is killed at any moment leaves a whole logbook with all that it had
// acknowledged, and the next run completes the rest.
func TestKilledImport(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such signal")
	}
	from := someExports(t, 6)
	dice := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 9))
	cut, kept := 0, 0
	for range times(50, 1000) {
		site := emptySite(t)
		c := importChild(t, site, from)
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		go func(d time.Duration) {
			time.Sleep(d)
			_ = c.Process.Signal(syscall.SIGKILL)
		}(time.Duration(dice.IntN(250)) * time.Millisecond)
		var acknowledged []string
		for s := bufio.NewScanner(out); s.Scan(); {
			acknowledged = append(acknowledged, strings.TrimPrefix(s.Text(), "kept "))
		}
		if err := c.Wait(); err != nil {
			cut++
		}
		kept += len(acknowledged)
		r := opened(t, site, machines(), "")
		sound(t, r)
		imports, err := logbook.Find[entry.Import](t.Context(), r.book.View, logbook.Filter{})
		if err != nil {
			t.Fatal(err)
		}
		for _, sum := range acknowledged {
			i := slices.IndexFunc(imports, func(i logbook.Row[entry.Import]) bool { return i.Said.SHA256 == sum })
			if i < 0 {
				t.Fatalf("the file %s was acknowledged and is gone", sum)
			}
			for _, key := range imports[i].Said.Cycles {
				if _, err := r.Cycle(t.Context(), key); err != nil {
					t.Fatalf("its import stands without its cycle: %v", err)
				}
			}
		}
		imported(t, r, from)
		if got := cyclesOf(t, r); len(got) != 6 {
			t.Fatalf("the next run leaves %d cycles, expected 6", len(got))
		}
		sound(t, r)
		r.Close()
		if err := os.RemoveAll(site); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d of %d runs were cut, %d files acknowledged before", cut, times(50, 1000), kept)
	if cut == 0 {
		t.Error("no run was cut: the test shows nothing")
	}
}

// Two imports of the same files and a reader at once: each cycle is one, and nobody
// sees half of a file.
func TestTwoImportsAndAReader(t *testing.T) {
	from, site := someExports(t, 8), emptySite(t)
	first, second, reader := opened(t, site, machines(), ""), opened(t, site, machines(), ""), opened(t, site, machines(), "")
	stop := make(chan struct{})
	var work, look sync.WaitGroup
	for _, r := range []*Records{first, second} {
		work.Go(func() {
			if _, err := r.Import(t.Context(), Arriving{Paths: []string{from}, Via: ViaDesk}, &told{}); err != nil {
				t.Error(err)
			}
		})
	}
	look.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
			}
			err := reader.book.Read(t.Context(), func(v *logbook.View) error {
				imports, err := logbook.Find[entry.Import](t.Context(), v, logbook.Filter{})
				if err != nil {
					return err
				}
				for _, i := range imports {
					for _, key := range i.Said.Cycles {
						if _, err := v.Cycle(t.Context(), key); err != nil {
							return err
						}
					}
				}
				return nil
			})
			if err != nil {
				t.Error(err)
				return
			}
		}
	})
	work.Wait()
	close(stop)
	look.Wait()
	got := cyclesOf(t, reader)
	if len(got) != 8 {
		t.Errorf("%d cycles, expected 8:\n%s", len(got), strings.Join(got, "\n"))
	}
	verdicts, err := logbook.Find[entry.Verdict](t.Context(), reader.book.View, logbook.Filter{})
	if err != nil || len(verdicts) != 8 {
		t.Errorf("%d verdicts (%v), expected 8", len(verdicts), err)
	}
	sound(t, reader)
}

// mounted makes a small file system, or skips where only an administrator may.
func mounted(t *testing.T, options string) string {
	t.Helper()
	if runtime.GOOS != "linux" || os.Getuid() != 0 {
		t.Skip("needs the right to mount")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("cannot mount: %s", out)
	}
	t.Cleanup(func() { _ = exec.Command("umount", "-l", dir).Run() })
	return dir
}

// On a full disk an import says so in a sentence and leaves no half of a file.
func TestFullDisk(t *testing.T) {
	site, small := emptySite(t), mounted(t, "size=900k")
	whole, err := os.ReadFile(filepath.Join(site, logbook.FileName))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(small, logbook.FileName), whole, 0o666); err != nil {
		t.Fatal(err)
	}
	from := someExports(t, 16)
	out, err := importChild(t, small, from).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "the disk is full") || !strings.Contains(string(out), "Free some space") {
		t.Fatalf("the import on a full disk says %q (%v)", out, err)
	}
	r := opened(t, small, machines(), "")
	kept := strings.Count(string(out), "kept ")
	if got := cyclesOf(t, r); len(got) != kept || kept == 0 {
		t.Errorf("%d cycles stand, %d files were acknowledged", len(got), kept)
	}
	sound(t, r)
}

// In a folder that cannot be written to an import says so and keeps nothing.
func TestReadOnlyFolder(t *testing.T) {
	site, dir := emptySite(t), mounted(t, "size=4m")
	whole, err := os.ReadFile(filepath.Join(site, logbook.FileName))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, logbook.FileName), whole, 0o666); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-o", "remount,ro", dir).CombinedOutput(); err != nil {
		t.Skipf("cannot mount again: %s", out)
	}
	_, err = OpenRecords(t.Context(), dir, Settings{Value: machines()}, World{Now: time.Now})
	if err == nil || Remedy(err) == "" {
		t.Errorf("opened a folder that cannot be written to (%v)", err)
	}
}

// The clock of the computer set back an hour between two imports changes no verdict
// and no order, and is a remark of the audit, not a problem.
func TestClockSetBack(t *testing.T) {
	site, dir := emptySite(t), t.TempDir()
	for i, now := range []time.Time{evening, evening.Add(-time.Hour)} {
		r, err := OpenRecords(t.Context(), site, Settings{Value: machines()}, World{Now: func() time.Time { return now }})
		if err != nil {
			t.Fatal(err)
		}
		imported(t, r, exported(t, dir, fmt.Sprintf("%d.csv", i), cycleAt(fmt.Sprint(i), fmt.Sprintf("%02d:00:00", 8+i))))
		r.Close()
	}
	r := opened(t, site, machines(), "")
	a, err := r.Audit(t.Context(), Auditing{})
	if err != nil || !a.OK() || len(a.Remarks) == 0 {
		t.Errorf("audit: %+v (%v), expected a remark about the clock", a, err)
	}
	if got := cyclesOf(t, r); len(got) != 2 {
		t.Errorf("cycles: %q", got)
	}
}

// An import that is interrupted between two files keeps the first and says so by
// returning; nothing of the second is left.
func TestInterrupted(t *testing.T) {
	from := someExports(t, 3)
	r := opened(t, emptySite(t), machines(), "")
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	_, err := r.Import(ctx, Arriving{Paths: []string{from}, Via: ViaCommand}, &stopAfter{stop: stop})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("returned %v", err)
	}
	if got := cyclesOf(t, r); len(got) != 1 {
		t.Errorf("%d cycles, expected 1", len(got))
	}
	sound(t, r)
}

type stopAfter struct {
	told
	stop func()
}

func (s *stopAfter) File(f Imported) error { s.stop(); return s.told.File(f) }
