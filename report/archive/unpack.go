package archive

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"sync"

	"github.com/klauspost/compress/flate"
	"golang.org/x/sync/errgroup"
)

// What is unpacked beside the files that follow (ours): two at a time, each of at most
// 1 MB packed, which are in memory.
const (
	mostBeside = 1 << 20
	atATime    = 2
)

// unpacking is a file that comes as a deflate stream, and what it is to be.
type unpacking struct {
	name, want string // want: its SHA-256
	known      Packed
	sum        sum // found
}

// besides unpacks streams, to see that they are what they are named by.
type besides struct {
	group  errgroup.Group
	limit  sync.Once
	mu     sync.Mutex
	idle   []*unpacker
	rooms  [][]byte // for streams, to be used again
	done   []unpacking
	failed error // the first
}

// room returns n bytes for a stream.
func (b *besides) room(n int) []byte {
	b.mu.Lock()
	defer b.mu.Unlock()
	if last := len(b.rooms) - 1; last >= 0 {
		room := b.rooms[last]
		if b.rooms = b.rooms[:last]; cap(room) >= n {
			return room[:n]
		}
	}
	return make([]byte, n, n+n/4)
}

// start unpacks a stream, which it keeps, beside what follows. It waits while others are
// being unpacked.
//
// Error: of a stream before.
func (b *besides) start(f unpacking, stream []byte) error {
	b.limit.Do(func() { b.group.SetLimit(atATime) })
	b.group.Go(func() error {
		err := b.now(f, io.Discard, bytes.NewReader(stream))
		b.mu.Lock()
		defer b.mu.Unlock()
		b.rooms = append(b.rooms, stream)
		return err
	})
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.failed
}

// now unpacks a stream into plain.
func (b *besides) now(f unpacking, plain io.Writer, stream io.Reader) error {
	u := b.take()
	got := sha256.New()
	_, err := u.unpack(io.MultiWriter(got, plain), stream, f.known)
	if err == nil && hex.EncodeToString(got.Sum(nil)) != f.want {
		err = errors.New("its bytes have another SHA-256 than the one they are named by")
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.idle = append(b.idle, u)
	if err != nil {
		err = fmt.Errorf("%s: %w", f.name, err)
		if b.failed == nil {
			b.failed = err
		}
		return err
	}
	f.sum = sum(got.Sum(nil))
	b.done = append(b.done, f)
	return nil
}

func (b *besides) take() *unpacker {
	b.mu.Lock()
	defer b.mu.Unlock()
	if n := len(b.idle); n > 0 {
		u := b.idle[n-1]
		b.idle = b.idle[:n-1]
		return u
	}
	return &unpacker{}
}

// wait returns what was unpacked since it was asked last, and the first failure.
func (b *besides) wait() ([]unpacking, error) {
	_ = b.group.Wait() // its error is one of those that are kept
	b.mu.Lock()
	defer b.mu.Unlock()
	done := b.done
	b.done = nil
	return done, b.failed
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
		u.raw = flate.NewReader(u.in.Reader)
	} else {
		u.in.reset(raw)
		if err := u.raw.(flate.Resetter).Reset(u.in.Reader, nil); err != nil {
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
	case !u.in.atEnd() || u.in.taken() != known.Packed:
		return n, fmt.Errorf("it is not one deflate stream of %d bytes", known.Packed)
	}
	return n, nil
}
