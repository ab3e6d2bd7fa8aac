package logbook

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"sync/atomic"

	packer "github.com/klauspost/compress/gzip"

	"holdproof/report/logbook/entry"
)

const (
	// MaxOriginal is the longest file that is kept, in bytes.
	MaxOriginal = 1 << 30

	chunk = 64 << 10 // bytes that are handed to the worker at once
	ahead = 4        // chunks that may wait for it

	partSize  = 1 << 20 // a row of original_parts, bytes of gzip
	spoolSize = 4 << 20 // above it the compressed bytes wait in a temporary file

	// level is gzip's. Measured on 163 MB of exports with readings every second: 4 keeps
	// 18.5 % of the bytes at 268 MB/s, 6 keeps 16.6 % at 166 MB/s, 1 keeps 20.0 % at
	// 306 MB/s. The standard library's level 4 keeps 17.4 % at 103 MB/s; it reads them.
	level = 4
)

// Original takes the bytes of a file before they are kept: it hashes and
// compresses what is written to it, outside any transaction and beside the writer.
// Write all bytes, then Finish, hand it to [Batch.Keep], and Discard it in any case.
type Original struct {
	chunks chan []byte   // to the worker; nil after Finish or Discard
	spent  chan []byte   // back from the worker, to be filled again
	done   chan struct{} // closed when the worker has ended
	failed atomic.Bool   // the worker met an error and only drains

	// The worker's until done is closed.
	memory bytes.Buffer
	file   *os.File
	packed int64
	sum    string
	err    error

	size    int64
	tooLong error // set once; Finish repeats it
}

// NewOriginal returns an Original without bytes.
func NewOriginal() *Original {
	o := &Original{chunks: make(chan []byte, ahead), spent: make(chan []byte, ahead), done: make(chan struct{})}
	go o.work(o.chunks)
	return o
}

// work hashes and compresses. The header of the gzip says neither time nor name,
// so that the same bytes are kept the same.
func (o *Original) work(chunks <-chan []byte) {
	defer close(o.done)
	sum := sha256.New()
	gz, err := packer.NewWriterLevel((*spool)(o), level)
	for c := range chunks {
		if err == nil {
			sum.Write(c)
			_, err = gz.Write(c)
			o.failed.Store(err != nil)
		}
		select {
		case o.spent <- c:
		default:
		}
	}
	if err == nil {
		err = gz.Close()
	}
	o.err, o.sum = explain(os.TempDir(), err), hex.EncodeToString(sum.Sum(nil))
}

// Write takes the next bytes of the file.
//
// Errors: more than [MaxOriginal] bytes; no room for a temporary file.
func (o *Original) Write(p []byte) (int, error) {
	switch {
	case o.chunks == nil:
		return 0, errors.New("an original takes no bytes after Finish")
	case o.size+int64(len(p)) > MaxOriginal:
		o.tooLong = &Error{What: fmt.Sprintf("the file is longer than %d MiB", MaxOriginal>>20), Remedy: "Export fewer cycles at once."}
		return 0, o.tooLong
	case o.failed.Load():
		_, _, err := o.Finish()
		return 0, err
	}
	o.size += int64(len(p))
	for rest := p; len(rest) > 0; {
		var c []byte
		select {
		case c = <-o.spent:
		default:
			c = make([]byte, chunk)
		}
		n := copy(c[:chunk], rest)
		o.chunks <- c[:n]
		rest = rest[n:]
	}
	return len(p), nil
}

// Finish ends the bytes and returns their SHA-256 in lower-case hex and how many
// they were.
func (o *Original) Finish() (sum string, size int64, err error) {
	o.end()
	if err := cmp.Or(o.tooLong, o.err); err != nil {
		return "", o.size, err
	}
	return o.sum, o.size, nil
}

func (o *Original) end() {
	if o.chunks != nil {
		close(o.chunks)
		o.chunks = nil
	}
	<-o.done
}

// Discard frees what the Original holds. The bytes that were kept stay kept.
func (o *Original) Discard() {
	o.end()
	if o.file != nil {
		o.file.Close()
		os.Remove(o.file.Name())
		o.file = nil
	}
	o.memory = bytes.Buffer{}
	if o.err == nil {
		o.err = errors.New("the original was discarded")
	}
}

// spool takes the compressed bytes of an Original.
type spool Original

func (s *spool) Write(p []byte) (int, error) {
	s.packed += int64(len(p))
	if s.file == nil && s.packed <= spoolSize {
		return s.memory.Write(p)
	}
	if s.file == nil {
		f, err := os.CreateTemp("", "holdproof-*.gz")
		if err != nil {
			return 0, err
		}
		s.file = f
		if _, err := f.Write(s.memory.Bytes()); err != nil {
			return 0, err
		}
		s.memory = bytes.Buffer{}
	}
	return s.file.Write(p)
}

