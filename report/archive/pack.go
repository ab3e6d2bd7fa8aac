package archive

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Packer writes a bag. Nothing stands under the target's name before [Packer.Finish]:
// the bag grows in a file or folder beside it. Close it in any case.
//
// One file at a time, from one goroutine.
type Packer struct {
	target string
	out    sink
	files  map[string]packedFile // by the name that systems without case have for it
	open   *member
	reader unpacker
	octets int64
	done   bool
}

type sum = [sha256.Size]byte

// packedFile is a file of the bag, payload or tag file.
type packedFile struct {
	name string
	sum  sum
}

// sink is where the files of a bag go.
type sink interface {
	// create begins a file.
	create(name string) (io.WriteCloser, error)
	// stored writes a whole file that does not shrink.
	stored(name string, data []byte) error
	// packed writes a file from its deflate stream, which is handed on or unpacked.
	packed(name string, p Packed, stream io.Reader) (plain io.WriteCloser, raw io.Reader, err error)
	// finish puts everything under its name.
	finish() error
	// abort takes away what was written.
	abort() error
}

// Packed says what is known beforehand of a file that comes as a deflate stream
// (RFC 1951): bytes of the stream, bytes of the file, and the file's CRC-32.
type Packed struct {
	Packed, Size int64
	CRC32        uint32
}

// IsZip tells by its name whether a target is a ZIP, else it is a folder.
func IsZip(target string) bool { return strings.EqualFold(filepath.Ext(target), ".zip") }

