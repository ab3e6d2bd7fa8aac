package logbook

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"

	"holdproof/report/logbook/entry"
)

var ctx = context.Background()

// A day as it goes: released at the machine, judged at noon, decided, corrected,
// recalled, signed.
func TestADay(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	nurse := func(body entry.Body) entry.Draft {
		return entry.Draft{At: morning, By: "nurse", Proved: "passphrase", Body: body}
	}
	release := mustWrite(t, b, nurse(entry.Release{Steriliser: "S1", Number: "1009", Day: dayOf(9), Act: "released", Indicator: "passed"}))
	waiting, err := Find[entry.Release](ctx, b.View, Filter{Steriliser: "S1", Number: "1009"})
	if err != nil || len(waiting) != 1 || waiting[0].Cycle != "" || waiting[0].Number != release {
		t.Fatalf("the release before its record: %+v, %v", waiting, err)
	}

	// The record comes: failed, though released.
	data := export(9, 60)
	o := NewOriginal()
	defer o.Discard()
	o.Write(data)
	sum, size, err := o.Finish()
	if err != nil {
		t.Fatal(err)
	}
	var verdict int64
	if _, err := b.Write(ctx, func(w *Batch) error {
		if err := w.Keep(o); err != nil {
			return err
		}
		w.Add(importOf(9, sum, size))
		d := verdictOf(9, sum)
		v := d.Body.(entry.Verdict)
		v.Release = entry.Ref(release)
		d.Body = v
		verdict, err = w.Add(d)
		if err != nil {
			return err
		}
		_, err = w.Add(nurse(entry.Recall{Cycle: v.Cycle, Day: v.Day, Act: "opened", Because: "released, and its record failed", Packs: []entry.Pack{}}))
		return err
	}); err != nil {
		t.Fatal(err)
	}
	c, err := b.Cycle(ctx, keyOf(9))
	if err != nil {
		t.Fatal(err)
	}
	if c.Outcome != "failed" || c.Release != "released" || c.ReleaseEntry != release || c.Recall != "opened" || c.Settled || c.Verdict.Number != "1009" || c.VerdictEntry != verdict {
		t.Errorf("the cycle stands as %+v", c)
	}
	if open, err := b.Cycles(ctx, CycleFilter{Recalled: true}); err != nil || len(open) != 1 {
		t.Errorf("recalled: %v, %v", open, err)
	}

	// The release is corrected after it found its cycle; it stays that cycle's.
	dry := false
	redo := nurse(entry.Correction{Of: entry.TypeRelease, About: "S1", Body: entry.Release{Steriliser: "S1", Number: "1009", Day: dayOf(9), Act: "rejected", Dry: &dry}})
	redo.Corrects, redo.Reason = release, "a pack was wet"
	mustWrite(t, b, redo)
	if c, _ = b.Cycle(ctx, keyOf(9)); c.Release != "rejected" {
		t.Errorf("after the release was corrected: %+v", c)
	}

	// A decision on a verdict nobody sees any more is refused; on the right one it stands.
	decide := nurse(entry.Decision{Cycle: keyOf(9), Day: dayOf(9), Act: "already-used", Verdict: entry.Ref(verdict - 1)})
	if _, err := write(b, decide); !errors.Is(err, ErrStale) {
		t.Errorf("a decision on another verdict: %v", err)
	}
	decide.Body = entry.Decision{Cycle: keyOf(9), Day: dayOf(9), Act: "quarantine", Verdict: entry.Ref(verdict)}
	n := mustWrite(t, b, decide)
	fix := nurse(entry.Correction{Of: entry.TypeDecision, About: keyOf(9), Body: entry.Decision{Cycle: keyOf(9), Day: dayOf(9), Act: "already-used", Verdict: entry.Ref(verdict), Settled: true}})
	fix.Corrects, fix.Reason = n, "typed the wrong one"
	m := mustWrite(t, b, fix)
	if _, err := write(b, fix); !errors.Is(err, ErrStale) {
		t.Errorf("a second correction of one entry: %v", err)
	}
	if c, _ = b.Cycle(ctx, keyOf(9)); c.Decision != "already-used" || c.DecisionEntry != m || !c.Settled {
		t.Errorf("after the correction: %+v", c)
	}
	back := nurse(entry.Correction{Of: entry.TypeDecision, About: keyOf(9)})
	back.Corrects, back.Reason = m, "not decided yet"
	mustWrite(t, b, back)
	if c, _ = b.Cycle(ctx, keyOf(9)); c.Decision != "" || c.Settled {
		t.Errorf("after the withdrawal: %+v", c)
	}
	history, err := Find[entry.Body](ctx, b.View, Filter{Cycle: keyOf(9), Superseded: true})
	if err != nil || len(history) != 7 || history[0].Number != release || !history[6].Withdrawn || history[4].CorrectedBy != m {
		t.Errorf("history of %d entries, %v: %+v", len(history), err, history)
	}
	if a := mustAudit(t, b); !a.OK() || a.Checked != 9+1 {
		t.Errorf("audit: %+v", a)
	}
}

