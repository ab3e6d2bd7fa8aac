package logbook_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// One file that could not be read is kept all the same: bytes and entry in one
// transaction, found again by its day.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "site")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	noon := time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)
	book, err := logbook.Create(ctx, dir, logbook.Options{Now: func() time.Time { return noon }})
	if err != nil {
		panic(err)
	}
	defer book.Close()

	export := strings.NewReader("time;chamber\n08:14;hot\n")
	original := logbook.NewOriginal()
	defer original.Discard()
	if _, err := export.WriteTo(original); err != nil {
		panic(err)
	}
	sum, size, err := original.Finish()
	if err != nil {
		panic(err)
	}
	checkpoint, err := book.Write(ctx, func(b *logbook.Batch) error {
		if err := b.Keep(original); err != nil {
			return err
		}
		_, err := b.Add(entry.Draft{At: noon, Body: entry.Import{SHA256: sum, File: "monday.csv", Size: size, Via: "command", Day: "2026-11-02",
			Cycles: []string{}, Problems: json.RawMessage(`[{"line":2,"column":2,"message":"\"hot\" is not a number"}]`)}})
		return err
	})
	if err != nil {
		panic(err)
	}
	found, err := logbook.Find[entry.Import](ctx, book.View, logbook.Filter{From: "2026-11-02", To: "2026-11-02"})
	if err != nil {
		panic(err)
	}
	for _, i := range found {
		fmt.Println(i.Number, i.Said.File, i.Said.Readable, string(i.Said.Problems))
	}
	fmt.Println("entries:", checkpoint.Size)
	// Output:
	// 1 monday.csv false [{"line":2,"column":2,"message":"\"hot\" is not a number"}]
	// entries: 1
}
