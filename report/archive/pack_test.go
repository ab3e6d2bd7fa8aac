package archive

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

var packedAt = time.Date(2026, 11, 8, 17, 30, 0, 0, time.FixedZone("", 3600))

// info is what the bags of these tests say of themselves. All of it is invented.
var info = Info{Surgery: "Tern Quay Surgery", From: "2026-11-02", To: "2026-11-08", Packed: "2026-11-08", Software: "holdproof 0.1.0"}

func deflated(t testing.TB, data []byte) ([]byte, Packed) {
	t.Helper()
	var out bytes.Buffer
	w, err := flate.NewWriter(&out, 6)
	if err != nil {
		t.Fatal(err)
	}
	w.Write(data)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes(), Packed{Packed: int64(out.Len()), Size: int64(len(data)), CRC32: crc32.ChecksumIEEE(data)}
}

var export = []byte(strings.Repeat("0,20.1,101.3\n1,20.4,101.2\n", 400))

// packInto writes a small bag: all ways in which a file comes into one.
func packInto(t testing.TB, target string) {
	t.Helper()
	p, err := NewPacker(target, "bag", packedAt)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	w, err := p.Create(Cycles)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write([]byte("id,outcome\n")); err != nil {
		t.Fatal(err)
	}
	stream, known := deflated(t, export)
	if err := errors.Join(w.Close(),
		p.Add(Records+"2026-11-02.pdf", []byte("%PDF-1.7 invented")),
		p.Add(HowTo, []byte("Look.\n")),
		p.AddPacked(Exports+entry.Sum(export)+".csv", entry.Sum(export), known, bytes.NewReader(stream)),
		p.Finish(info, nil)); err != nil {
		t.Fatal(err)
	}
}

func TestPackedTwice(t *testing.T) {
	dir := t.TempDir()
	one, two := filepath.Join(dir, "one.zip"), filepath.Join(dir, "two.ZIP")
	packInto(t, one)
	packInto(t, two)
	a, err := os.ReadFile(one)
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(two)
	if err != nil || !bytes.Equal(a, b) {
		t.Errorf("two bags of the same differ: %v", err)
	}
	folder := filepath.Join(dir, "folder")
	packInto(t, folder)
	z, err := zip.OpenReader(one)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	var names []string
	for _, f := range z.File {
		name, inside := strings.CutPrefix(f.Name, "bag/")
		if !inside {
			t.Errorf("%s lies beside the bag's folder", f.Name)
		}
		if !f.Modified.Equal(packedAt) {
			t.Errorf("%s is of %s", f.Name, f.Modified)
		}
		names = append(names, name)
	}
	slices.Sort(names)
	var there []string
	err = fs.WalkDir(os.DirFS(folder), ".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			there = append(there, path)
		}
		return err
	})
	if err != nil || !slices.Equal(names, there) || len(names) != 8 {
		t.Errorf("the ZIP has %v, the folder %v, %v", names, there, err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 3 {
		t.Errorf("left beside the bags: %v, %v", left, err)
	}
}

func TestPackRefuses(t *testing.T) {
	dir := t.TempDir()
	packInto(t, filepath.Join(dir, "bag"))
	packInto(t, filepath.Join(dir, "bag.zip"))
	for _, name := range []string{"bag", "bag.zip"} {
		if _, err := NewPacker(filepath.Join(dir, name), "bag", packedAt); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s is there and was taken: %v", name, err)
		}
	}
	stream, known := deflated(t, export)
	for _, target := range []string{"new", "new.zip"} {
		for why, add := range map[string]func(p *Packer) error{
			"twice":            func(p *Packer) error { return errors.Join(p.Add(HowTo, nil), p.Add(HowTo, nil)) },
			"the same in case": func(p *Packer) error { return errors.Join(p.Add(HowTo, nil), p.Add("data/how-to-check.TXT", nil)) },
			"out of the bag":   func(p *Packer) error { return p.Add("data/../../x", nil) },
			"another sum":      func(p *Packer) error { return p.AddPacked(HowTo, entry.Sum(nil), known, bytes.NewReader(stream)) },
			"another CRC": func(p *Packer) error {
				return p.AddPacked(HowTo, entry.Sum(export), Packed{known.Packed, known.Size, known.CRC32 ^ 1}, bytes.NewReader(stream))
			},
			"longer": func(p *Packer) error {
				return p.AddPacked(HowTo, entry.Sum(export), Packed{known.Packed, known.Size - 1, known.CRC32}, bytes.NewReader(stream))
			},
			"two streams": func(p *Packer) error {
				return p.AddPacked(HowTo, entry.Sum(export), Packed{2 * known.Packed, known.Size, known.CRC32}, bytes.NewReader(append(bytes.Clone(stream), stream...)))
			},
		} {
			p, err := NewPacker(filepath.Join(dir, target), "bag", packedAt)
			if err != nil {
				t.Fatal(err)
			}
			err = errors.Join(add(p), p.Unpacked())
			if err == nil {
				t.Errorf("%s: %s was taken", target, why)
			}
			if strings.Contains(why, "stream") || strings.Contains(why, "another") {
				if p.Finish(Info{}, nil) == nil {
					t.Errorf("%s: with %s it could be finished", target, why)
				}
			}
			if err := p.Close(); err != nil {
				t.Error(err)
			}
		}
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 2 {
		t.Errorf("left beside the bags: %v, %v", left, err)
	}
}