// The bytes come back as they were, and a stranger needs sqlite3 and gunzip alone.
func TestOriginalsComeBack(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	noise := make([]byte, 9<<20) // does not compress: several parts, and a temporary file
	rand.NewChaCha8([32]byte{1}).Read(noise)
	for i, data := range [][]byte{export(1, 900), {}, noise} {
		if _, err := keep(b, i, data); err != nil {
			t.Fatal(err)
		}
		sum := entry.Sum(data)
		r, err := b.Original(ctx, sum)
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(r)
		if err != nil || !bytes.Equal(got, data) {
			t.Errorf("original %d: %d of %d bytes, %v", i, len(got), len(data), err)
		}
		sqlite, err := exec.LookPath("sqlite3")
		if err != nil {
			t.Log("sqlite3 is not installed: reading by a stranger not tried")
			continue
		}
		out, err := exec.Command("sh", "-c", `"$0" "$1" "select hex(gzip) from original_parts where sha256='$2' order by part" | `+
			`perl -ne 'chomp; print pack("H*", $_)' | gunzip`, sqlite, b.Path(), sum).Output()
		if err != nil || !bytes.Equal(out, data) {
			t.Errorf("original %d by sqlite3 and gunzip: %d of %d bytes, %v", i, len(out), len(data), err)
		}
	}
	if _, err := b.Original(ctx, strings.Repeat("0", 64)); err == nil {
		t.Error("a file that was never kept was found")
	}
}

// The same bytes twice are kept once; each import is an entry.
func TestSameBytesOnce(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 50)
	mustKeep(t, b, 1, 50)
	var n int
	if err := b.r.QueryRow(`SELECT COUNT(*) FROM originals`).Scan(&n); err != nil || n != 1 {
		t.Errorf("%d originals, %v", n, err)
	}
	if a := mustAudit(t, b); !a.OK() || a.Checked != 1+2+2+1 {
		t.Errorf("audit: %+v", a)
	}
}

