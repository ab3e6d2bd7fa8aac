package logbook

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"

	"holdproof/report/logbook/entry"
)

const (
	// MaxOriginal is the longest file that is kept, in bytes.
	MaxOriginal = 1 << 30

	partSize  = 1 << 20 // a row of original_parts, bytes of gzip
	spoolSize = 4 << 20 // above it the compressed bytes wait in a temporary file

	// level is gzip's. Measured on exports of 1 s readings: 4 keeps a fifth of the
	// bytes at 115 MB/s, 6 keeps 19 % at 44 MB/s, 1 keeps 24 % at 187 MB/s.
	level = 4
)

// Original takes the bytes of a file before they are kept: it hashes and
// compresses what is written to it, outside any transaction. Write all bytes, then
// Finish, hand it to [Batch.Keep], and Discard it in any case.
type Original struct {
	sum    hash.Hash
	gz     *gzip.Writer
	memory bytes.Buffer
	file   *os.File
	size   int64
	packed int64
	sha256 string
	err    error
}

// NewOriginal returns an Original without bytes.
func NewOriginal() *Original {
	o := &Original{sum: sha256.New()}
	// The header says neither time nor name, so the same bytes are kept the same.
	o.gz, _ = gzip.NewWriterLevel((*spool)(o), level)
	return o
}

// Write takes the next bytes of the file.
//
// Errors: more than [MaxOriginal] bytes; no room for a temporary file.
func (o *Original) Write(p []byte) (int, error) {
	if o.err != nil {
		return 0, o.err
	}
	if o.sha256 != "" {
		return 0, errors.New("an original takes no bytes after Finish")
	}
	if o.size += int64(len(p)); o.size > MaxOriginal {
		o.err = &Error{What: fmt.Sprintf("the file is longer than %d MiB", MaxOriginal>>20), Remedy: "Export fewer cycles at once."}
		return 0, o.err
	}
	o.sum.Write(p)
	n, err := o.gz.Write(p)
	o.err = explain(os.TempDir(), err)
	return n, o.err
}

// Finish ends the bytes and returns their SHA-256 in lower-case hex and how many
// they were.
func (o *Original) Finish() (sum string, size int64, err error) {
	if o.sha256 == "" && o.err == nil {
		if err := o.gz.Close(); err != nil {
			o.err = explain(os.TempDir(), err)
		} else {
			o.sha256 = hex.EncodeToString(o.sum.Sum(nil))
		}
	}
	return o.sha256, o.size, o.err
}

// Discard frees what the Original holds. The bytes that were kept stay kept.
func (o *Original) Discard() {
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
	if o.err != nil {
		return o.err
	}
	if o.sha256 == "" {
		return errors.New("an original is kept after Finish")
	}
	var there int64
	if err := q.QueryRowContext(ctx, `SELECT COUNT(*) FROM originals WHERE sha256 = $1`, o.sha256).Scan(&there); err != nil || there > 0 {
		return err
	}
	parts := (o.packed + partSize - 1) / partSize
	if _, err := q.ExecContext(ctx, `INSERT INTO originals (sha256, size, parts) VALUES ($1, $2, $3)`, o.sha256, o.size, parts); err != nil {
		return err
	}
	in, buf := o.reader(), make([]byte, min(partSize, o.packed))
	for part := range parts {
		n, err := io.ReadFull(in, buf)
		if err != nil && err != io.ErrUnexpectedEOF {
			return err
		}
		if _, err := q.ExecContext(ctx, `INSERT INTO original_parts (sha256, part, gzip) VALUES ($1, $2, $3)`, o.sha256, part+1, buf[:n]); err != nil {
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
