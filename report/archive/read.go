package archive

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
)

// What a bag may have at most (all ours). A bag of ten years with 20,000 cycles has
// some 30,000 files.
const (
	maxFiles     = 400_000
	maxTagFile   = 96 << 20  // bytes of a manifest
	maxDirectory = 128 << 20 // bytes of a ZIP's list of files
	maxSwelling  = 200       // times a ZIP may grow when it is unpacked
	freeSwelling = 256 << 20 // bytes that it may have in any case
)

// Bag is an opened bag. Nothing in it is believed, and nothing is ever unpacked to the
// disk.
type Bag struct {
	Info Info // of bag-info.txt, after [Bag.Check] or [Bag.ReadInfo]

	files map[string]source // by name in the bag
	names []string          // in order
	sums  map[string]string // as found
	odd   []string          // sentences about names and files that a bag may not have
	close func() error
}

// source is where the bytes of a file come from.
type source struct {
	size int64 // as declared
	open func() (io.ReadCloser, error)
}

// Refused is a bag of which nothing can be read: it is no bag, or an attack.
type Refused struct{ Why string }

func (e *Refused) Error() string { return e.Why }

func refused(format string, args ...any) error { return &Refused{fmt.Sprintf(format, args...)} }

// Open opens a folder or a ZIP. Close it.
//
// Error: a [*Refused], whose sentence says why nothing of it is read; else the disk's.
func Open(path string) (*Bag, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return openFolder(path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	b, err := OpenZip(f, info.Size())
	if err != nil {
		f.Close()
		return nil, err
	}
	b.close = f.Close
	return b, nil
}

// openFolder lists a folder. The folder itself may be reached by a link; what lies in
// it may not.
func openFolder(dir string) (*Bag, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	b := &Bag{files: map[string]source{}, sums: map[string]string{}, close: root.Close}
	lower := map[string]string{}
	err = fs.WalkDir(root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir():
			return nil
		case len(b.names) >= maxFiles:
			return refused("it has more than %d files, which no bag has", maxFiles)
		case !d.Type().IsRegular():
			b.strange("%q is a link or no file; a bag holds files only.", name)
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		return b.take(name, lower, source{info.Size(), func() (io.ReadCloser, error) { return root.Open(name) }})
	})
	if err != nil {
		root.Close()
		return nil, err
	}
	slices.Sort(b.names)
	return b, nil
}

func (b *Bag) strange(format string, args ...any) {
	b.odd = append(b.odd, fmt.Sprintf(format, args...))
}

// take adds a file to the list, unless its name can be that of another one.
func (b *Bag) take(name string, lower map[string]string, s source) error {
	if err := checkName(name); err != nil {
		return refused("%v", err)
	}
	if other, there := lower[sameName(name)]; there {
		return refused("two files are called %q and %q, which is one name on other computers", other, name)
	}
	lower[sameName(name)] = name
	b.files[name], b.names = s, append(b.names, name)
	return nil
}

// Close closes the bag.
func (b *Bag) Close() error {
	if b.close == nil {
		return nil
	}
	return b.close()
}

// Names returns the names of the files below a prefix, such as [Records], in order.
func (b *Bag) Names(prefix string) []string {
	var out []string
	for _, name := range b.names {
		if strings.HasPrefix(name, prefix) {
			out = append(out, name)
		}
	}
	return out
}

// Has tells whether the bag has a file of that name.
func (b *Bag) Has(name string) bool { _, there := b.files[name]; return there }

// OpenFile reads a file of the bag, which gives as many bytes as it declares or an error.
//
// Error: wraps [fs.ErrNotExist] if the bag has none of that name.
func (b *Bag) OpenFile(name string) (io.ReadCloser, error) {
	s, there := b.files[name]
	if !there {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	f, err := s.open()
	if err != nil {
		return nil, err
	}
	return &exact{f, s.size}, nil
}

// ReadFile reads a whole file of at most most bytes.
func (b *Bag) ReadFile(name string, most int64) ([]byte, error) {
	if s := b.files[name]; s.size > most {
		return nil, fmt.Errorf("it has %d bytes, expected %d at most", s.size, most)
	}
	f, err := b.OpenFile(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(f)
}

// exact gives as many bytes as were declared; fewer or more are an error, and more are
// not read.
type exact struct {
	f    io.ReadCloser
	left int64
}

var (
	errMore  = errors.New("it has more bytes than it says")
	errFewer = errors.New("it ends before the bytes it says")
)

func (e *exact) Read(p []byte) (int, error) {
	if e.left == 0 {
		var one [1]byte
		n, err := e.f.Read(one[:])
		if n > 0 {
			return 0, errMore
		}
		return 0, err
	}
	n, err := e.f.Read(p[:min(int64(len(p)), e.left)])
	e.left -= int64(n)
	if err == io.EOF && e.left > 0 {
		err = errFewer
	}
	return n, err
}

func (e *exact) Close() error { return e.f.Close() }

// plain says an error without the name of the file, which the sentence around it has.
func plain(err error) string {
	var at *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "it is not there"
	case errors.As(err, &at):
		return at.Err.Error()
	}
	return err.Error()
}