// What could not be true is refused, and nothing of its batch is kept.
func TestRefusals(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 50)
	before, _ := b.Checkpoint(ctx)
	sum := entry.Sum(export(1, 50))
	strange := strings.Repeat("ab", 32)
	note := entry.Note{Duty: "flush", Day: "2026-11-02", Data: []byte("null")}
	with := func(d entry.Draft, change func(v *entry.Verdict)) entry.Draft {
		v := d.Body.(entry.Verdict)
		change(&v)
		d.Body = v
		return d
	}
	for _, c := range []struct {
		why string
		d   entry.Draft
		say string
	}{
		{"an import of bytes that are not kept", importOf(2, strange, 3), "not kept"},
		{"an import with another size", importOf(1, sum, 3), "not 3"},
		{"a verdict on bytes that are not kept", verdictOf(2, strange), "not kept"},
		{"a verdict under settings nobody entered", with(verdictOf(2, sum), func(v *entry.Verdict) { v.Configuration = strange }), "is not an entry"},
		{"a verdict for a release that is none", with(verdictOf(2, sum), func(v *entry.Verdict) { v.Release = 1 }), "no release"},
		{"a verdict that continues a cycle nobody knows", with(verdictOf(2, sum), func(v *entry.Verdict) { v.Continues = "S9" }), "not in the logbook"},
		{"a decision on a cycle nobody knows", entry.Draft{At: morning, Body: entry.Decision{Cycle: "S9", Day: "2026-11-02", Act: "release", Verdict: 3}}, "not in the logbook"},
		{"a recall under another day", entry.Draft{At: morning, Body: entry.Recall{Cycle: keyOf(1), Day: "2026-11-09", Act: "opened", Packs: []entry.Pack{}}}, "not of 2026-11-09"},
		{"a correction of another type", entry.Draft{At: morning, Corrects: 1, Body: entry.Correction{Of: entry.TypeNote, About: "x", Body: note}}, "not a note"},
		{"a review of a day nobody prepared", entry.Draft{At: morning, Body: entry.Signature{Day: "2026-11-02", Revision: 1, Meaning: "reviewed", File: "a.pdf", SHA256: strange,
			Size: 1, Certificate: strange, TimeFrom: "entry", Root: strange}}, "cannot be signed as reviewed"},
		{"a record drawn from entries there are not", entry.Draft{At: morning, Body: entry.Signature{Day: "2026-11-02", Revision: 1, Meaning: "prepared", File: "a.pdf", SHA256: strange,
			Size: 1, Certificate: strange, TimeFrom: "entry", Covers: 99, Root: strange}}, "covers 99 entries"},
		{"a person without a proof", entry.Draft{At: morning, By: "nurse", Body: note}, "or neither"},
		{"no event time", entry.Draft{Body: note}, "needs the time"},
		{"text that is not UTF-8", entry.Draft{At: morning, Reason: "\xff", Body: note}, "not UTF-8"},
		{"no body", entry.Draft{At: morning}, "needs a body"},
	} {
		_, err := b.Write(ctx, func(w *Batch) error {
			if _, err := w.Add(entry.Draft{At: morning, Body: note}); err != nil {
				t.Fatal(err)
			}
			w.Add(c.d) // the refusal is not looked at: nothing may be kept all the same
			return nil
		})
		if err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: got %v, want %q", c.why, err, c.say)
		}
		if after, err := b.Checkpoint(ctx); err != nil || after != before {
			t.Errorf("%s: something was kept: %+v", c.why, after)
		}
	}
	o := NewOriginal()
	o.Write([]byte("x"))
	o.Finish()
	if _, err := b.Write(ctx, func(w *Batch) error { return w.Keep(o) }); err == nil || !strings.Contains(err.Error(), "without an import") {
		t.Errorf("bytes without an import: %v", err)
	}
	o = NewOriginal()
	defer o.Discard()
	o.size = MaxOriginal
	if _, err := o.Write([]byte("x")); err == nil || !strings.Contains(err.Error(), "longer than") {
		t.Errorf("a file too long: %v", err)
	}
	if _, _, err := o.Finish(); err == nil {
		t.Error("a file too long was finished")
	}
	var kept *Batch
	b.Write(ctx, func(w *Batch) error { kept = w; return nil })
	if _, err := kept.Add(entry.Draft{At: morning, Body: note}); err == nil {
		t.Error("a batch that ended took an entry")
	}
}

// A cycle of an unknown machine gets its name later; what was done with it goes along.
func TestACycleIsNamedAnew(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 50)
	old, _ := b.Cycle(ctx, keyOf(1))
	mustWrite(t, b, entry.Draft{At: morning, By: "lead", Proved: "passphrase", Body: entry.Decision{Cycle: old.Key, Day: old.Day, Act: "quarantine", Verdict: entry.Ref(old.VerdictEntry)}})
	d := verdictOf(1, entry.Sum(export(1, 50)))
	v := d.Body.(entry.Verdict)
	v.Cycle, v.Continues, v.Steriliser = "S2-x", old.Key, "S2"
	d.Body = v
	mustWrite(t, b, d)
	c, err := b.Cycle(ctx, "S2-x")
	if err != nil || c.Decision != "quarantine" {
		t.Errorf("got %+v, %v", c, err)
	}
	if all, _ := b.Cycles(ctx, CycleFilter{}); len(all) != 1 || all[0].Key != "S2-x" {
		t.Errorf("on the list: %+v", all)
	}
	if old, _ = b.Cycle(ctx, old.Key); old.ContinuedBy != "S2-x" || !old.Settled {
		t.Errorf("the old name: %+v", old)
	}
	if _, err := write(b, entry.Draft{At: morning, Body: entry.Decision{Cycle: old.Key, Day: old.Day, Act: "release", Verdict: entry.Ref(old.VerdictEntry)}}); !errors.Is(err, ErrStale) {
		t.Errorf("a decision under the old name: %v", err)
	}
	if a := mustAudit(t, b); !a.OK() {
		t.Errorf("audit: %v", a.Problems)
	}
}

