package logbook

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdproof/report/logbook/entry"
)

// next is the layout of a program yet to come: one table and one column more.
var next = layout{
	migrations: append(append([]string{}, current.migrations...), `CREATE TABLE places (place TEXT NOT NULL PRIMARY KEY)`),
	derived:    strings.Replace(derived, "hold_s        DOUBLE PRECISION,", "hold_s        DOUBLE PRECISION,\n\tseen BIGINT,", 1),
}

func TestNewerLayout(t *testing.T) {
	dir := t.TempDir()
	b, err := create(ctx, dir, clock(), next)
	if err != nil {
		t.Fatal(err)
	}
	b.Close()
	before, err := os.ReadFile(b.Path())
	if err != nil {
		t.Fatal(err)
	}
	_, err = Open(ctx, dir, clock())
	wantError(t, err, fmt.Sprintf("a newer holdproof made this logbook (layout %d, this program knows up to %d)", next.version(), current.version()))
	after, err := os.ReadFile(b.Path())
	if err != nil || string(before) != string(after) {
		t.Errorf("the file was changed, %v", err)
	}
}

func TestOlderLayoutGoesForward(t *testing.T) {
	dir := t.TempDir()
	b := newSiteIn(t, dir)
	configure(t, b)
	for i := range 10 {
		mustKeep(t, b, i, 20)
	}
	tip := mustCheckpoint(t, b)
	b.Close()
	for range 2 { // the second time there is nothing to do
		b, err := open(ctx, dir, clock(), next)
		if err != nil {
			t.Fatal(err)
		}
		if a := mustAudit(t, b, tip); !a.OK() || a.Checkpoint != tip {
			t.Errorf("after the migration: %+v", a)
		}
		if c, err := b.Cycle(ctx, keyOf(9)); err != nil || c.Outcome != "failed" {
			t.Errorf("%+v, %v", c, err)
		}
		if v, err := readVersion(ctx, b.r); err != nil || v != next.version() {
			t.Errorf("version %d, %v", v, err)
		}
		b.Close()
	}
}

// A logbook of each released layout is kept as it was written and must stay readable.
// HOLDPROOF_WRITE_FIXTURE=1 writes the one of today's layout anew; that is right only
// before its release.
var released = []struct {
	file    string
	entries int64
	root    string
}{
	{"v1.db", 14, "769af64a15ca3921c5b45df79f2b1bb070d86e8570446d86bbd2b574b9311afb"},
	{"v2.db", 14, "769af64a15ca3921c5b45df79f2b1bb070d86e8570446d86bbd2b574b9311afb"}, // cycles hold the figures of charts
	{"v3.db", 14, "769af64a15ca3921c5b45df79f2b1bb070d86e8570446d86bbd2b574b9311afb"}, // and are found by start, kind and person
}

const stored = "../../fixtures/logbook/"

func TestReleasedLayouts(t *testing.T) {
	for _, r := range released {
		dir := t.TempDir()
		if err := copyFile(filepath.Join(stored, r.file), filepath.Join(dir, FileName)); err != nil {
			t.Fatal(err)
		}
		b, err := Open(ctx, dir, clock())
		if err != nil {
			t.Fatal(err)
		}
		a := mustAudit(t, b)
		if root := hex.EncodeToString(a.Checkpoint.Root[:]); !a.OK() || a.Checkpoint.Size != r.entries || root != r.root {
			t.Errorf("%s: root %s over %d entries: %v", r.file, root, a.Checkpoint.Size, a.Problems)
		}
		if c, err := b.Cycle(ctx, keyOf(9)); err != nil || c.Outcome != "failed" || c.Decision != "reprocess" {
			t.Errorf("%s: %+v, %v", r.file, c, err)
		}
		mustKeep(t, b, 10, 20)
		b.Close()
	}
	if int64(len(released)) != current.version() {
		t.Errorf("%d layouts were released, %d are stored", current.version(), len(released))
	}
}

func TestWriteFixture(t *testing.T) {
	if os.Getenv("HOLDPROOF_WRITE_FIXTURE") == "" {
		t.Skip("writes a fixture only when asked to")
	}
	findings = json.RawMessage(`[{"check":"holding-time","outcome":"conforms","measured":214.6}]`)
	b := newSite(t)
	configure(t, b)
	by := func(body entry.Body) entry.Draft {
		return entry.Draft{At: morning, By: "lead", Proved: "passphrase", Reason: "invented", Body: body}
	}
	der := []byte("not a certificate, only bytes")
	sum := entry.Sum(der)
	mustWrite(t, b, by(entry.Person{Person: "lead", Name: "A. Lead", May: []entry.May{{Act: "lead", Since: "2026-01-01"}}}),
		by(entry.Certificate{Person: "lead", Act: "issued", Use: "person", SHA256: sum, Serial: "01", NotBefore: entry.At(morning), NotAfter: entry.At(morning.AddDate(3, 0, 0)), DER: der}),
		by(entry.Release{Steriliser: "S1", Number: "1009", Day: dayOf(9), Act: "released"}))
	mustKeep(t, b, 8, 20)
	mustKeep(t, b, 9, 20)
	c, err := b.Cycle(ctx, keyOf(9))
	if err != nil {
		t.Fatal(err)
	}
	n := mustWrite(t, b, by(entry.Recall{Cycle: c.Key, Day: c.Day, Act: "opened", Packs: []entry.Pack{}}),
		by(entry.Decision{Cycle: c.Key, Day: c.Day, Act: "reprocess", Verdict: entry.Ref(c.VerdictEntry)}),
		by(entry.Recall{Cycle: c.Key, Day: c.Day, Act: "closed", Packs: []entry.Pack{{Pack: "P1", Became: "came back"}}, Settled: true}),
		by(entry.Note{Duty: "flush", Day: c.Day, Place: "chair 1", Outcome: "done", Data: json.RawMessage("null")}))
	fix := by(entry.Correction{Of: entry.TypeNote, About: "chair 1", Body: entry.Note{Duty: "flush", Day: c.Day, Place: "chair 2", Outcome: "done", Data: json.RawMessage("null")}})
	fix.Corrects = n
	tip := mustCheckpoint(t, b)
	mustWrite(t, b, fix, by(entry.Signature{Day: c.Day, Revision: 1, Meaning: "prepared", File: c.Day + ".pdf", SHA256: sum, Size: 29, Certificate: sum, TimeFrom: "entry", Covers: tip.Size, Root: hexOf(tip.Root)}))
	file := fmt.Sprintf("%sv%d.db", stored, current.version())
	os.Remove(file)
	if err := os.MkdirAll(stored, 0o755); err != nil {
		t.Fatal(err)
	}
	got, err := b.Backup(ctx, file)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d entries, root %s", got.Size, hexOf(got.Root))
}
