package surgery

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct{ why, name, message, remedy string }{
		{"absent", filepath.Join(dir, "no.csv"), "no such file", "Look at the name"},
		{"a folder", dir, "found a folder", "*.csv"},
		{"a device", os.DevNull, "found a device", "Name the file"},
	} {
		_, err := open(c.name, nil)
		var p *Problem
		if !errors.As(err, &p) || !strings.Contains(p.Message, c.message) || !strings.Contains(p.Remedy, c.remedy) {
			t.Errorf("%s: %v", c.why, err)
		}
	}
}

func TestOpenNoPermission(t *testing.T) {
	name := filepath.Join(t.TempDir(), "secret.csv")
	if err := os.WriteFile(name, []byte("x"), 0); err != nil {
		t.Fatal(err)
	}
	if f, err := os.Open(name); err == nil {
		f.Close()
		t.Skip("this user may read every file")
	}
	_, err := open(name, nil)
	if err == nil || !strings.Contains(err.Error(), "may not read") {
		t.Error(err)
	}
}

func TestOpenNoticesAChange(t *testing.T) {
	name := filepath.Join(t.TempDir(), "growing.csv")
	if err := os.WriteFile(name, []byte("one"), 0o644); err != nil {
		t.Fatal(err)
	}
	src, err := open(name, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	if err := src.unchanged(); err != nil {
		t.Errorf("untouched: %v", err)
	}
	later := time.Now().Add(time.Hour)
	if err := os.Chtimes(name, later, later); err != nil {
		t.Fatal(err)
	}
	if err := src.unchanged(); err == nil {
		t.Error("a change went unnoticed")
	}
}

// Standard input is read once and used twice, whatever its length; nothing is left.
func TestSpool(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	for _, n := range []int{0, 1, spoolMemory, spoolMemory + 1} {
		want := bytes.Repeat([]byte("abcdefg\n"), n/8+1)[:n]
		src, err := open("-", io.MultiReader(bytes.NewReader(want[:n/2]), bytes.NewReader(want[n/2:])))
		if err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if _, err := src.Seek(0, io.SeekStart); err != nil {
				t.Fatal(err)
			}
			if got, err := io.ReadAll(src); err != nil || !bytes.Equal(got, want) {
				t.Errorf("%d bytes came back as %d, %v", n, len(got), err)
			}
		}
		if err := src.Close(); err != nil {
			t.Error(err)
		}
	}
	if left, err := os.ReadDir(os.TempDir()); err != nil || len(left) > 0 {
		t.Errorf("%d files are left behind, %v", len(left), err)
	}
}

func TestExpand(t *testing.T) {
	dir := t.TempDir()
	at := func(n string) string { return filepath.Join(dir, n) }
	for _, n := range []string{"b.csv", "a.csv", "c.txt"} {
		if err := os.WriteFile(at(n), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got := strings.Join(expand([]string{at("c.txt"), at("*.csv"), at("*.no"), "-"}), "|")
	want := strings.Join([]string{at("c.txt"), at("a.csv"), at("b.csv"), at("*.no"), "-"}, "|")
	if got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
