package archive

import (
	"archive/zip"
	"bufio"
	"bytes"
	"errors"
	"hash"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/klauspost/compress/flate"
)

// level is how hard a ZIP is packed (ours): what is not a kept export is text.
const level = 4

// buffered is how much is written at once.
const buffered = 256 << 10

// zipSink writes a bag as a ZIP, in which it has a folder of its own (RFC 8493, 4).
type zipSink struct {
	target, base string
	dir          string // holds the file while it grows; what it makes has the rights that the person's files have
	at           time.Time
	file         *os.File
	buf          *bufio.Writer
	zip          *zip.Writer
	packer       *flate.Writer
}

func newZipSink(target, base string, at time.Time) (sink, error) {
	dir, err := os.MkdirTemp(filepath.Dir(target), ".holdproof-*.part")
	if err != nil {
		return nil, err
	}
	f, err := os.OpenFile(filepath.Join(dir, "bag.zip"), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, errors.Join(err, os.Remove(dir))
	}
	s := &zipSink{target: target, base: base, at: at.UTC(), dir: dir, file: f, buf: bufio.NewWriterSize(f, buffered)}
	s.zip = zip.NewWriter(s.buf)
	s.zip.RegisterCompressor(zip.Deflate, s.deflate)
	return s, nil
}

// deflate packs one file after the other with the same tables.
func (s *zipSink) deflate(w io.Writer) (io.WriteCloser, error) {
	if s.packer == nil {
		var err error
		s.packer, err = flate.NewWriter(w, level)
		return s.packer, err
	}
	s.packer.Reset(w)
	return s.packer, nil
}

// header says of a file nothing but its name and the time of the bag.
func (s *zipSink) header(name string, method uint16) *zip.FileHeader {
	h := &zip.FileHeader{Name: s.base + "/" + name, Method: method}
	h.SetMode(0o644)
	h.SetModTime(s.at) //lint:ignore SA1019 CreateRaw looks at nothing else
	return h
}

func (s *zipSink) create(name string) (io.WriteCloser, error) {
	w, err := s.zip.CreateHeader(s.header(name, zip.Deflate))
	return keepOpen{w}, err
}

func (s *zipSink) stored(name string, data []byte) error {
	w, err := s.raw(name, zip.Store, Packed{Packed: int64(len(data)), Size: int64(len(data)), CRC32: crc32.ChecksumIEEE(data)})
	if err == nil {
		_, err = w.Write(data)
	}
	return err
}

func (s *zipSink) raw(name string, method uint16, p Packed) (io.Writer, error) {
	h := s.header(name, method)
	h.CRC32, h.CompressedSize64, h.UncompressedSize64 = p.CRC32, uint64(p.Packed), uint64(p.Size)
	return s.zip.CreateRaw(h)
}

func (s *zipSink) packed(name string, p Packed, stream io.Reader) (io.WriteCloser, io.Reader, error) {
	w, err := s.raw(name, zip.Deflate, p)
	if err != nil {
		return nil, nil, err
	}
	return keepOpen{io.Discard}, io.TeeReader(stream, w), nil
}

func (s *zipSink) finish() error {
	err := errors.Join(s.zip.Close(), s.buf.Flush(), s.file.Sync(), s.file.Close())
	if err == nil {
		err = underName(s.file.Name(), s.target)
	}
	return errors.Join(err, os.RemoveAll(s.dir))
}

func (s *zipSink) abort() error {
	return errors.Join(s.file.Close(), os.RemoveAll(s.dir))
}

// folderSink writes a bag as a folder.
type folderSink struct {
	target string
	around string // holds the folder while it grows
	dir    string
}

func newFolderSink(target string) (sink, error) {
	dir, err := os.MkdirTemp(filepath.Dir(filepath.Clean(target)), ".holdproof-*.part")
	if err != nil {
		return nil, err
	}
	s := &folderSink{target: filepath.Clean(target), around: dir, dir: filepath.Join(dir, "bag")}
	if err := os.Mkdir(s.dir, 0o755); err != nil {
		return nil, errors.Join(err, os.Remove(dir))
	}
	return s, nil
}

func (s *folderSink) create(name string) (io.WriteCloser, error) {
	path := filepath.Join(s.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, err
	}
	return &bufferedFile{bufio.NewWriterSize(f, buffered), f}, nil
}

type bufferedFile struct {
	*bufio.Writer
	file *os.File
}

func (f *bufferedFile) Close() error { return errors.Join(f.Flush(), f.file.Close()) }

func (s *folderSink) stored(name string, data []byte) error {
	w, err := s.create(name)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, bytes.NewReader(data))
	return errors.Join(err, w.Close())
}

func (s *folderSink) packed(name string, _ Packed, stream io.Reader) (io.WriteCloser, io.Reader, error) {
	w, err := s.create(name)
	return w, stream, err
}

func (s *folderSink) finish() error {
	return errors.Join(underName(s.dir, s.target), os.RemoveAll(s.around))
}

func (s *folderSink) abort() error { return os.RemoveAll(s.around) }

// underName renames what is finished, unless something took the name meanwhile.
func underName(beside, target string) error {
	if _, err := os.Lstat(target); err == nil {
		return &os.PathError{Op: "bag", Path: target, Err: os.ErrExist}
	}
	return os.Rename(beside, target)
}

// keepOpen is a writer that is closed by what it writes to.
type keepOpen struct{ io.Writer }

func (keepOpen) Close() error { return nil }

// counted reads with a buffer and knows how many bytes were taken from it.
type counted struct {
	*bufio.Reader
	from counter
}

// counter knows how many bytes were read from it.
type counter struct {
	io.Reader
	n int64
}

func (c *counter) Read(b []byte) (int, error) {
	n, err := c.Reader.Read(b)
	c.n += int64(n)
	return n, err
}

func newCounted(r io.Reader) *counted {
	c := &counted{from: counter{Reader: r}}
	c.Reader = bufio.NewReaderSize(&c.from, buffered)
	return c
}

func (c *counted) reset(r io.Reader) {
	c.from = counter{Reader: r}
	c.Reader.Reset(&c.from)
}

// taken is how many bytes were taken.
func (c *counted) taken() int64 { return c.from.n - int64(c.Buffered()) }

func (c *counted) atEnd() bool {
	_, err := c.Peek(1)
	return err == io.EOF
}

func newCRC() hash.Hash32 { return crc32.NewIEEE() }
