package logbook

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// HOLDPROOF_FAULTS=long runs the faults as often as the project promises; without
// it each runs a short time.
func times(short, long int) int {
	if os.Getenv("HOLDPROOF_FAULTS") == "long" {
		return long
	}
	return short
}

// The test program is also the one that is killed: see TestKilled.
func TestMain(m *testing.M) {
	if dir := os.Getenv("HOLDPROOF_TEST_IMPORTS"); dir != "" {
		if err := importForever(dir, os.Getenv("HOLDPROOF_TEST_FROM")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(3)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// importForever imports cycle after cycle and acknowledges each on standard output
// after Write returned. Two of them at once take turns.
func importForever(dir, from string) error {
	n, err := strconv.Atoi(from)
	if err != nil {
		return err
	}
	b, err := Open(ctx, dir, Options{Now: time.Now})
	if err != nil {
		return err
	}
	defer b.Close()
	limit, _ := strconv.Atoi(os.Getenv("HOLDPROOF_TEST_COUNT"))
	for i := 0; limit == 0 || i < limit; i++ {
		tip, err := keep(b, n+i, export(n+i, 300))
		if err != nil {
			return err
		}
		if _, err := fmt.Printf("%d %d %s\n", n+i, tip.Size, hexOf(tip.Root)); err != nil {
			return err
		}
	}
	return nil
}

func child(dir string, from, count int) (*exec.Cmd, io.Reader, error) {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "HOLDPROOF_TEST_IMPORTS="+dir, fmt.Sprintf("HOLDPROOF_TEST_FROM=%d", from), fmt.Sprintf("HOLDPROOF_TEST_COUNT=%d", count))
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		return nil, nil, err
	}
	return c, out, c.Start()
}

// Killed at any moment of an import: nothing acknowledged is lost, the database is
// whole, and the next run goes on from there. Every second importer is let come to
// its first cycle, however slow the machine is.
func TestKilled(t *testing.T) {
	dir := t.TempDir()
	b := newSiteIn(t, dir)
	configure(t, b)
	b.Close()
	rounds, r := times(50, 1000), rand.New(rand.NewPCG(1, 2))
	next, acknowledged := 0, 0
	for round := range rounds {
		c, out, err := child(dir, next, 0)
		if err != nil {
			t.Fatal(err)
		}
		delay := time.Duration(5+r.IntN(60)) * time.Millisecond
		kill := func() { c.Process.Kill() }
		if round%2 == 1 {
			defer time.AfterFunc(delay, kill).Stop()
		}
		var last string
		for s := bufio.NewScanner(out); s.Scan(); {
			if last == "" && round%2 == 0 {
				defer time.AfterFunc(delay, kill).Stop()
			}
			last = s.Text()
		}
		if err := c.Wait(); err == nil || c.ProcessState.ExitCode() == 3 {
			t.Fatalf("round %d: the importer ended by itself: %v", round, err)
		}
		next = afterKill(t, dir, round, last, next)
		acknowledged = next
	}
	b, err := Open(ctx, dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if a := mustAudit(t, b); !a.OK() || acknowledged < rounds/10 {
		t.Errorf("after %d rounds, %d cycles: %v", rounds, acknowledged, a.Problems)
	}
	t.Logf("%d rounds, %d cycles kept", rounds, acknowledged)
}

// afterKill checks the logbook after one kill and returns the first cycle it lacks.
func afterKill(t *testing.T, dir string, round int, last string, from int) int {
	t.Helper()
	b, err := Open(ctx, dir, Options{Now: time.Now})
	if err != nil {
		t.Fatalf("round %d: %v", round, err)
	}
	defer b.Close()
	if last != "" {
		var n int
		var size int64
		var root string
		if _, err := fmt.Sscan(last, &n, &size, &root); err != nil {
			t.Fatalf("round %d: %q: %v", round, last, err)
		}
		c := entry.Checkpoint{Size: size}
		h, err := hex.DecodeString(root)
		if err != nil || copy(c.Root[:], h) != len(c.Root) {
			t.Fatalf("round %d: %q: %v", round, last, err)
		}
		if _, err := b.Cycle(ctx, keyOf(n)); err != nil {
			t.Fatalf("round %d: cycle %d was acknowledged and is lost: %v", round, n, err)
		}
		if round%25 == 0 {
			if a := mustAudit(t, b, c); !a.OK() {
				t.Fatalf("round %d: %v", round, a.Problems)
			}
		}
		from = n + 1
	}
	for { // one more may be kept, though its acknowledgement was never heard
		if _, err := b.Cycle(ctx, keyOf(from)); err != nil {
			return from
		}
		from++
	}
}

// Two programs import and a third one reads, all at once.
func TestTwoWritersAndAReader(t *testing.T) {
	dir := t.TempDir()
	b := newSiteIn(t, dir)
	configure(t, b)
	each := times(60, 500)
	var outs [2]io.Reader
	var cmds [2]*exec.Cmd
	for i := range cmds {
		var err error
		if cmds[i], outs[i], err = child(dir, i*each, each); err != nil {
			t.Fatal(err)
		}
	}
	done := make(chan error, 2)
	for i := range cmds {
		go func() {
			io.Copy(io.Discard, outs[i])
			done <- cmds[i].Wait()
		}()
	}
	var reads, before int64
	for left := 2; left > 0; {
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
			left--
		default:
			// Within one reading entries, tree and cycles belong together.
			if err := b.Read(ctx, func(v *View) error {
				c, err := v.sound(ctx)
				if err != nil {
					return err
				}
				cycles, err := v.Cycles(ctx, CycleFilter{})
				if want := (c.Size - 1) / 2; err == nil && (int64(len(cycles)) != want || c.Size < before) {
					err = fmt.Errorf("%d cycles, want %d; %d entries after %d", len(cycles), want, c.Size, before)
				}
				before = c.Size
				return err
			}); err != nil {
				t.Fatal(err)
			}
			reads++
		}
	}
	a := mustAudit(t, b)
	if c := mustCheckpoint(t, b); !a.OK() || c.Size != int64(1+2*2*each) {
		t.Errorf("%d entries: %v", c.Size, a.Problems)
	}
	t.Logf("%d cycles by two, %d readings meanwhile", 2*each, reads)
}

// The clock is set back an hour: the order of entries stays that of their numbers,
// and audit remarks on it.
func TestClockSetBack(t *testing.T) {
	now := morning
	b, err := Create(ctx, t.TempDir(), Options{Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	configure(t, b)
	mustKeep(t, b, 1, 20)
	now = now.Add(-time.Hour)
	mustKeep(t, b, 2, 20)
	a := mustAudit(t, b)
	if !a.OK() || len(a.Remarks) != 1 || !strings.Contains(a.Remarks[0], "went back between entry 3 (2026-11-02T08:00:00.000Z) and entry 4 (2026-11-02T07:00:00.000Z)") {
		t.Errorf("%+v", a)
	}
	all, err := Find[entry.Verdict](ctx, b.View, Filter{})
	if err != nil || len(all) != 2 || all[0].Number != 3 || all[1].Number != 5 || !all[1].Entered.Before(all[0].Entered) {
		t.Errorf("%+v, %v", all, err)
	}
}
