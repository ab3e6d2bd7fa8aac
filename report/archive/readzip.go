package archive

import (
	"archive/zip"
	"errors"
	"io"
	"path"
	"slices"
	"strings"
)

// OpenZip opens a bag in a ZIP of the given size. Its files lie in one folder, whose
// name is of no importance (RFC 8493, 4).
//
// Error: a [*Refused]: truncated, names that lead elsewhere or that two systems read
// differently, links, a bomb, bytes that only some programs find.
func OpenZip(r io.ReaderAt, size int64) (*Bag, error) {
	limited := &readAtMost{r: r, left: maxDirectory}
	z, err := zip.NewReader(limited, size)
	switch {
	case errors.Is(err, errDirectory):
		return nil, refused("its list of files is longer than %d MiB, which no bag has", maxDirectory>>20)
	case err != nil && !errors.Is(err, zip.ErrInsecurePath):
		return nil, refused("it is no ZIP, or was cut or damaged (%v). Ask for another copy", err)
	case len(z.File) > maxFiles:
		return nil, refused("it has more than %d files, which no bag has", maxFiles)
	}
	limited.left = -1
	b := &Bag{files: map[string]source{}, sums: map[string]string{}}
	if err := honest(z.File, size); err != nil {
		return nil, err
	}
	base, err := baseOf(z.File)
	if err != nil {
		return nil, err
	}
	if err := oneReading(r, z.File, size); err != nil {
		return nil, err
	}
	lower := map[string]string{}
	for _, f := range z.File {
		name := strings.TrimPrefix(f.Name, base)
		if strings.HasSuffix(f.Name, "/") && f.UncompressedSize64 == 0 { // a folder of its own
			continue
		}
		if err := b.take(name, lower, source{int64(f.UncompressedSize64), f.Open}); err != nil {
			return nil, err
		}
	}
	slices.Sort(b.names)
	return b, nil
}

// baseOf returns the one folder that all files lie in, with its slash, after a look at
// every name.
func baseOf(files []*zip.File) (string, error) {
	base := ""
	for i, f := range files {
		if err := checkName(strings.TrimSuffix(f.Name, "/")); err != nil {
			return "", refused("%v", err)
		}
		if f.NonUTF8 {
			return "", refused("the name %q is not marked as UTF-8", f.Name)
		}
		first, _, _ := strings.Cut(f.Name, "/")
		if i == 0 {
			base = first
		}
		if first != base || !strings.Contains(f.Name, "/") {
			return "", refused("%q lies beside the folder %q; a bag in a ZIP is one folder", f.Name, base)
		}
	}
	if len(files) == 0 {
		return "", refused("it holds no file")
	}
	return base + "/", nil
}

// honest refuses a ZIP whose files are no plain files, or unpack to what no records are.
func honest(files []*zip.File, size int64) error {
	var all uint64
	for _, f := range files {
		folder := strings.HasSuffix(f.Name, "/")
		switch {
		case !f.Mode().IsRegular() && !folder:
			return refused("%q is a link or no file; a bag holds files only", path.Clean(f.Name))
		case f.Flags&1 != 0:
			return refused("%q is locked by a password", f.Name)
		case f.Method != zip.Store && f.Method != zip.Deflate:
			return refused("%q is packed by method %d, which is neither 0 nor 8", f.Name, f.Method)
		case f.UncompressedSize64 > 1<<40 || f.CompressedSize64 > uint64(size):
			return refused("%q says that it has %d bytes, packed %d, in a ZIP of %d", f.Name, f.UncompressedSize64, f.CompressedSize64, size)
		}
		all += f.UncompressedSize64
	}
	if all > freeSwelling && all/maxSwelling > uint64(size) {
		return refused("it would unpack from %d to %d bytes, which no records do: a bomb", size, all)
	}
	return nil
}

var errDirectory = errors.New("the list of files is too long")

// readAtMost bounds how much is read while the list of files is; -1 is no bound.
type readAtMost struct {
	r    io.ReaderAt
	left int64
}

func (l *readAtMost) ReadAt(p []byte, off int64) (int, error) {
	if l.left < 0 {
		return l.r.ReadAt(p, off)
	}
	if l.left -= int64(len(p)); l.left < 0 {
		l.left = 0
		return 0, errDirectory
	}
	return l.r.ReadAt(p, off)
}