// reader reads the compressed bytes from their beginning.
func (o *Original) reader() io.Reader {
	if o.file == nil {
		return bytes.NewReader(o.memory.Bytes())
	}
	return io.NewSectionReader(o.file, 0, o.packed)
}

// keep stores the bytes unless they are kept already.
func (o *Original) keep(ctx context.Context, q querier) error {
	if o.chunks != nil {
		return errors.New("an original is kept after Finish")
	}
	if err := cmp.Or(o.tooLong, o.err); err != nil {
		return err
	}
	var there int64
	if err := q.QueryRowContext(ctx, `SELECT COUNT(*) FROM originals WHERE sha256 = $1`, o.sum).Scan(&there); err != nil || there > 0 {
		return err
	}
	parts := (o.packed + partSize - 1) / partSize
	if _, err := q.ExecContext(ctx, `INSERT INTO originals (sha256, size, parts) VALUES ($1, $2, $3)`, o.sum, o.size, parts); err != nil {
		return err
	}
	in, buf := o.reader(), make([]byte, min(partSize, o.packed))
	for part := range parts {
		n, err := io.ReadFull(in, buf)
		if err != nil && err != io.ErrUnexpectedEOF {
			return err
		}
		if _, err := q.ExecContext(ctx, `INSERT INTO original_parts (sha256, part, gzip) VALUES ($1, $2, $3)`, o.sum, part+1, buf[:n]); err != nil {
			return err
		}
	}
	return nil
}

// parts reads the compressed bytes of an original, one row at a time.
type parts struct {
	ctx       context.Context
	q         querier
	sha256    string
	next, all int64
	rest      []byte
}

func (p *parts) Read(b []byte) (int, error) {
	for len(p.rest) == 0 {
		if p.next >= p.all {
			return 0, io.EOF
		}
		p.next++
		if err := p.q.QueryRowContext(p.ctx, `SELECT gzip FROM original_parts WHERE sha256 = $1 AND part = $2`, p.sha256, p.next).Scan(&p.rest); err != nil {
			return 0, err
		}
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

// checked reads the bytes of an original; at their end it fails unless they have
// the sum they are named by.
type checked struct {
	gz   *gzip.Reader
	sum  hash.Hash
	want string
}

func (c *checked) Read(b []byte) (int, error) {
	n, err := c.gz.Read(b)
	c.sum.Write(b[:n])
	if err == io.EOF && hex.EncodeToString(c.sum.Sum(nil)) != c.want {
		return n, damagedOriginal(c.want, "its bytes have another SHA-256 than the one they are named by")
	}
	if err != nil && err != io.EOF {
		err = damagedOriginal(c.want, err.Error())
	}
	return n, err
}

func (c *checked) Close() error { return c.gz.Close() }

func damagedOriginal(sum, why string) error {
	return &Error{What: "the kept file " + sum + " is damaged: " + why, Remedy: restoreIt}
}

// Original reads the bytes of a kept file as they were. The last Read fails when
// the bytes do not have the SHA-256 they are named by. Close it before the
// transaction of the view ends.
func (v *View) Original(ctx context.Context, sum string) (io.ReadCloser, error) {
	p := &parts{ctx: ctx, q: v.q, sha256: sum}
	err := v.q.QueryRowContext(ctx, `SELECT parts FROM originals WHERE sha256 = $1`, sum).Scan(&p.all)
	if err != nil {
		return nil, v.notFound(err, "the file "+sum+" was never kept here")
	}
	gz, err := gzip.NewReader(p)
	if err != nil {
		return nil, damagedOriginal(sum, err.Error())
	}
	return &checked{gz: gz, sum: sha256.New(), want: sum}, nil
}

// Kept tells whether the bytes with that SHA-256 are kept.
func (v *View) Kept(ctx context.Context, sum string) (bool, error) {
	var n int64
	err := v.q.QueryRowContext(ctx, `SELECT COUNT(*) FROM originals WHERE sha256 = $1`, sum).Scan(&n)
	return n > 0, explain(v.path, err)
}

// ofConfiguration tells whether a configuration with that sum is an entry.
func (v *View) ofConfiguration(ctx context.Context, sum string) (bool, error) {
	var n int64
	err := v.q.QueryRowContext(ctx, `SELECT COUNT(*) FROM acts WHERE type = $1 AND subject = $2`, string(entry.TypeConfiguration), sum).Scan(&n)
	return n > 0, err
}