// NewPacker begins a bag that will stand at target: a ZIP if the name ends in .zip,
// else a folder. The base is the name of the bag's own folder within a ZIP, and at is
// the time written with each of its files; neither the clock nor the computer shows.
//
// Error: wraps [fs.ErrExist] if something is there; a folder that takes no files.
func NewPacker(target, base string, at time.Time) (*Packer, error) {
	if _, err := os.Lstat(target); err == nil {
		return nil, &fs.PathError{Op: "bag", Path: target, Err: fs.ErrExist}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if err := checkName(base); err != nil || strings.Contains(base, "/") {
		return nil, fmt.Errorf("%q cannot be the name of a folder", base)
	}
	p := &Packer{target: target, files: map[string]packedFile{}}
	var err error
	if IsZip(target) {
		p.out, err = newZipSink(target, base, at)
	} else {
		p.out, err = newFolderSink(target)
	}
	if err != nil {
		return nil, err
	}
	return p, p.Add(bagFile, []byte("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"))
}

// claim takes a name, once. Names that differ in case alone are one file elsewhere.
func (p *Packer) claim(name string) error {
	switch err := checkName(name); {
	case err != nil:
		return err
	case p.done || p.open != nil:
		return fmt.Errorf("%s: the bag is closed, or the file before is not", name)
	case p.Has(name):
		return fmt.Errorf("%s: the bag has a file of that name", name)
	}
	p.files[sameName(name)] = packedFile{name: name}
	return nil
}

// Has tells whether the bag has a file of that name already, whatever its case.
func (p *Packer) Has(name string) bool { _, there := p.files[sameName(name)]; return there }

// hashed keeps the sum of a file, and counts its size if it is of the payload.
func (p *Packer) hashed(name string, s sum, size int64) {
	p.files[sameName(name)] = packedFile{name, s}
	if strings.HasPrefix(name, payload) {
		p.octets += size
	}
}

// Create begins a file of the payload, such as data/cycles.csv. The file before must be
// closed.
func (p *Packer) Create(name string) (io.WriteCloser, error) {
	if err := p.claim(name); err != nil {
		return nil, err
	}
	w, err := p.out.create(name)
	if err != nil {
		return nil, err
	}
	p.open = &member{p: p, name: name, w: w, sum: sha256.New()}
	return p.open, nil
}

// member is a file while it is written.
type member struct {
	p    *Packer
	name string
	w    io.WriteCloser
	sum  hash.Hash
	size int64
}

func (m *member) Write(b []byte) (int, error) {
	n, err := m.w.Write(b)
	m.sum.Write(b[:n])
	m.size += int64(n)
	return n, err
}

func (m *member) Close() error {
	if m.p.open != m {
		return errors.New("the file is closed already")
	}
	m.p.open = nil
	m.p.hashed(m.name, sum(m.sum.Sum(nil)), m.size)
	return m.w.Close()
}

// Add writes a whole file. One that is packed already, as records are, is stored as
// it is.
func (p *Packer) Add(name string, data []byte) error {
	if ext := filepath.Ext(name); ext != ".pdf" && ext != ".cms" {
		w, err := p.Create(name)
		if err != nil {
			return err
		}
		_, err = w.Write(data)
		return errors.Join(err, w.Close())
	}
	if err := p.claim(name); err != nil {
		return err
	}
	p.hashed(name, sha256.Sum256(data), int64(len(data)))
	return p.out.stored(name, data)
}

// AddPacked writes a file from its deflate stream, which a ZIP takes as it is. It
// unpacks the stream all the same and refuses one that does not give the file with the
// SHA-256 want (lower-case hex); then the bag cannot be finished.
func (p *Packer) AddPacked(name, want string, known Packed, stream io.Reader) error {
	if err := p.claim(name); err != nil {
		return err
	}
	plain, raw, err := p.out.packed(name, known, io.LimitReader(stream, known.Packed))
	if err != nil {
		return err
	}
	got := sha256.New()
	n, err := p.reader.unpack(io.MultiWriter(got, plain), raw, known)
	if err == nil && hex.EncodeToString(got.Sum(nil)) != want {
		err = errors.New("its bytes have another SHA-256 than the one they are named by")
	}
	if err = errors.Join(err, plain.Close()); err != nil {
		p.done = true
		return fmt.Errorf("%s: %w", name, err)
	}
	p.hashed(name, sum(got.Sum(nil)), n)
	return nil
}

// Finish writes manifests and bag-info.txt, and puts the bag under its name. With sign,
// which returns a detached CMS over what it is given, the whole bag is signed: the tag
// manifest holds the sum of the manifest, and that the sums of all other files.
func (p *Packer) Finish(info Info, sign func(content []byte) ([]byte, error)) error {
	if p.done || p.open != nil {
		return errors.New("the bag cannot be finished")
	}
	var list []string
	for _, f := range p.files {
		if strings.HasPrefix(f.name, payload) {
			list = append(list, f.name)
		}
	}
	info.octets, info.files = p.octets, int64(len(list))
	err := p.Add(infoFile, info.text())
	if err == nil {
		err = p.Add(manifest, p.manifest(list))
	}
	tags := p.manifest([]string{bagFile, infoFile, manifest})
	if err == nil {
		err = p.Add(tagManifest, tags)
	}
	if err == nil && sign != nil {
		var cms []byte
		if cms, err = sign(tags); err == nil {
			err = p.Add(sealFile, cms)
		}
	}
	if err != nil {
		return err
	}
	if err := p.out.finish(); err != nil {
		return err
	}
	p.done, p.out = true, nil
	return nil
}

// manifest lists files with their sums as `sha256sum -c` takes them, in order of name.
func (p *Packer) manifest(names []string) []byte {
	slices.Sort(names)
	var out bytes.Buffer
	for _, name := range names {
		fmt.Fprintf(&out, "%x  %s\n", p.files[sameName(name)].sum, encodePath(name))
	}
	return out.Bytes()
}

// Close takes away a bag that was not finished.
func (p *Packer) Close() error {
	if p.out == nil {
		return nil
	}
	out := p.out
	p.done, p.out = true, nil
	return out.abort()
}

// unpacker reads deflate streams one after the other with the same buffers.
type unpacker struct {
	in  *counted
	raw io.ReadCloser
	buf []byte
}

// unpack writes the file of a deflate stream, which must be one stream to its end.
func (u *unpacker) unpack(w io.Writer, raw io.Reader, known Packed) (int64, error) {
	if u.in == nil {
		u.in, u.buf = newCounted(raw), make([]byte, 64<<10)
		u.raw = flate.NewReader(u.in)
	} else {
		u.in.reset(raw)
		if err := u.raw.(flate.Resetter).Reset(u.in, nil); err != nil {
			return 0, err
		}
	}
	crc := newCRC()
	n, err := io.CopyBuffer(io.MultiWriter(w, crc), io.LimitReader(u.raw, known.Size+1), u.buf)
	switch {
	case err != nil:
		return n, fmt.Errorf("it cannot be unpacked: %w", err)
	case n != known.Size:
		return n, fmt.Errorf("it unpacks to other than %d bytes", known.Size)
	case crc.Sum32() != known.CRC32:
		return n, errors.New("its check sum is not that of its bytes")
	case !u.in.atEnd() || u.in.n != known.Packed:
		return n, fmt.Errorf("it is not one deflate stream of %d bytes", known.Packed)
	}
	return n, nil
}
