package surgery

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"math/rand/v2"
	"testing"

	"holdproof/report/logbook"
)

// However the parser goes back and forth, the store gets each byte once and in order.
func TestTakeKeepsEachByteOnce(t *testing.T) {
	data := make([]byte, 50_000)
	dice := rand.New(rand.NewPCG(3, 2026))
	for i := range data {
		data[i] = byte(dice.IntN(256))
	}
	sum := sha256.Sum256(data)
	for range 50 {
		o := logbook.NewOriginal()
		told := int64(0)
		k := &take{src: bytes.NewReader(data), to: o, tell: func(n int64) { told += n }}
		for range dice.IntN(20) {
			if dice.IntN(3) == 0 {
				if _, err := k.Seek(dice.Int64N(int64(len(data))+1), io.SeekStart); err != nil {
					t.Fatal(err)
				}
			}
			_, _ = k.Read(make([]byte, dice.IntN(9000)))
		}
		if err := k.rest(); err != nil {
			t.Fatal(err)
		}
		got, n, err := o.Finish()
		o.Discard()
		if err != nil || got != hex.EncodeToString(sum[:]) || n != int64(len(data)) || told != n {
			t.Fatalf("kept %d bytes (told %d) with %s (%v)", n, told, got, err)
		}
	}
}
