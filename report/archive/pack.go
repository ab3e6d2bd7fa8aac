package archive

import (
	"bytes"
	"crypto/sha256"
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
	beside besides
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

// AddPacked writes a file from its deflate stream, which a ZIP takes as it is. The stream
// is unpacked all the same, and one that does not give the file with the SHA-256 want
// (lower-case hex) is refused; then the bag cannot be finished. In a ZIP what is small is
// unpacked beside the files that follow, and [Packer.Unpacked] waits for it.
//
// Error: of this file, or of one before.
func (p *Packer) AddPacked(name, want string, known Packed, stream io.Reader) error {
	if err := p.claim(name); err != nil {
		return err
	}
	stream = io.LimitReader(stream, known.Packed)
	small := known.Packed <= mostBeside && IsZip(p.target)
	var beside []byte
	if small {
		beside = p.beside.room(int(known.Packed))
		n, err := io.ReadFull(stream, beside)
		if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF { // one that is too short is told below
			return fmt.Errorf("%s: %w", name, err)
		}
		stream = bytes.NewReader(beside[:n])
		beside = beside[:n]
	}
	plain, raw, err := p.out.packed(name, known, stream)
	if err != nil {
		return err
	}
	f := unpacking{name: name, want: want, known: known}
	if !small {
		err = p.beside.now(f, plain, raw)
		err = errors.Join(err, plain.Close())
	} else if _, err = io.Copy(io.Discard, raw); err == nil {
		err = p.beside.start(f, beside)
	}
	p.done = p.done || err != nil
	return err
}

// Unpacked waits until all that came packed is unpacked.
//
// Error: of the first file that is not what it is named by.
func (p *Packer) Unpacked() error {
	done, err := p.beside.wait()
	for _, f := range done {
		p.hashed(f.name, f.sum, f.known.Size)
	}
	p.done = p.done || err != nil
	return err
}

// Finish writes manifests and bag-info.txt, and puts the bag under its name. With sign,
// which returns a detached CMS over what it is given, the whole bag is signed: the tag
// manifest holds the sum of the manifest, and that the sums of all other files.
func (p *Packer) Finish(info Info, sign func(content []byte) ([]byte, error)) error {
	if err := p.Unpacked(); err != nil {
		return err
	}
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
	_, _ = p.beside.wait() // what was unpacked is of no use any more
	if p.out == nil {
		return nil
	}
	out := p.out
	p.done, p.out = true, nil
	return out.abort()
}
