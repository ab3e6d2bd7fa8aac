package archive

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"io"
	"maps"
	"slices"
	"strings"
	"testing"
)

// oneFile is a ZIP with one file.
func oneFile(t *testing.T, name, text string) []byte {
	return raw(zip.FileHeader{Name: name, CompressedSize64: uint64(len(text)), UncompressedSize64: uint64(len(text))}, []byte(text))(t)
}

// moved puts bytes into a ZIP at a place, and makes its directory fit if it can.
func moved(t *testing.T, z []byte, at int, more []byte) []byte {
	t.Helper()
	end := bytes.LastIndex(z, []byte("PK\x05\x06"))
	from := int(binary.LittleEndian.Uint32(z[end+16:]))
	dir := bytes.Clone(z[from:])
	for p := 0; p < end-from; {
		n, x, c := binary.LittleEndian.Uint16(dir[p+28:]), binary.LittleEndian.Uint16(dir[p+30:]), binary.LittleEndian.Uint16(dir[p+32:])
		if off := binary.LittleEndian.Uint32(dir[p+42:]); int(off) >= at {
			binary.LittleEndian.PutUint32(dir[p+42:], off+uint32(len(more)))
		}
		p += centralLen + int(n) + int(x) + int(c)
	}
	binary.LittleEndian.PutUint32(dir[end-from+16:], uint32(from+len(more)))
	return slices.Concat(z[:at], more, z[at:from], dir)
}

// second is where the heading of the second file stands.
func second(z []byte) int { return bytes.Index(z[4:], []byte("PK\x03\x04")) + 4 }

// ZIPs in which two programs would read two things: the directory says a bag that holds,
// and the bytes before it another one.
func TestZipOfTwoReadings(t *testing.T) {
	good := plainBag().zip(t)
	evil := oneFile(t, "bag/data/index.html", "<h1>All is well</h1>")
	entry := evil[:bytes.Index(evil, []byte("PK\x01\x02"))]
	end := bytes.LastIndex(good, []byte("PK\x05\x06"))
	for why, c := range map[string]struct {
		zip  []byte
		want string
	}{
		"another name where it lies":                              {bytes.Replace(good, []byte("bag/data/cycles.csv"), []byte("bag/data/cycles.exe"), 1), "programs would read two things"},
		"another ZIP in front":                                    {slices.Concat(evil, good), "programs would read two things"},
		"another ZIP in front, with a directory that knows of it": {moved(t, good, 0, evil), "programs would read two things"},
		"a program in front":                                      {slices.Concat([]byte("MZ and so on"), good), "programs would read two things"},
		"a file between two":                                      {moved(t, good, second(good), entry), "programs would read two things"},
		"a byte between two":                                      {moved(t, good, second(good), []byte{0}), "programs would read two things"},
		"a file before the list":                                  {moved(t, good, int(binary.LittleEndian.Uint32(good[end+16:])), entry), "programs would read two things"},
		"bytes behind the list":                                   {slices.Concat(good, []byte("more")), ""},
		"a comment":                                               {slices.Concat(good[:len(good)-2], []byte{4, 0}, []byte("more")), "a comment does"},
		"another method where it lies": {func() []byte {
			z := bytes.Clone(good)
			z[8] = 0
			return z
		}(), "described otherwise"},
		"other sizes behind the file": {bytes.Replace(good, []byte("PK\x07\x08"), []byte("PK\x07\x09"), 1), "does not end where"},
	} {
		got := strings.Join(checkedZip(c.zip), "\n")
		if got == "" || !strings.Contains(got, c.want) {
			t.Errorf("%s: found %q, expected %q", why, got, c.want)
		}
	}
}

// What other programs write is one reading all the same: stored, with sizes before the
// file, in 8 bytes, folders of their own.
func TestZipsOfOtherPrograms(t *testing.T) {
	p := plainBag()
	names := slices.Sorted(maps.Keys(p))
	write := func(add func(z *zip.Writer, name, text string) error) []byte {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		for _, name := range names {
			if err := add(z, "bag/"+name, p[name]); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	put := func(w io.Writer, err error, text string) error {
		if err == nil {
			_, err = io.WriteString(w, text)
		}
		return err
	}
	for why, z := range map[string][]byte{
		"stored": write(func(z *zip.Writer, name, text string) error {
			w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
			return put(w, err, text)
		}),
		"folders": write(func(z *zip.Writer, name, text string) error {
			if name == "bag/bag-info.txt" {
				for _, folder := range []string{"bag/", "bag/data/"} {
					if _, err := z.Create(folder); err != nil {
						return err
					}
				}
			}
			w, err := z.Create(name)
			return put(w, err, text)
		}),
	} {
		if got := checkedZip(z); got != nil {
			t.Errorf("%s: %q", why, got)
		}
	}
}

// For any bytes: no panic, and what holds is a bag whose files are all listed.
func FuzzOpenZip(f *testing.F) {
	const most = 16 << 10 // larger ones may unpack to so much that hardly any are tried
	f.Add(plainBag().zip(f))
	for _, c := range bags {
		p := plainBag()
		c.change(p)
		if z := p.zip(f); len(z) < most {
			f.Add(z)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) >= most {
			return
		}
		b, err := OpenZip(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			return
		}
		var p Problems
		n := b.Check(&p, func(name string, r io.Reader) { io.CopyN(io.Discard, r, 3) })
		if int(n) != len(b.names) {
			t.Errorf("%d files read of %d", n, len(b.names))
		}
		for _, name := range b.names {
			if checkName(name) != nil {
				t.Errorf("took %q", name)
			}
			if len(p.List) == 0 && !slices.Contains(tagFiles, name) && !strings.HasPrefix(name, payload) {
				t.Errorf("%q was passed over", name)
			}
		}
	})
}
