package surgery

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"holdproof/fixtures"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// A watch takes a file when it stands still with a complete last line, once; it waits
// for a folder that goes away; it takes what grew as the same cycle.
func TestWatch(t *testing.T) {
	share := filepath.Join(t.TempDir(), "share")
	text, err := fixtures.CSV(fixtures.Dialect{Preamble: true}, cycleAt("1", "08:00:00"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(text, "\n")
	half, more := strings.Join(lines[:len(lines)/2], ""), strings.Join(lines[len(lines)/2:], "")
	r := opened(t, emptySite(t), machines(), "")
	var said []string
	out := &told{}
	files := func() int { return len(out.files) }

	// What happens before each look, and how many files were taken before it.
	steps := []struct {
		before func()
		taken  int
	}{
		{func() {}, 0},
		{func() { _ = os.Mkdir(share, 0o777) }, 0},
		{func() { wrote(t, share, "a.csv", half[:len(half)-3]) }, 0}, // its last line has no end
		{func() {}, 0}, {func() {}, 0}, {func() {}, 0},
		{func() { wrote(t, share, "a.csv", half) }, 0},
		{func() {}, 0}, {func() {}, 0},
		{func() {}, 1}, // the beginning of the cycle
		{func() { wrote(t, share, "a.csv", half+more) }, 1}, // it grew
		{func() {}, 1}, {func() {}, 1},
		{func() { wrote(t, share, "copy.csv", half+more) }, 2},
		{func() { _ = os.Rename(share, share+" away") }, 2},
		{func() {}, 2},
		{func() { _ = os.Rename(share+" away", share) }, 2},
		{func() {}, 2}, {func() {}, 2}, {func() {}, 2}, {func() {}, 2}, // the copy is no other bytes
	}
	at := 0
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	tick := func(context.Context, time.Duration) error {
		if at == len(steps) {
			stop()
			return context.Canceled
		}
		if files() != steps[at].taken {
			t.Errorf("before step %d %d files were taken, expected %d", at, files(), steps[at].taken)
		}
		steps[at].before()
		at++
		return nil
	}
	err = r.Watch(ctx, Watching{Folders: []string{share}, Say: func(s string) { said = append(said, s) }, Wait: tick}, out, func([]Between) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	if got := cyclesOf(t, r); len(got) != 1 || !strings.Contains(got[0], "conforms") {
		t.Errorf("cycles %q", got)
	}
	imports, err := logbook.Find[entry.Import](t.Context(), r.book.View, logbook.Filter{})
	if err != nil || len(imports) != 2 || imports[0].Said.Via != "watch" {
		t.Errorf("%d imports (%v), expected 2", len(imports), err)
	}
	if len(said) != 4 || !strings.Contains(said[0], "cannot be read") || !strings.Contains(said[1], "can be read again") {
		t.Errorf("said %q", said)
	}
}
