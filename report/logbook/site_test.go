package logbook

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// The invented surgery of these tests: one machine, eight cycles a working day.
var morning = time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)

// clock returns times a minute apart: entry times that tests can predict.
func clock() Options {
	now := morning
	return Options{Now: func() time.Time { now = now.Add(time.Minute); return now }}
}

func newSite(t testing.TB) *Book {
	t.Helper()
	return newSiteIn(t, t.TempDir())
}

func newSiteIn(t testing.TB, dir string) *Book {
	t.Helper()
	b, err := Create(context.Background(), dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

const settings = "site:\n  name: Tern Quay Surgery\n"

func configure(t testing.TB, b *Book) {
	t.Helper()
	mustWrite(t, b, entry.Draft{At: morning, By: "lead", Proved: "passphrase",
		Body: entry.Configuration{SHA256: entry.Sum([]byte(settings)), File: "holdproof.yaml", Text: settings}})
}

func mustWrite(t testing.TB, b *Book, drafts ...entry.Draft) (last int64) {
	t.Helper()
	last, err := write(b, drafts...)
	if err != nil {
		t.Fatal(err)
	}
	return last
}

func write(b *Book, drafts ...entry.Draft) (last int64, err error) {
	_, err = b.Write(context.Background(), func(w *Batch) error {
		for _, d := range drafts {
			if last, err = w.Add(d); err != nil {
				return err
			}
		}
		return nil
	})
	return last, err
}

// export is an invented export of one cycle: lines readings long, its figures
// wander like a plateau. The same number gives the same bytes.
func export(number, lines int) []byte {
	r := rand.New(rand.NewPCG(uint64(number), 1))
	var b bytes.Buffer
	b.WriteString("time,chamber temperature [°C],load temperature [°C],pressure [kPa abs]\n")
	at := startOf(number)
	t := 20.0
	for i := range lines {
		t += (135 - t) / 60
		fmt.Fprintf(&b, "%s,%.1f,%.1f,%.1f\n", at.Add(time.Duration(i)*time.Second).Format("2006-01-02T15:04:05"),
			t+r.Float64(), t-0.4+r.Float64(), 101+t+3*r.Float64())
	}
	return b.Bytes()
}

// startOf puts eight cycles on each day from the second of November 2026 on.
func startOf(number int) time.Time {
	return morning.AddDate(0, 0, number/8).Add(time.Duration(number%8) * time.Hour)
}

func keyOf(number int) string { return "S1-" + startOf(number).Format("20060102-150405") }

func dayOf(number int) string { return startOf(number).Format(time.DateOnly) }

// outcomeOf makes every tenth cycle fail.
func outcomeOf(number int) string {
	if number%10 == 9 {
		return "failed"
	}
	return "conforms"
}

// keep imports the export of a cycle as surgery will: bytes, import and verdict.
func keep(b *Book, number int, data []byte) (entry.Checkpoint, error) {
	o := NewOriginal()
	defer o.Discard()
	if _, err := o.Write(data); err != nil {
		return entry.Checkpoint{}, err
	}
	sum, size, err := o.Finish()
	if err != nil {
		return entry.Checkpoint{}, err
	}
	return b.Write(context.Background(), func(w *Batch) error { return keepIn(w, number, o, sum, size) })
}

func keepIn(w *Batch, number int, o *Original, sum string, size int64) error {
	if err := w.Keep(o); err != nil {
		return err
	}
	if _, err := w.Add(importOf(number, sum, size)); err != nil {
		return err
	}
	_, err := w.Add(verdictOf(number, sum))
	return err
}

func importOf(number int, sum string, size int64) entry.Draft {
	return entry.Draft{At: startOf(number).Add(time.Hour), Body: entry.Import{SHA256: sum, File: fmt.Sprintf("%d.csv", number), Size: size, Via: "command",
		Day: dayOf(number), Steriliser: "S1", Readable: true, Cycles: []string{keyOf(number)}, Problems: json.RawMessage("[]")}}
}

func verdictOf(number int, sum string) entry.Draft {
	hold, start := 214.6, startOf(number)
	return entry.Draft{At: start.Add(time.Hour), Body: entry.Verdict{Cycle: keyOf(number), Steriliser: "S1", Configured: true,
		Number: fmt.Sprint(1000 + number), Start: entry.At(start), End: entry.At(start.Add(40 * time.Minute)), Day: dayOf(number),
		Label: "134 wrapped", Programme: "134", Kind: "load", Outcome: outcomeOf(number), Instruction: "", Readings: 1228,
		Sources: []entry.Source{{SHA256: sum, File: fmt.Sprintf("%d.csv", number), FirstLine: 2, LastLine: 1229}},
		Digest:  entry.Sum(fmt.Append(nil, number)), HoldS: &hold, Measured: json.RawMessage(`{"hold_s":214.6,"f0_min":98.1}`),
		Findings: findings, Limits: "en", Configuration: entry.Sum([]byte(settings)), Holdproof: "0.1.0",
		Settled: outcomeOf(number) == "conforms"}}
}

// findings are about as long as those of a judged load.
var findings = func() json.RawMessage {
	var all []json.RawMessage
	for range 16 {
		all = append(all, json.RawMessage(`{"check":"holding-time","outcome":"conforms","measured":214.6,"low":180,"high":null,"uncertainty":3.6,"unit":"s","at_s":512.4,"source":"invented for this test","sure":"computed","message":"","remedy":""}`))
	}
	b, err := json.Marshal(all)
	if err != nil {
		panic(err)
	}
	return b
}()

func mustKeep(t testing.TB, b *Book, number, lines int) {
	t.Helper()
	if _, err := keep(b, number, export(number, lines)); err != nil {
		t.Fatal(err)
	}
}

func mustAudit(t testing.TB, b *Book, since ...entry.Checkpoint) Audit {
	t.Helper()
	a, err := b.Audit(context.Background(), AuditOptions{Since: since})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func mustCheckpoint(t testing.TB, b *Book) entry.Checkpoint {
	t.Helper()
	c, err := b.Checkpoint(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return c
}
