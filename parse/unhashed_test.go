package parse

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"strings"
	"testing"
)

// Whoever hashes the bytes elsewhere learns what a second pass found.
func TestUnhashed(t *testing.T) {
	const rows = "Time;Chamber [°C]\n03/04/2026 08:14:03;20.1\n03/04/2026 08:14:04;20.2\n25/04/2026 08:14:03;20.1\n"
	sum := sha256.Sum256([]byte(rows))
	for _, unhashed := range []bool{false, true} {
		r, err := Open("a.csv", strings.NewReader(rows), Options{Unhashed: unhashed})
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for {
			c, err := r.Next()
			if err == io.EOF {
				break
			}
			if err != nil || c.Record == nil {
				t.Fatal(err, c.Problems)
			}
			n++
		}
		if n != 2 || r.SecondSHA256() != hex.EncodeToString(sum[:]) {
			t.Errorf("%d cycles, the second pass found %q, expected %x", n, r.SecondSHA256(), sum)
		}
		if want := map[bool]string{false: hex.EncodeToString(sum[:])}[unhashed]; r.SHA256() != want {
			t.Errorf("unhashed %v: the sum is %q, expected %q", unhashed, r.SHA256(), want)
		}
	}
}
