package logbook

import (
	"database/sql"
	"errors"
	"fmt"

	"holdproof/report/logbook/entry"
)

// refer refuses an entry that speaks of what is not here, or of what is here no
// longer as the writer saw it.
func (w *Batch) refer(e entry.Entry) error {
	switch b := e.Body.(type) {
	case entry.Import:
		return w.referImport(b)
	case entry.Verdict:
		return w.referVerdict(b)
	case entry.Signature:
		return w.referSignature(b)
	case entry.Correction:
		return w.referCorrection(e.Corrects, b)
	}
	return w.referCycle(e.Body)
}

func (w *Batch) referImport(b entry.Import) error {
	var size int64
	err := w.q.QueryRowContext(w.ctx, `SELECT size FROM originals WHERE sha256 = $1`, b.SHA256).Scan(&size)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("import: the bytes of %s are not kept", b.SHA256)
	}
	if err == nil && size != b.Size {
		return fmt.Errorf("import: %s has %d bytes, not %d", b.SHA256, size, b.Size)
	}
	w.named[b.SHA256] = true
	return err
}

func (w *Batch) referVerdict(b entry.Verdict) error {
	for _, s := range b.Sources {
		if kept, err := w.Kept(w.ctx, s.SHA256); err != nil || !kept {
			return refused(err, "verdict: the bytes of %s are not kept", s.SHA256)
		}
	}
	if is, err := w.ofConfiguration(w.ctx, b.Configuration); err != nil || !is {
		return refused(err, "verdict: the configuration %s is not an entry", b.Configuration)
	}
	if b.Release != 0 {
		var n int64
		err := w.q.QueryRowContext(w.ctx, `SELECT COUNT(*) FROM acts WHERE n = $1 AND type = $2 AND corrected_by IS NULL AND NOT withdrawn AND (cycle = '' OR cycle = $3)`,
			int64(b.Release), string(entry.TypeRelease), b.Cycle).Scan(&n)
		if err != nil || n == 0 {
			return refused(err, "verdict: entry %d is no release that waits for its record", b.Release)
		}
	}
	if b.Continues != "" {
		if _, err := w.standing(b.Continues, b.Cycle); err != nil {
			return err
		}
	}
	var next string
	err := w.q.QueryRowContext(w.ctx, `SELECT continued_by FROM cycles WHERE cycle = $1`, b.Cycle).Scan(&next)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err == nil && next != "" && next != b.Continues {
		return fmt.Errorf("verdict: the cycle %s is now %s", b.Cycle, next)
	}
	return err
}

// standing returns the verdict that counts on a cycle which has not become another
// one; except may be that other one.
func (w *Batch) standing(cycle, except string) (verdict int64, err error) {
	var next string
	err = w.q.QueryRowContext(w.ctx, `SELECT verdict_n, continued_by FROM cycles WHERE cycle = $1`, cycle).Scan(&verdict, &next)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("the cycle %s is not in the logbook", cycle)
	}
	if err == nil && next != "" && next != except {
		return 0, fmt.Errorf("the cycle %s is now %s: %w", cycle, next, ErrStale)
	}
	return verdict, err
}

// referCycle checks the cycle an act is on, and the day it names.
func (w *Batch) referCycle(b entry.Body) error {
	f := entry.FactsOf(b)
	if f.Cycle == "" {
		return nil
	}
	verdict, err := w.standing(f.Cycle, "")
	if err != nil {
		return err
	}
	switch b := b.(type) {
	case entry.Decision:
		if int64(b.Verdict) != verdict {
			return fmt.Errorf("the verdict on %s is entry %d by now, not %d: %w", b.Cycle, verdict, b.Verdict, ErrStale)
		}
	case entry.Recall, entry.Release:
	default:
		return nil // a note belongs to the day it was made
	}
	var day string
	if err := w.q.QueryRowContext(w.ctx, `SELECT day FROM cycles WHERE cycle = $1`, f.Cycle).Scan(&day); err != nil {
		return err
	}
	if day != f.Day {
		return fmt.Errorf("the cycle %s is of %s, not of %s", f.Cycle, day, f.Day)
	}
	return nil
}

func (w *Batch) referCorrection(n int64, b entry.Correction) error {
	var kind, subject string
	var by sql.NullInt64
	var withdrawn bool
	err := w.q.QueryRowContext(w.ctx, `SELECT type, subject, corrected_by, withdrawn FROM acts WHERE n = $1`, n).Scan(&kind, &subject, &by, &withdrawn)
	switch {
	case err != nil:
		return refused(err, "entry %d is not in the logbook", n)
	case kind != string(b.Of) || subject != b.About:
		return fmt.Errorf("entry %d is a %s about %q, not a %s about %q", n, kind, subject, b.Of, b.About)
	case by.Valid:
		return fmt.Errorf("entry %d was corrected by entry %d: %w", n, by.Int64, ErrStale)
	case withdrawn:
		return fmt.Errorf("entry %d withdrew what it corrects, there is nothing left to correct: %w", n, ErrStale)
	case b.Body == nil:
		return nil
	}
	return w.referCycle(b.Body)
}

// referSignature keeps the revisions of a day in order: each is prepared once, and
// reviewed once after that.
func (w *Batch) referSignature(b entry.Signature) error {
	var revision int64
	var reviewed sql.NullInt64
	err := w.q.QueryRowContext(w.ctx, `SELECT revision, reviewed FROM days WHERE day = $1`, b.Day).Scan(&revision, &reviewed)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if b.Covers > w.size {
		return fmt.Errorf("the record covers %d entries, the logbook holds %d", b.Covers, w.size)
	}
	want := revision + 1
	if b.Meaning == "reviewed" {
		want = revision
	}
	if b.Revision != want || b.Meaning == "reviewed" && reviewed.Valid {
		return fmt.Errorf("revision %d of %s cannot be signed as %s, the newest is %d: %w", b.Revision, b.Day, b.Meaning, revision, ErrStale)
	}
	return nil
}

// refused returns err, or if there is none the sentence.
func refused(err error, format string, args ...any) error {
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	return fmt.Errorf(format, args...)
}