// A late entry into a signed day makes a new revision due.
func TestRevisionDue(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	mustKeep(t, b, 1, 50)
	tip, _ := b.Checkpoint(ctx)
	sum := entry.Sum([]byte("pdf"))
	s := entry.Signature{Day: dayOf(1), Revision: 1, Meaning: "prepared", Role: "nurse", File: "2026-11-02.pdf", SHA256: sum, Size: 3,
		Certificate: sum, TimeFrom: "entry", Covers: tip.Size, Root: hexOf(tip.Root)}
	sign := func(s entry.Signature) error {
		_, err := write(b, entry.Draft{At: morning, By: "nurse", Proved: "passphrase", Body: s})
		return err
	}
	if err := sign(s); err != nil {
		t.Fatal(err)
	}
	if err := sign(s); !errors.Is(err, ErrStale) {
		t.Errorf("prepared twice: %v", err)
	}
	s.Meaning = "reviewed"
	if err := sign(s); err != nil {
		t.Fatal(err)
	}
	if err := sign(s); !errors.Is(err, ErrStale) {
		t.Errorf("reviewed twice: %v", err)
	}
	due := func() Day {
		days, err := b.Days(ctx, dayOf(1), dayOf(1))
		if err != nil || len(days) != 1 {
			t.Fatalf("%+v, %v", days, err)
		}
		return days[0]
	}
	if d := due(); d.Due() || d.Revision != 1 || d.PreparedEntry != 4 || d.ReviewedEntry != 5 || d.Cycles != 1 {
		t.Errorf("signed: %+v", d)
	}
	mustKeep(t, b, 2, 50)
	if d := due(); !d.Due() || d.Cycles != 2 {
		t.Errorf("after a late import: %+v", d)
	}
}

// Every connection is set as the promises need it: an acknowledged act is on the
// disk (FULL), a second program waits its turn, no reader can write.
func TestConnections(t *testing.T) {
	b := newSite(t)
	for _, c := range []struct {
		db     *sql.DB
		pragma string
		want   string
	}{
		{b.w, "journal_mode", "wal"}, {b.w, "synchronous", "2"}, {b.w, "foreign_keys", "1"}, {b.w, "busy_timeout", "10000"},
		{b.r, "journal_mode", "wal"}, {b.r, "foreign_keys", "1"}, {b.r, "busy_timeout", "10000"}, {b.r, "query_only", "1"},
	} {
		var got string
		if err := c.db.QueryRow("PRAGMA " + c.pragma).Scan(&got); err != nil || got != c.want {
			t.Errorf("%s is %q, want %q, %v", c.pragma, got, c.want, err)
		}
	}
	if _, err := b.r.Exec(`INSERT INTO trees VALUES (9, 'x', 'x')`); err == nil {
		t.Error("a reader wrote")
	}
	if _, err := b.w.Exec(`INSERT INTO original_parts VALUES ('x', 1, 'x')`); err == nil {
		t.Error("a part without its file was kept")
	}
}

// Bytes that are not those of their name are never handed out as if they were.
func TestDamagedOriginalIsNotHandedOut(t *testing.T) {
	data, _ := wholeFile(t, 3, 40)
	sum := entry.Sum(export(1, 40))
	for _, change := range []string{`UPDATE original_parts SET gzip = (SELECT gzip FROM original_parts WHERE sha256 <> '` + sum + `')`,
		`UPDATE original_parts SET gzip = substr(gzip, 1, 300)`, `UPDATE original_parts SET gzip = 'x'`, `DELETE FROM original_parts`} {
		dir := t.TempDir()
		tamper(t, dir, data, change)
		b, err := Open(ctx, dir, clock())
		if err != nil {
			t.Fatal(err)
		}
		r, err := b.Original(ctx, sum)
		if err == nil {
			_, err = io.ReadAll(r)
		}
		wantError(t, err, "is damaged")
		b.Close()
	}
}
