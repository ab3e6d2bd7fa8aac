package logbook

import (
	"bytes"
	"compress/flate"
	"errors"
	"hash/crc32"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// noise is bytes that do not shrink, so that n of them fill parts.
func noise(n int) []byte {
	out := make([]byte, n)
	r := rand.NewPCG(1, 2)
	for i := range out {
		out[i] = byte(r.Uint64())
	}
	return out
}

func keptBytes(t testing.TB, b *Book, number int, data []byte) (sum string) {
	t.Helper()
	if _, err := keep(b, number, data); err != nil {
		t.Fatal(err)
	}
	return entry.Sum(data)
}

// The stream that is handed out unpacks to the bytes, wherever the parts are cut: before,
// within and behind the end of the gzip.
func TestPacked(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	number := 0
	packedSize := func(sum string) (n int64) {
		if err := b.r.QueryRow(`SELECT SUM(LENGTH(gzip)) FROM original_parts WHERE sha256 = $1`, sum).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	overhead := packedSize(keptBytes(t, b, number, noise(partSize-200))) - (partSize - 200)
	sizes := []int{0, 1, 1000, 2*partSize + 17}
	for off := -10; off <= 10; off++ {
		sizes = append(sizes, int(partSize-overhead)+off)
	}
	split := 0
	for _, n := range sizes {
		number++
		data := noise(n)
		sum := keptBytes(t, b, number, data)
		if rest := packedSize(sum) % partSize; rest > 0 && rest < gzipTrailer {
			split++
		}
		err := b.Read(t.Context(), func(v *View) error {
			p, err := v.Packed(t.Context(), sum)
			if err != nil {
				return err
			}
			stream, err := io.ReadAll(p)
			if err != nil {
				return err
			}
			got, err := io.ReadAll(flate.NewReader(bytes.NewReader(stream)))
			if err != nil || !bytes.Equal(got, data) || p.Size != int64(n) || p.Packed != int64(len(stream)) || p.CRC32 != crc32.ChecksumIEEE(data) {
				t.Errorf("%d bytes: %d of them, says %d packed in %d, has %d; %v", n, len(got), p.Size, p.Packed, len(stream), err)
			}
			return nil
		})
		if err != nil {
			t.Errorf("%d bytes: %v", n, err)
		}
	}
	if split == 0 {
		t.Error("no end of a gzip was cut between two parts")
	}
	_, err := b.Packed(t.Context(), strings.Repeat("0", 64))
	var e *Error
	if !errors.As(err, &e) || !strings.Contains(e.What, "never kept") {
		t.Errorf("a file that is not there: %v", err)
	}
}

// A gzip that another program wrote, or that was damaged at its ends, is refused.
func TestPackedDamaged(t *testing.T) {
	for statement, want := range map[string]string{
		`UPDATE original_parts SET gzip = CAST(x'1f8b0808' || substr(gzip, 5) AS BLOB)`: "does not begin as a gzip without a name",
		`UPDATE original_parts SET gzip = CAST(substr(gzip, 1, 12) AS BLOB)`:            "shorter than any gzip",
		`DELETE FROM original_parts`: "shorter than any gzip",
	} {
		b := newSite(t)
		configure(t, b)
		sum := keptBytes(t, b, 1, []byte("time,temperature\n"))
		for _, q := range []string{`DROP TRIGGER original_parts_update`, `DROP TRIGGER original_parts_delete`, statement} {
			if _, err := b.w.Exec(q); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := b.Packed(t.Context(), sum); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, expected %q", statement, err, want)
		}
	}
}

// The tree from the stored hashes is the tree of the lines; one hash changed, and it is
// refused.
func TestTree(t *testing.T) {
	b := newSite(t)
	configure(t, b)
	for n := range 7 {
		mustKeep(t, b, n, 3)
	}
	c := mustCheckpoint(t, b)
	var want entry.Tree
	if err := b.Lines(t.Context(), 1, want.Add); err != nil {
		t.Fatal(err)
	}
	tree, err := b.Tree(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	for size := range c.Size + 1 {
		got, err1 := tree.Root(size)
		root, err2 := want.Root(size)
		if err1 != nil || err2 != nil || got != root {
			t.Errorf("root over %d: %v, expected %v; %v %v", size, got, root, err1, err2)
		}
	}
	if err := tree.Add([]byte("one more")); err != nil || tree.Size() != c.Size+1 {
		t.Errorf("it does not grow: %v", err)
	}
	if _, err := b.w.Exec(`DROP TRIGGER hashes_update`); err != nil {
		t.Fatal(err)
	}
	if _, err := b.w.Exec(`UPDATE hashes SET hash = (SELECT hash FROM hashes WHERE i = 0) WHERE i = (SELECT MAX(i) FROM hashes)`); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Tree(t.Context(), c); err == nil || !strings.Contains(err.Error(), "do not make its root") {
		t.Errorf("a changed hash: %v", err)
	}
	if _, err := entry.TreeOf(3, make([]tlog.Hash, 3)); err == nil {
		t.Error("three hashes were taken for a tree of three")
	}
}
